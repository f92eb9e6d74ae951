package post

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"proofhouse/internal/ledger"
	"proofhouse/internal/outward"
)

// Times and bounds of webhooks.
const (
	hookTime     = 15 * time.Second // one call with its answer (Standard Webhooks suggests 15 to 30)
	hookBytes    = 64 << 10         // of an answer, most of which is thrown away
	hookExcerpt  = 512              // bytes of an answer that are kept
	hooksAtOnce  = 32
	hookLookEach = 250 * time.Millisecond
)

// Sends is the ledger's side of webhooks.
type Sends interface {
	ClaimSends(ctx context.Context, limit int) ([]ledger.Sending, error)
	Sent(ctx context.Context, s ledger.Sending, a ledger.Attempt) error
}

// Hooks sends what is due to webhooks, signed as Standard Webhooks 1.0 says.
type Hooks struct {
	sends  Sends
	client *http.Client
	log    *slog.Logger
	now    func() time.Time
}

// NewHooks makes a sender that calls only what the policy allows: by default https on the public internet. Redirects are
// not followed.
func NewHooks(sends Sends, policy outward.Policy, log *slog.Logger) *Hooks {
	policy.Time, policy.Bytes, policy.Redirects = hookTime, hookBytes, 0
	return &Hooks{sends: sends, client: policy.Client(), log: log, now: time.Now}
}

// Run sends until ctx ends; calls under way are finished and recorded first.
func (h *Hooks) Run(ctx context.Context) error {
	var calls sync.WaitGroup
	defer calls.Wait()
	room := make(chan struct{}, hooksAtOnce)
	tick := time.NewTicker(hookLookEach)
	defer tick.Stop()
	for {
		if free := cap(room) - len(room); free > 0 {
			list, err := h.sends.ClaimSends(ctx, free)
			if err != nil && ctx.Err() == nil {
				h.log.ErrorContext(ctx, "messages to webhooks were not looked for; trying again", "error", err.Error())
			}
			for _, s := range list {
				room <- struct{}{}
				calls.Go(func() {
					defer func() { <-room }()
					h.one(context.WithoutCancel(ctx), s)
				})
			}
			if len(list) > 0 && ctx.Err() == nil {
				continue // there may be more
			}
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

func (h *Hooks) one(ctx context.Context, s ledger.Sending) {
	ctx, cancel := context.WithTimeout(ctx, hookTime+10*time.Second) // the call, then the record
	defer cancel()
	if err := h.sends.Sent(ctx, s, h.call(ctx, s)); err != nil { // its claim lapses, and it is sent again
		h.log.ErrorContext(ctx, "how a message to a webhook fared was not recorded", "webhook", s.Hook.String(), "message", s.MessageID.String(), "error", err.Error())
	}
}

// call makes one attempt. What the answer says is kept in short; why there was none is told without inner addresses.
func (h *Hooks) call(ctx context.Context, s ledger.Sending) ledger.Attempt {
	began := time.Now()
	took := func(a ledger.Attempt) ledger.Attempt { a.TookMS = int(time.Since(began).Milliseconds()); return a }
	if len(s.Secrets) == 0 {
		h.log.ErrorContext(ctx, "a webhook's secret cannot be opened: POST_KEY is not the one it was made with", "webhook", s.Hook.String())
		return took(ledger.Attempt{Problem: "the service cannot open this webhook's secret; change the secret"})
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, s.URL, bytes.NewReader(s.Body))
	if err != nil {
		return took(ledger.Attempt{Problem: "the address cannot be called"})
	}
	stamp := strconv.FormatInt(h.now().Unix(), 10)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("User-Agent", "proofhouse-webhooks/1")
	r.Header.Set("webhook-id", s.MessageID.String())
	r.Header.Set("webhook-timestamp", stamp)
	r.Header.Set("webhook-signature", signatures(s.Secrets, s.MessageID.String(), stamp, s.Body))
	resp, err := h.client.Do(r)
	if err != nil {
		return took(ledger.Attempt{Problem: whyNot(err)})
	}
	defer resp.Body.Close()
	excerpt, err := io.ReadAll(io.LimitReader(resp.Body, hookExcerpt))
	if err != nil && len(excerpt) == 0 && !errors.Is(err, io.EOF) {
		excerpt = nil // the status says enough
	}
	return took(ledger.Attempt{Status: &resp.StatusCode, Excerpt: strings.ToValidUTF8(string(excerpt), "\uFFFD")})
}

// signatures is the header's value: one signature for each secret in use, by spaces (Standard Webhooks, "Signature scheme").
func signatures(secrets [][]byte, id, stamp string, body []byte) string {
	list := make([]string, len(secrets))
	for i, secret := range secrets {
		mac := hmac.New(sha256.New, secret)
		mac.Write([]byte(id + "." + stamp + "."))
		mac.Write(body)
		list[i] = "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil))
	}
	return strings.Join(list, " ")
}

// whyNot says why there was no answer. Errors of the network name addresses, which who registered the webhook may not be
// able to see: only the kind is said.
func whyNot(err error) string {
	var timeout interface{ Timeout() bool }
	switch {
	case errors.Is(err, outward.ErrAddress):
		return outward.ErrAddress.Error()
	case errors.Is(err, outward.ErrTooLarge):
		return fmt.Sprintf("the answer has more than %d bytes", hookBytes)
	case errors.As(err, &timeout) && timeout.Timeout():
		return fmt.Sprintf("no answer within %d seconds", int(hookTime.Seconds()))
	case strings.Contains(err.Error(), "no such host"):
		return "the name of the address is not known"
	case strings.Contains(err.Error(), "tls: "), strings.Contains(err.Error(), "x509: "):
		return "the certificate or the handshake is not accepted"
	}
	return "no connection"
}
