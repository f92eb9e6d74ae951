package post

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
	"proofhouse/internal/outward"
)

func TestMain(m *testing.M) { ledgertest.Main(m) }

var quiet = slog.New(slog.DiscardHandler)

// house is a studio with its post over a database of its own.
type house struct {
	t     *testing.T
	db    *ledgertest.DB
	store *ledger.Store
	post  *ledger.Post
	key   ledger.PostKey
	who   ledger.Who
	owner *pgxpool.Pool // superuser
}

func newHouse(t *testing.T) *house {
	t.Helper()
	t.Parallel()
	db := ledgertest.New(t)
	text, err := ledger.PostKeyFile(filepath.Join(t.TempDir(), "post.key"))
	require.NoError(t, err)
	h := &house{t: t, db: db}
	h.key, err = ledger.ParsePostKey(text)
	require.NoError(t, err)
	h.store, err = ledger.NewStore(db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	h.post = ledger.NewPost(db.Pool(ledger.RolePost), h.key)
	h.who = db.Studio("Harbour Studio")
	h.owner = db.Pool(pgserver.Owner)
	return h
}

func (h *house) as(fn func(tx *ledger.Tx) error) {
	h.t.Helper()
	require.NoError(h.t, h.store.InTx(h.t.Context(), h.who, fn))
}

func (h *house) hook(url string, kinds ...string) (hook ledger.Hook, secret string) {
	h.t.Helper()
	h.as(func(tx *ledger.Tx) (err error) {
		hook, secret, err = tx.CreateHook(h.t.Context(), h.key, ledger.NewHook{URL: url, Kinds: kinds})
		return err
	})
	return hook, secret
}

// tell puts n news about as many subjects as there are into the feed, in turn.
func (h *house) tell(n int, subjects ...uuid.UUID) {
	h.t.Helper()
	for i := range n {
		_, err := h.owner.Exec(h.t.Context(), `WITH f AS (
			INSERT INTO ph.feed AS f (party_id, last) VALUES ($1, 1) ON CONFLICT (party_id) DO UPDATE SET last = f.last + 1 RETURNING last
		), n AS (
			INSERT INTO ph.news (party_id, seq, id, kind, subject_id, at, body) SELECT $1, last, gen_random_uuid(), 'prop.ordered', $2::uuid, now(), '{"type":"prop.ordered","n":' || $3::int || ',"s":"' || $2::uuid || '"}' FROM f RETURNING *
		) INSERT INTO ph.hook_send (party_id, hook_id, id, seq, message_id, kind, subject_id) SELECT n.party_id, h.id, gen_random_uuid(), n.seq, n.id, n.kind, n.subject_id
			FROM n JOIN ph.hook h ON h.party_id = n.party_id AND h.disabled_at IS NULL`, h.who.Party, subjects[i%len(subjects)], i)
		require.NoError(h.t, err)
	}
}

func (h *house) exec(sql string, args ...any) {
	h.t.Helper()
	_, err := h.owner.Exec(h.t.Context(), sql, args...)
	require.NoError(h.t, err)
}

func (h *house) messages(hook uuid.UUID) (list []ledger.Message) {
	h.t.Helper()
	h.as(func(tx *ledger.Tx) error {
		page, err := tx.Messages(h.t.Context(), hook, ledger.Page{Limit: 200})
		list = page.Items
		return err
	})
	return list
}

// receiver is a program that listens; it keeps what it got, and answers as it is told.
type receiver struct {
	*httptest.Server
	mu     sync.Mutex
	got    []received
	answer func(n int, w http.ResponseWriter, r *http.Request)
}

type received struct {
	header http.Header
	body   []byte
}

func newReceiver(t *testing.T) *receiver {
	r := &receiver{answer: func(_ int, w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) }}
	r.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		body, _ := io.ReadAll(req.Body)
		r.mu.Lock()
		r.got = append(r.got, received{req.Header, body})
		n := len(r.got)
		r.mu.Unlock()
		r.answer(n, w, req)
	}))
	t.Cleanup(r.Close)
	return r
}

func (r *receiver) all() []received {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.got)
}

var local = outward.Policy{Allow: []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")}}

// once sends all that is due and comes back.
func (h *house) once(policy outward.Policy) int {
	h.t.Helper()
	hooks, n := NewHooks(h.post, policy, quiet), 0
	for {
		list, err := h.post.ClaimSends(h.t.Context(), 10)
		require.NoError(h.t, err)
		if len(list) == 0 {
			return n
		}
		for _, s := range list {
			require.NoError(h.t, h.post.Sent(h.t.Context(), s, hooks.call(h.t.Context(), s)))
			n++
		}
	}
}

// A webhook whose secret was sealed with another key keeps no other waiting: it is told at its own attempts, and nothing goes out unsigned.
func TestSecretThatDoesNotOpen(t *testing.T) {
	h := newHouse(t)
	lost, kept := newReceiver(t), newReceiver(t)
	bad, _ := h.hook(lost.URL, "prop.ordered")
	good, _ := h.hook(kept.URL, "prop.ordered")
	h.exec(`UPDATE ph.hook SET secret = (SELECT secret FROM ph.hook WHERE id = $2) WHERE id = $1`, bad.ID, good.ID)
	h.tell(1, uuid.New())
	require.Equal(t, 2, h.once(local))
	require.Empty(t, lost.all())
	require.Len(t, kept.all(), 1)
	h.as(func(tx *ledger.Tx) error {
		list, err := tx.Messages(t.Context(), bad.ID, ledger.Page{Limit: 10})
		require.NoError(t, err)
		require.Equal(t, "due", list.Items[0].State)
		require.Contains(t, list.Items[0].Attempts[0].Problem, "cannot open")
		return nil
	})
}

// Signatures as the standard's own library verifies them: Standard Webhooks 1.0, reference library for Go.
func TestSignaturesAreStandardWebhooks(t *testing.T) {
	h := newHouse(t)
	r := newReceiver(t)
	hook, secret := h.hook(r.URL, "prop.ordered")
	require.True(t, strings.HasPrefix(secret, "whsec_"))
	verifier, err := standardwebhooks.NewWebhook(secret)
	require.NoError(t, err)
	h.as(func(tx *ledger.Tx) error { _, err := tx.PingHook(t.Context(), hook.ID); return err })
	h.tell(1, uuid.New())
	require.Equal(t, 2, h.once(local))
	for _, one := range r.all() {
		require.NoError(t, verifier.Verify(one.body, one.header))
		changed := append([]byte(" "), one.body...)
		require.Error(t, verifier.Verify(changed, one.header), "one byte more")
		late := one.header.Clone()
		late.Set("webhook-timestamp", "1600000000")
		require.Error(t, verifier.Verify(one.body, late), "a replay")
	}

	// Rotation: for a while both secrets verify, then the new one alone.
	var fresh string
	h.as(func(tx *ledger.Tx) (err error) {
		_, fresh, err = tx.RotateHook(t.Context(), h.key, hook.ID, time.Hour)
		return err
	})
	newer, err := standardwebhooks.NewWebhook(fresh)
	require.NoError(t, err)
	h.tell(1, uuid.New())
	require.Equal(t, 1, h.once(local))
	last := r.all()[2]
	require.NoError(t, verifier.Verify(last.body, last.header))
	require.NoError(t, newer.Verify(last.body, last.header))
	h.exec(`UPDATE ph.hook SET previous_until = now() - interval '1 second'`)
	h.tell(1, uuid.New())
	require.Equal(t, 1, h.once(local))
	last = r.all()[3]
	require.Error(t, verifier.Verify(last.body, last.header))
	require.NoError(t, newer.Verify(last.body, last.header))
}

// The example of the standard (its specification, section "Signature scheme", and its libraries' tests): secret
// MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw, id msg_p5jXN8AQM9LWM0D4loKWxJek, timestamp 1614265330, body {"test": 2432232314}.
func TestTheStandardsExample(t *testing.T) {
	t.Parallel()
	secret, err := base64.StdEncoding.DecodeString("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
	require.NoError(t, err)
	require.Equal(t, "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
		signatures([][]byte{secret}, "msg_p5jXN8AQM9LWM0D4loKWxJek", "1614265330", []byte(`{"test": 2432232314}`)))
}

// TestInnerAddressesAreNeverCalled registers what an attacker would: nothing is sent, and the attempt says no more than that.
func TestInnerAddressesAreNeverCalled(t *testing.T) {
	h := newHouse(t)
	r := newReceiver(t) // stands on loopback, with plain http
	port := r.Listener.Addr().(*net.TCPAddr).Port
	jumps := newReceiver(t)
	jumps.answer = func(_ int, w http.ResponseWriter, req *http.Request) {
		http.Redirect(w, req, r.URL, http.StatusTemporaryRedirect)
	}
	var ids []uuid.UUID
	for _, url := range []string{r.URL, "https://127.0.0.1:" + fmt.Sprint(port), "https://[::1]/x", "https://[::ffff:127.0.0.1]:" + fmt.Sprint(port), "https://169.254.169.254/latest/meta-data",
		"https://[::ffff:169.254.169.254]/", "https://[fd00:ec2::254]/", "https://10.0.0.1/", "https://192.168.1.1:8443/", "https://localhost:" + fmt.Sprint(port), "https://0x7f.1/", "https://2130706433/", "https://100.64.0.1/", "https://0.0.0.0:" + fmt.Sprint(port)} {
		hook, _ := h.hook(url)
		ids = append(ids, hook.ID)
	}
	h.tell(1, uuid.New())
	require.Equal(t, len(ids), h.once(outward.Policy{}))
	require.Empty(t, r.all())
	for _, id := range ids {
		a := h.messages(id)[0].Attempts[0]
		require.Nil(t, a.Status)
		require.Contains(t, []string{outward.ErrAddress.Error(), "the name of the address is not known"}, a.Problem)
	}
	// A redirect is an answer like any other: it is not followed.
	hook, _ := h.hook(jumps.URL)
	h.tell(1, uuid.New())
	h.once(local)
	require.Empty(t, slices.DeleteFunc(r.all(), func(one received) bool { return !strings.Contains(string(one.body), hook.ID.String()) }))
	a := h.messages(hook.ID)[0].Attempts[0]
	require.Equal(t, http.StatusTemporaryRedirect, *a.Status)
	require.Equal(t, "due", h.messages(hook.ID)[0].State)
}

func TestWhatFailsIsTriedAgainLaterAndLater(t *testing.T) {
	h := newHouse(t)
	r := newReceiver(t)
	r.answer = func(n int, w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusInternalServerError)
		fmt.Fprintf(w, "out of order %d \x00 %s", n, strings.Repeat("long ", 1000))
	}
	hook, _ := h.hook(r.URL)
	h.tell(1, uuid.New())
	var pauses []time.Duration
	for range 10 {
		require.Equal(t, 1, h.once(local))
		m := h.messages(hook.ID)[0]
		if m.State == "given_up" {
			require.Nil(t, m.NextAt)
			break
		}
		pauses = append(pauses, time.Until(*m.NextAt).Round(time.Second))
		h.exec(`UPDATE ph.hook_send SET next_at = now()`)
	}
	m := h.messages(hook.ID)[0]
	require.Equal(t, "given_up", m.State)
	require.Len(t, m.Attempts, 10)
	require.Equal(t, 500, *m.Attempts[0].Status)
	require.Contains(t, m.Attempts[0].Excerpt, "out of order 10")
	require.LessOrEqual(t, len(m.Attempts[0].Excerpt), 1024)
	for i, want := range []time.Duration{5 * time.Second, 5 * time.Minute, 30 * time.Minute, 2 * time.Hour, 5 * time.Hour, 10 * time.Hour, 14 * time.Hour, 20 * time.Hour, 24 * time.Hour} {
		require.InDelta(t, want.Seconds(), pauses[i].Seconds(), 0.2*want.Seconds()+2, "pause %d", i)
	}
	// Replayed under the same id.
	r.answer = func(_ int, w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusOK) }
	h.as(func(tx *ledger.Tx) error { _, err := tx.ReplayMessage(t.Context(), hook.ID, m.ID); return err })
	require.Equal(t, 1, h.once(local))
	require.Equal(t, "sent", h.messages(hook.ID)[0].State)
	all := r.all()
	require.Equal(t, all[0].header.Get("webhook-id"), all[len(all)-1].header.Get("webhook-id"))
	require.Equal(t, all[0].body, all[len(all)-1].body)
}

func TestALongFailureSwitchesOffAndIsMailed(t *testing.T) {
	h := newHouse(t)
	r := newReceiver(t)
	r.answer = func(_ int, w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusBadGateway) }
	hook, _ := h.hook(r.URL)
	h.tell(2, uuid.New(), uuid.New())
	h.once(local)
	get := func() (hook2 ledger.Hook) {
		h.as(func(tx *ledger.Tx) (err error) { hook2, err = tx.Hook(t.Context(), hook.ID); return err })
		return hook2
	}
	require.NotNil(t, get().FailingSince)
	require.Nil(t, get().DisabledAt)
	h.exec(`UPDATE ph.hook SET failing_since = now() - interval '6 days'`)
	h.exec(`UPDATE ph.hook_send SET next_at = now()`)
	h.once(local)
	require.Equal(t, "failing", get().DisabledWhy)
	var mails int
	require.NoError(t, h.owner.QueryRow(t.Context(), `SELECT count(*) FROM ph.mail WHERE kind = 'hook_disabled' AND member_id = $1`, h.who.Member).Scan(&mails))
	require.Equal(t, 1, mails)
	sent := len(r.all())
	h.exec(`UPDATE ph.hook_send SET next_at = now()`)
	require.Zero(t, h.once(local), "nothing is sent while it is off")

	// On again: what waits goes out, and what was told meanwhile is replayed.
	r.answer = func(_ int, w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusOK) }
	began := time.Now()
	h.tell(3, uuid.New())
	h.as(func(tx *ledger.Tx) error {
		_, err := tx.ChangeHook(t.Context(), hook.ID, ledger.NewHook{URL: r.URL}, true)
		return err
	})
	h.once(local)
	require.Len(t, r.all(), sent+2)
	h.as(func(tx *ledger.Tx) error {
		n, err := tx.ReplayHook(t.Context(), hook.ID, began.Add(-time.Second))
		require.Equal(t, 5, n)
		return err
	})
	h.once(local)
	require.Len(t, r.all(), sent+7)

	r.answer = func(_ int, w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusGone) }
	h.tell(1, uuid.New())
	h.once(local)
	require.Equal(t, "gone", get().DisabledWhy, "410 says that nobody listens any more")
}

// TestAThousandMessagesInOrderThroughTwoProcesses: two senders at once, one of which dies again and again between the call
// and the record. Each subject arrives in its order, nothing is missing, and only what died comes twice.
func TestAThousandMessagesInOrderThroughTwoProcesses(t *testing.T) {
	h := newHouse(t)
	r := newReceiver(t)
	h.hook(r.URL)
	subjects := make([]uuid.UUID, 40)
	for i := range subjects {
		subjects[i] = uuid.New()
	}
	h.tell(1000, subjects...)
	dying := &dies{Post: h.post, h: h}
	ctx, stop := context.WithCancel(t.Context())
	var running sync.WaitGroup
	for _, sends := range []Sends{h.post, dying} {
		running.Go(func() { _ = NewHooks(sends, local, quiet).Run(ctx) })
	}
	require.Eventually(t, func() bool {
		var left int
		require.NoError(t, h.owner.QueryRow(t.Context(), `SELECT count(*) FROM ph.hook_send WHERE state = 'due'`).Scan(&left))
		return left == 0
	}, 60*time.Second, 50*time.Millisecond)
	stop()
	running.Wait()
	require.Positive(t, dying.deaths)
	newest, count := map[string]int{}, map[string]int{}
	for _, one := range r.all() {
		var b struct {
			N int
			S string
		}
		require.NoError(t, json.Unmarshal(one.body, &b), string(one.body))
		if last, ok := newest[b.S]; ok {
			require.GreaterOrEqual(t, b.N, last, "an earlier one after a later one")
		}
		newest[b.S] = b.N
		count[one.header.Get("webhook-id")]++
	}
	require.Len(t, count, 1000)
	twice := len(r.all()) - 1000
	require.LessOrEqual(t, twice, dying.deaths, "twice only where a process died in between")
}

// dies is a post whose process is killed at every seventh record.
type dies struct {
	*ledger.Post
	h      *house
	mu     sync.Mutex
	n      int
	deaths int
}

func (d *dies) Sent(ctx context.Context, s ledger.Sending, a ledger.Attempt) error {
	d.mu.Lock()
	d.n++
	dead := d.n%7 == 0
	if dead {
		d.deaths++
	}
	d.mu.Unlock()
	if dead {
		// Nobody records it, and a minute later its claim lapses.
		_, err := d.h.owner.Exec(ctx, `UPDATE ph.hook_send SET claimed_until = now() - interval '1 second' WHERE id = $1`, s.ID)
		return err
	}
	return d.Post.Sent(ctx, s, a)
}
