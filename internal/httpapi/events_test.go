package httpapi_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// event is one of a stream, read as the HTML Living Standard (section 9.2.6) says: field lines up to a blank one.
type event struct{ id, kind, data string }

// stream is an open event stream.
type stream struct {
	t      *testing.T
	events chan event
	beats  chan struct{}
	stop   context.CancelFunc
	gone   chan struct{}
}

func (p *person) stream(last string) *stream {
	t := p.s.t
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, p.s.base+"/v1/events", nil)
	require.NoError(t, err)
	if p.token != "" {
		r.Header.Set("Authorization", "Bearer "+p.token)
	} else {
		r.Header.Set("Cookie", p.cookie)
	}
	if last != "" {
		r.Header.Set("Last-Event-ID", last)
	}
	resp, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, resp.StatusCode)
	require.Equal(t, "text/event-stream", resp.Header.Get("Content-Type"))
	require.Equal(t, "no-store", resp.Header.Get("Cache-Control"))
	st := &stream{t: t, events: make(chan event, 10000), beats: make(chan struct{}, 100), stop: stop, gone: make(chan struct{})}
	t.Cleanup(stop)
	go func() {
		defer close(st.gone)
		defer resp.Body.Close()
		st.read(resp.Body)
	}()
	return st
}

func (st *stream) read(body io.Reader) {
	var e event
	for lines := bufio.NewScanner(body); lines.Scan(); {
		field, value, _ := strings.Cut(lines.Text(), ": ")
		switch field {
		case "id":
			e.id = value
		case "event":
			e.kind = value
		case "data":
			e.data = value
		case ":":
			st.beats <- struct{}{}
		case "":
			if e.data != "" {
				st.events <- e
			}
			e = event{}
		}
	}
}

func (st *stream) next() event {
	st.t.Helper()
	select {
	case e := <-st.events:
		return e
	case <-time.After(10 * time.Second):
		require.Fail(st.t, "no event came")
		return event{}
	}
}

func (st *stream) ends() {
	st.t.Helper()
	select {
	case <-st.gone:
	case <-time.After(10 * time.Second):
		require.Fail(st.t, "the stream does not end")
	}
}

func TestStreamsTellEachPartyItsOwn(t *testing.T) {
	t.Parallel()
	s := start(t)
	post := s.post()
	producer := s.studio("Harbour Works", "ines@harbour.example")
	lead := producer.vendor("Krane Salvage Models", "ole@krane.example")
	other := producer.vendor("Ninth Lock", "tamsin@ninth.example")
	first, second, others := lead.stream(""), producer.stream(""), other.stream("")
	c := producer.contract(lead, "lantern_a")
	tell(t, post)
	require.Equal(t, "work_order.placed", first.next().kind)
	e := first.next()
	require.Equal(t, "prop.ordered", e.kind)
	var n api.News
	require.NoError(t, json.Unmarshal([]byte(e.data), &n))
	require.Equal(t, []string{"prop.ordered", c.prop, "lantern_a", c.order}, []string{string(n.Type), n.Data.PropId.String(), *n.Data.Prop, n.Data.WorkOrderId.String()})
	require.Equal(t, "spec.offered", first.next().kind)
	require.Equal(t, "work_order.placed", second.next().kind)

	// Progress reaches those who may see the inspection, and nobody else: not even where a report names them.
	game, sculpt := someFiles("one")
	lead.deliver(c.milestones[0], game, sculpt)
	job, err := s.worker.Claim(t.Context(), "w")
	require.NoError(t, err)
	require.NoError(t, s.worker.Report(t.Context(), ledger.Progress{Studio: producer.party, Vendor: other.party, Inspection: job.Inspection.ID, Stage: "hashing"}))
	require.NoError(t, s.worker.Report(t.Context(), ledger.Progress{Studio: producer.party, Vendor: lead.party, Inspection: job.Inspection.ID,
		Delivery: job.Delivery.ID, Prop: job.Inspection.PropID, Stage: "checking", Check: "uv.range", Done: 0.5}))
	e = first.next()
	require.Equal(t, event{kind: "inspection.progress", data: e.data}, e, "without an id: it is not sent again")
	var p api.InspectionProgress
	require.NoError(t, json.Unmarshal([]byte(e.data), &p))
	require.Equal(t, job.Inspection.ID, p.InspectionId)
	require.Equal(t, "uv.range", *p.Check)

	// Come again with the last id: what came meanwhile comes first, nothing twice.
	first.stop()
	first.ends()
	tell(t, post)
	again := lead.stream("3")
	require.Equal(t, []string{"4", "delivery.sealed"}, func() []string { e := again.next(); return []string{e.id, e.kind} }())
	page := lead.ok("GET", "/v1/news?after=2", nil)
	require.Equal(t, []string{"3", "spec.offered", "4", "4"}, []string{page.get(t, "items.0.id"), page.get(t, "items.0.news.type"), page.get(t, "items.1.id"), page.get(t, "next")})
	require.Equal(t, "<nil>", lead.ok("GET", "/v1/news?after=4", nil).get(t, "next"))

	require.Empty(t, others.events, "the other vendor hears nothing of it")
	require.Equal(t, 400, lead.do("GET", "/v1/news?after=x", nil).status)
	require.Equal(t, 401, s.nobody().do("GET", "/v1/events", nil).status)
}

func TestStreamsEnd(t *testing.T) {
	t.Parallel()
	s := start(t)
	producer := s.studio("Harbour Works", "ines@harbour.example")
	var open []*stream
	for range 4 {
		open = append(open, producer.stream(""))
	}
	require.Equal(t, 429, producer.do("GET", "/v1/events", nil).status, "a fifth")
	open[0].stop()
	open[0].ends()
	require.Eventually(t, func() bool { return s.live.Count() == 3 }, 5*time.Second, 10*time.Millisecond)
	s.live.End() // as at SIGTERM
	for _, st := range open[1:] {
		st.ends()
	}
	require.Equal(t, 429, producer.do("GET", "/v1/events", nil).status, "none begins while the service stops")
}

// An open page is nobody at work: its stream asks whether the session stands and does not keep it alive. It ends with the session,
// with a token that is revoked, and goes on while either stands.
func TestStreamsKeepNoSessionAlive(t *testing.T) {
	t.Parallel()
	s := start(t)
	producer := s.studio("Harbour Works", "ines@harbour.example")
	colleague := producer.invite(producer.party.String(), "ada@harbour.example", "technical_artist")
	made := producer.ok("POST", "/v1/tokens", map[string]any{"name": "build", "scopes": []string{"read"}})
	program := &person{s: s, token: made.get(t, "secret")}
	idle, works, token := producer.stream(""), colleague.stream(""), program.stream("")
	owner, err := pgx.Connect(t.Context(), s.db.URL(pgserver.Owner))
	require.NoError(t, err)
	defer owner.Close(context.Background())
	_, err = owner.Exec(t.Context(), `UPDATE ph.session s SET last_seen_at = now() - interval '29 minutes 58 seconds' FROM ph.member m WHERE m.id = s.member_id AND m.email = $1`, producer.email)
	require.NoError(t, err)
	idle.ends()
	require.Equal(t, 401, producer.do("GET", "/v1/me", nil).status, "half an hour is over")
	s.logIn(producer.email).ok("DELETE", "/v1/tokens/"+made.get(t, "token.id"), nil)
	token.ends()
	select {
	case <-works.gone:
		t.Fatal("this session stands")
	default:
	}
}

// TestAThousandNewsInOrder reads a thousand news of ten orders as they come.
func TestAThousandNewsInOrder(t *testing.T) {
	t.Parallel()
	s := start(t)
	producer := s.studio("Harbour Works", "ines@harbour.example")
	pool := s.db.Pool("ph_post")
	_, err := pool.Exec(t.Context(), `INSERT INTO ph.feed (party_id, last) VALUES ($1, 1000)`, producer.party)
	require.NoError(t, err)
	_, err = pool.Exec(t.Context(), `INSERT INTO ph.news (party_id, seq, id, kind, subject_id, at, body)
		SELECT $1, n, gen_random_uuid(), 'prop.ordered', gen_random_uuid(), now(), '{"n":' || n || '}' FROM generate_series(1, 1000) n`, producer.party)
	require.NoError(t, err)
	st := producer.stream("0")
	for n := 1; n <= 1000; n++ {
		require.Equal(t, event{fmt.Sprint(n), "prop.ordered", fmt.Sprintf(`{"n":%d}`, n)}, st.next())
	}
}

// TestASlowReaderIsDropped never reads: the service gives the connection up, and holds no more than a page for it.
func TestASlowReaderIsDropped(t *testing.T) {
	t.Parallel()
	s := start(t)
	producer := s.studio("Harbour Works", "ines@harbour.example")
	pool := s.db.Pool("ph_post")
	_, err := pool.Exec(t.Context(), `INSERT INTO ph.news (party_id, seq, id, kind, subject_id, at, body)
		SELECT $1, n, gen_random_uuid(), 'prop.ordered', gen_random_uuid(), now(), repeat('x', 100000) FROM generate_series(1, 400) n`, producer.party)
	require.NoError(t, err)
	conn, err := net.Dial("tcp", strings.TrimPrefix(s.base, "http://"))
	require.NoError(t, err)
	defer conn.Close()
	_, err = fmt.Fprintf(conn, "GET /v1/events HTTP/1.1\r\nHost: x\r\nCookie: %s\r\nLast-Event-ID: 0\r\n\r\n", producer.cookie)
	require.NoError(t, err)
	require.Eventually(t, func() bool { return s.live.Count() == 1 }, 5*time.Second, 10*time.Millisecond)
	require.Eventually(t, func() bool { return s.live.Count() == 0 }, 20*time.Second, 50*time.Millisecond, "after ten seconds")
}

func (s *service) post() *ledger.Post {
	s.t.Helper()
	return ledger.NewPost(s.db.Pool(ledger.RolePost), s.key)
}

func tell(t *testing.T, post *ledger.Post) {
	t.Helper()
	_, err := post.Tell(t.Context())
	require.NoError(t, err)
}
