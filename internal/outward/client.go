package outward

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"syscall"
	"time"
)

// Bounds of one call.
const (
	DefaultTime   = 10 * time.Second
	DefaultBytes  = 1 << 20
	headerBytes   = 64 << 10
	dialTime      = 5 * time.Second
	handshakeTime = 5 * time.Second
)

// ErrAddress says that an address is none that may be called. It is the same for every such address, and comes before
// anything is sent: who named the address learns nothing of what stands there.
var ErrAddress = errors.New("this address may not be called from here: it must be https and on the public internet")

// ErrTooLarge says that an answer had more bytes than its bound.
var ErrTooLarge = errors.New("the answer is too large")

// Policy says what may be called and how much an answer may cost. Its zero value allows https on the public internet.
type Policy struct {
	Allow     []netip.Prefix // networks that may be called although they are not public, also over plain http
	Time      time.Duration  // one call with all its redirects and its body; 0 is DefaultTime
	Bytes     int64          // of one answer's body; 0 is DefaultBytes
	Redirects int            // followed at most, each judged as the first; 0 follows none and hands out the redirect itself
}

// Client makes a client under the policy. Keep it: it holds connections.
func (p Policy) Client() *http.Client {
	if p.Time == 0 {
		p.Time = DefaultTime
	}
	if p.Bytes == 0 {
		p.Bytes = DefaultBytes
	}
	dialer := &net.Dialer{Timeout: dialTime, ControlContext: p.control}
	return &http.Client{
		Timeout: p.Time,
		Transport: &bounded{bytes: p.Bytes, next: &http.Transport{
			Proxy: nil, DialContext: dialer.DialContext, ForceAttemptHTTP2: true,
			TLSHandshakeTimeout: handshakeTime, ResponseHeaderTimeout: p.Time, MaxResponseHeaderBytes: headerBytes,
			MaxIdleConns: 32, MaxIdleConnsPerHost: 2, IdleConnTimeout: 30 * time.Second,
		}},
		CheckRedirect: func(_ *http.Request, via []*http.Request) error {
			switch {
			case p.Redirects == 0:
				return http.ErrUseLastResponse
			case len(via) > p.Redirects:
				return errors.New("too many redirects")
			}
			return nil
		},
	}
}

type plainKey struct{}

// control judges the address of a connection that is about to be made. It is resolved by now.
func (p Policy) control(ctx context.Context, network, address string, _ syscall.RawConn) error {
	at, err := netip.ParseAddrPort(address)
	if err != nil || (network != "tcp4" && network != "tcp6") {
		return ErrAddress
	}
	if within(p.Allow, at.Addr().Unmap()) {
		return nil
	}
	plain, _ := ctx.Value(plainKey{}).(bool)
	// Below 1024 stand the services of machines; only the web's own are called.
	odd := at.Port() < 1024 && at.Port() != 443
	if plain || odd || !Public(at.Addr()) {
		return ErrAddress
	}
	return nil
}

// bounded refuses what is not of the web before a name is looked up, and cuts answers that are too large.
type bounded struct {
	bytes int64
	next  http.RoundTripper
}

func (b *bounded) RoundTrip(r *http.Request) (*http.Response, error) {
	switch {
	case r.URL.User != nil || r.URL.Hostname() == "":
		return nil, ErrAddress
	case r.URL.Scheme == "http":
		r = r.WithContext(context.WithValue(r.Context(), plainKey{}, true))
	case r.URL.Scheme != "https":
		return nil, ErrAddress
	}
	answer, err := b.next.RoundTrip(r)
	if err != nil {
		return nil, err
	}
	if answer.ContentLength > b.bytes {
		_ = answer.Body.Close()
		return nil, fmt.Errorf("%w: %d bytes of %d allowed", ErrTooLarge, answer.ContentLength, b.bytes)
	}
	answer.Body = &limitedBody{ReadCloser: answer.Body, left: b.bytes}
	return answer, nil
}

// limitedBody fails, instead of ending early, where there is more than allowed.
type limitedBody struct {
	io.ReadCloser
	left int64
}

func (l *limitedBody) Read(p []byte) (int, error) {
	if int64(len(p)) > l.left+1 {
		p = p[:l.left+1]
	}
	n, err := l.ReadCloser.Read(p)
	if l.left -= int64(n); l.left < 0 {
		return n - 1, ErrTooLarge
	}
	return n, err
}
