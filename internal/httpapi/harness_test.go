package httpapi_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
	"proofhouse/internal/outward"
	"proofhouse/internal/storage"
)

// objects is the one S3 server of this test binary: the gateway allows one per process.
var objects *s3server.Server

func TestMain(m *testing.M) { os.Exit(runTests(m)) }

func runTests(m *testing.M) (code int) {
	dir, err := os.MkdirTemp("", "httpapi-s3-")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	objects, err = s3server.Start(context.Background(), s3server.Config{Dir: dir, Listen: "127.0.0.1:0", Bucket: "tests"})
	if err != nil {
		panic(err)
	}
	defer func() {
		if err := objects.Stop(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}()
	return ledgertest.Run(m)
}

// password is that of everybody in the tests. No default of the service: each test makes its own people.
const password = "a long sentence of the tests"

// service is one running service over a database of its own.
type service struct {
	t       *testing.T
	db      *ledgertest.DB
	base    string
	storage *storage.Store
	worker  *ledger.Worker
	logs    *lockedBuffer
	routes  []string // "GET /v1/me"

	registry *prometheus.Registry
	live     *httpapi.Streams
	key      ledger.PostKey
}

type lockedBuffer struct {
	ch  chan struct{}
	buf bytes.Buffer
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.ch <- struct{}{}
	defer func() { <-b.ch }()
	return b.buf.Write(p)
}

func (b *lockedBuffer) String() string {
	b.ch <- struct{}{}
	defer func() { <-b.ch }()
	return b.buf.String()
}

func start(t *testing.T) *service {
	return startWith(t, httpapi.Limits{LogInBurst: 1000, CallerBurst: 10000, AddressBurst: 100000})
}

func startWith(t *testing.T, limits httpapi.Limits) *service {
	t.Helper()
	db := ledgertest.New(t)
	store, err := ledger.NewStore(db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	bucket, err := storage.Open(storage.Config{
		Endpoint: objects.Endpoint, Region: s3server.Region, Bucket: objects.Bucket, AccessKey: objects.API.Access, SecretKey: objects.API.Secret,
	})
	require.NoError(t, err)
	s := &service{t: t, db: db, storage: bucket, worker: ledger.NewWorker(db.Pool(ledger.RoleWorker)), logs: &lockedBuffer{ch: make(chan struct{}, 1)}, registry: prometheus.NewRegistry()}
	s.live = httpapi.NewStreams()
	s.live.Recheck = 200 * time.Millisecond
	ctx, stop := context.WithCancel(context.Background())
	var hearing sync.WaitGroup
	hearing.Go(func() { s.live.Run(ctx, db.URL(ledger.RoleAPI), func(err error) { t.Log(err) }) })
	t.Cleanup(func() { stop(); hearing.Wait() })
	s.key, err = ledger.ParsePostKey("c2VhbHMgdGhlIHNlY3JldHMgb2YgdGhlIHRlc3RzISE=")
	require.NoError(t, err)
	store.UsePost(s.key)
	listening := httptest.NewUnstartedServer(nil)
	server, err := httpapi.New(httpapi.Config{
		Store: store, Login: ledger.NewLogin(db.Pool(ledger.RoleLogin)), Storage: bucket, PublicURL: "http://" + listening.Listener.Addr().String(), Registry: s.registry,
		Log: slog.New(slog.NewJSONHandler(s.logs, nil)), Limits: limits,
		Outward: outward.Policy{Allow: []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")}}, Pages: providerPages, TrustedProxies: []string{"127.0.0.1/32"}, Streams: s.live, PostKey: s.key,
	})
	require.NoError(t, err)
	listening.Config.Handler = server.Handler()
	for _, r := range server.Handler().(*echo.Echo).Routes() {
		s.routes = append(s.routes, r.Method+" "+r.Path)
	}
	listening.Start()
	t.Cleanup(listening.Close)
	s.base = listening.URL
	return s
}

// person is one caller: a session's cookie, a token, or nobody.
type person struct {
	s             *service
	email         string
	cookie, token string
	party         uuid.UUID
}

type answer struct {
	status int
	header http.Header
	body   []byte
}

// get reads one value of a JSON answer by its path ("delivery.files.0.id").
func (a answer) get(t *testing.T, path string) string {
	t.Helper()
	var v any
	require.NoError(t, json.Unmarshal(a.body, &v), string(a.body))
	for key := range strings.SplitSeq(path, ".") {
		switch at := v.(type) {
		case map[string]any:
			v = at[key]
		case []any:
			var i int
			_, err := fmt.Sscan(key, &i)
			require.NoError(t, err)
			require.Less(t, i, len(at), "%s in %s", path, a.body)
			v = at[i]
		default:
			require.Fail(t, "no such path", "%s in %s", path, a.body)
		}
	}
	if n, ok := v.(float64); ok {
		return fmt.Sprintf("%.15g", n)
	}
	return fmt.Sprint(v)
}

var keys atomic.Int64

// csvText is a body that is a spreadsheet.
type csvText string

// do sends a request; a POST gets an Idempotency-Key of its own unless one is given.
func (p *person) do(method, path string, body any, headers ...string) answer {
	p.s.t.Helper()
	var reader io.Reader
	kind := ""
	switch b := body.(type) {
	case nil:
	case csvText:
		reader, kind = strings.NewReader(string(b)), "text/csv"
	case string:
		reader, kind = strings.NewReader(b), "application/yaml"
	case []byte:
		reader, kind = bytes.NewReader(b), "application/json"
	default:
		text, err := json.Marshal(b)
		require.NoError(p.s.t, err)
		reader, kind = bytes.NewReader(text), "application/json"
	}
	r, err := http.NewRequestWithContext(p.s.t.Context(), method, p.s.base+path, reader)
	require.NoError(p.s.t, err)
	if kind != "" {
		r.Header.Set("Content-Type", kind)
	}
	if method == http.MethodPost {
		r.Header.Set("Idempotency-Key", fmt.Sprintf("test-key-%d", keys.Add(1)))
	}
	if p.token != "" {
		r.Header.Set("Authorization", "Bearer "+p.token)
	} else if p.cookie != "" {
		r.Header.Set("Cookie", p.cookie)
	}
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	if path == "/v1/events" {
		return p.glance(r)
	}
	return send(p.s.t, r)
}

// glance is send for a stream, which has no end: it looks at how the answer begins, and waits until the service knows.
func (p *person) glance(r *http.Request) answer {
	t, before := p.s.t, p.s.live.Count()
	resp, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		b, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		return answer{resp.StatusCode, resp.Header, b}
	}
	require.NoError(t, resp.Body.Close())
	require.Eventually(t, func() bool { return p.s.live.Count() <= before }, 10*time.Second, time.Millisecond)
	return answer{resp.StatusCode, resp.Header, nil}
}

// ok is do, and the answer must be of the 2xx kind.
func (p *person) ok(method, path string, body any, headers ...string) answer {
	p.s.t.Helper()
	a := p.do(method, path, body, headers...)
	require.Less(p.s.t, a.status, 300, "%s %s: %s", method, path, a.body)
	return a
}

func send(t *testing.T, r *http.Request) answer {
	t.Helper()
	client := &http.Client{Timeout: time.Minute, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := client.Do(r)
	require.NoError(t, err)
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	return answer{resp.StatusCode, resp.Header, b}
}

func (s *service) nobody() *person { return &person{s: s} }

// studio makes a studio and logs its first member in.
func (s *service) studio(name, email string) *person {
	s.t.Helper()
	_, err := ledger.BootstrapStudio(s.t.Context(), s.db.AdminURL(), name, ledger.FirstMember{Name: "First of " + name, Email: email, Password: password})
	require.NoError(s.t, err)
	return s.logIn(email)
}

func (s *service) logIn(email string) *person {
	s.t.Helper()
	p := &person{s: s, email: email}
	a := p.ok("POST", "/v1/sessions", map[string]any{"email": email, "password": password})
	p.cookie, _, _ = strings.Cut(a.header.Get("Set-Cookie"), ";")
	p.party = uuid.MustParse(a.get(s.t, "me.party_id"))
	return p
}

// vendor takes on a vendor with its lead.
func (p *person) vendor(name, email string) *person {
	p.s.t.Helper()
	v := p.ok("POST", "/v1/vendors", map[string]any{"name": name})
	return p.invite(v.get(p.s.t, "id"), email, "vendor_lead")
}

func (p *person) invite(party, email, role string) *person {
	p.s.t.Helper()
	inv := p.ok("POST", "/v1/invitations", map[string]any{"party_id": party, "email": email, "roles": []string{role}})
	a := p.s.nobody().ok("POST", "/v1/invitations/accept", map[string]any{"secret": inv.get(p.s.t, "secret"), "name": "N. " + email, "password": password})
	cookie, _, _ := strings.Cut(a.header.Get("Set-Cookie"), ";")
	return &person{s: p.s, email: email, cookie: cookie, party: uuid.MustParse(a.get(p.s.t, "me.party_id"))}
}

// contract is a prop under order, with a spec in force.
type contract struct {
	project, order, prop, spec string
	milestones                 []string
}

const specText = `prop: %s
tier: hero
`

func (p *person) contract(vendor *person, code string) contract {
	t := p.s.t
	t.Helper()
	var c contract
	c.project = p.ok("POST", "/v1/projects", map[string]any{"code": "P_" + code, "title": "The Quay"}).get(t, "id")
	c.order = p.ok("POST", "/v1/work-orders", map[string]any{
		"project_id": c.project, "vendor_id": vendor.party, "code": "W_" + code, "title": "Lanterns", "currency": "EUR",
	}).get(t, "id")
	prop := p.ok("POST", "/v1/work-orders/"+c.order+"/props", map[string]any{
		"code": code, "title": "Quay lantern", "tier": "hero", "price": map[string]any{"amount_minor": 145_000, "currency": "EUR"},
		"milestones": []map[string]any{{"kind": "game_mesh", "share_bp": 4000, "due_on": "2030-03-31"}, {"kind": "final", "share_bp": 6000, "due_on": nil}},
	})
	c.prop = prop.get(t, "id")
	c.milestones = []string{prop.get(t, "milestones.0.id"), prop.get(t, "milestones.1.id")}
	c.spec = p.ok("POST", "/v1/props/"+c.prop+"/specs?note=first", fmt.Sprintf(specText, code)).get(t, "id")
	return c
}

// localFile is one file to deliver.
type localFile struct {
	path, role string
	data       []byte
	partBytes  int
}

func digest(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

func manifest(files ...localFile) map[string]any {
	var list []map[string]any
	for _, f := range files {
		one := map[string]any{"path": f.path, "role": f.role, "bytes": len(f.data), "sha256": digest(f.data)}
		if f.partBytes > 0 {
			var sums []string
			for at := 0; at < len(f.data); at += f.partBytes {
				sums = append(sums, digest(f.data[at:min(at+f.partBytes, len(f.data))]))
			}
			one["part_bytes"], one["part_sha256"] = f.partBytes, sums
		}
		list = append(list, one)
	}
	return map[string]any{"note": "first try", "files": list}
}

// put is one presigned upload of the plan.
type put struct {
	Method  string            `json:"method"`
	URL     string            `json:"url"`
	Headers map[string]string `json:"headers"`
}

func (p put) send(t *testing.T, body []byte, change func(*http.Request)) int {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), p.Method, p.URL, bytes.NewReader(body))
	require.NoError(t, err)
	for k, v := range p.Headers {
		r.Header.Set(k, v)
	}
	if change != nil {
		change(r)
	}
	client := &http.Client{Timeout: time.Minute}
	resp, err := client.Do(r)
	if err != nil { // the server refused before it had read the body, and closed
		return cutOff
	}
	defer resp.Body.Close()
	_, err = io.Copy(io.Discard, resp.Body)
	require.NoError(t, err)
	return resp.StatusCode
}

// cutOff stands for an upload that the storage cut off without an answer.
const cutOff = 499

type plan struct {
	State      string
	BytesTotal int64 `json:"bytes_total"`
	BytesThere int64 `json:"bytes_there"`
	Files      []struct {
		FileID string `json:"file_id"`
		Path   string
		State  string
		Way    string
		Put    *put
		Parts  []struct {
			Number        int
			Offset, Bytes int64
			Put           put
		}
	}
}

func planOf(t *testing.T, a answer, within string) plan {
	t.Helper()
	var whole map[string]json.RawMessage
	require.NoError(t, json.Unmarshal(a.body, &whole), string(a.body))
	raw := json.RawMessage(a.body)
	if within != "" {
		raw = whole[within]
	}
	var p plan
	require.NoError(t, json.Unmarshal(raw, &p))
	return p
}

// upload sends everything that the plan still wants.
func (p plan) upload(t *testing.T, files ...localFile) {
	t.Helper()
	byPath := map[string][]byte{}
	for _, f := range files {
		byPath[f.path] = f.data
	}
	for _, f := range p.Files {
		data := byPath[f.Path]
		if f.Put != nil {
			require.Equal(t, 200, f.Put.send(t, data, nil), f.Path)
		}
		for _, part := range f.Parts {
			require.Equal(t, 200, part.Put.send(t, data[part.Offset:part.Offset+part.Bytes], nil), "%s part %d", f.Path, part.Number)
		}
	}
}

// deliver opens, uploads and seals, and returns the delivery's id.
func (p *person) deliver(milestone string, files ...localFile) string {
	t := p.s.t
	t.Helper()
	opened := p.ok("POST", "/v1/milestones/"+milestone+"/deliveries", manifest(files...))
	planOf(t, opened, "plan").upload(t, files...)
	id := opened.get(t, "delivery.id")
	p.ok("POST", "/v1/deliveries/"+id+"/seal", nil)
	return id
}

// inspect does what the inspector does with the next delivery, with a result made up by the test.
func (s *service) inspect(verdict ledger.Verdict) ledger.Job {
	t := s.t
	t.Helper()
	job, err := s.worker.Claim(t.Context(), "test")
	require.NoError(t, err)
	evidence := []byte(`{"schema":"proofhouse/evidence/1","verdict":"` + string(verdict) + `"}`)
	picture := append([]byte("\x89PNG\r\n\x1a\n"), []byte(job.Inspection.ID.String())...)
	result := ledger.Result{
		Engine: "test", EngineDigest: strings.Repeat("ab", 32), Verdict: verdict, Headline: "technical: as the test says",
		Findings: []ledger.Finding{
			{Ord: 0, Check: "file.intact", File: "lantern.glb", Outcome: "pass", Blocks: true},
			{Ord: 1, Check: "uv.texel_density", Set: "metal", Outcome: "pass", Blocks: true, Unit: "share"},
		},
	}
	if verdict == ledger.VerdictFail {
		result.Findings[1].Outcome = "fail"
	}
	if verdict == ledger.VerdictNotEvaluated {
		result.Findings, result.Cause = nil, "memory"
	}
	for _, o := range []struct {
		name, kind string
		data       []byte
	}{{"evidence.json", "application/json", evidence}, {"front.png", "image/png", picture}} {
		sum, size, err := s.storage.PutEvidence(t.Context(), job.Inspection.WorkOrderID.String(), bytes.NewReader(o.data), o.kind)
		require.NoError(t, err)
		raw, err := hex.DecodeString(sum)
		require.NoError(t, err)
		result.Objects = append(result.Objects, ledger.EvidenceObject{
			Name: o.name, What: "what " + o.name + " shows", ObjectKey: storage.EvidenceKey(job.Inspection.WorkOrderID.String(), sum), SHA256: raw, Size: size, MediaType: o.kind,
		})
		if o.name == "evidence.json" {
			result.EvidenceSHA256 = raw
		}
	}
	require.NoError(t, s.worker.Record(t.Context(), job.Inspection.ID, job.Fence, result, nil))
	return job
}

// forge puts bytes under a key that promises others, behind the service's back.
func (s *service) forge(t *testing.T, key string, data []byte) {
	t.Helper()
	link, err := s.storage.PresignPut(t.Context(), key, digest(data), int64(len(data)), time.Minute)
	require.NoError(t, err)
	require.Equal(t, 200, put{link.Method, link.URL, link.Headers}.send(t, data, nil))
}

// batch opens a batch with one delivery of a milestone.
func (p *person) batch(c contract, milestone string) answer {
	p.s.t.Helper()
	game, _ := someFiles("batch")
	one := manifest(game)
	one["milestone_id"] = milestone
	return p.ok("POST", "/v1/work-orders/"+c.order+"/batches", map[string]any{"title": "Friday", "deliveries": []any{one}})
}

// afterwards is what there is once a secret order with owed source files is accepted.
type afterwards struct{ order, set, milestone, pack, hold, handover string }

func (p *person) aftercare(vendor *person) (a afterwards) {
	t := p.s.t
	t.Helper()
	project := p.ok("POST", "/v1/projects", map[string]any{"code": "AFTER", "title": "After"}).get(t, "id")
	a.order = p.ok("POST", "/v1/work-orders", map[string]any{"project_id": project, "vendor_id": vendor.party, "code": "AFTER", "title": "Paint", "currency": "EUR",
		"secret": true, "codename": "HERON", "source_roles": []string{"source.scene"}}).get(t, "id")
	prop := p.ok("POST", "/v1/work-orders/"+a.order+"/props", map[string]any{"code": "paint_set", "title": "Paint", "tier": "mid", "kind": "texture_set",
		"price": map[string]any{"amount_minor": 900, "currency": "EUR"}, "milestones": []any{map[string]any{"kind": "final"}}})
	a.set, a.milestone = prop.get(t, "id"), prop.get(t, "milestones.0.id")
	p.ok("POST", "/v1/props/"+a.set+"/specs", "prop: paint_set\ntier: mid\n")
	picture := []byte("a picture of the look")
	pack := p.ok("POST", "/v1/work-orders/"+a.order+"/references", map[string]any{"note": "the look", "files": []any{map[string]any{"path": "look.png", "what": "concept", "bytes": len(picture), "sha256": digest(picture)}}})
	a.pack = pack.get(t, "id")
	require.Equal(t, 409, p.do("POST", "/v1/references/"+a.pack+"/publish", nil).status, "its file is not there yet")
	require.Equal(t, 404, vendor.do("GET", "/v1/references/"+a.pack, nil).status)
	var link put
	var body struct {
		Files []struct{ Put *put }
	}
	require.NoError(t, json.Unmarshal(pack.body, &body))
	link = *body.Files[0].Put
	require.Equal(t, 200, link.send(t, picture, nil))
	p.ok("POST", "/v1/references/"+a.pack+"/publish", nil)
	require.Equal(t, 403, vendor.do("GET", "/v1/references/"+a.pack, nil).status, "secrecy is acknowledged first")
	vendor.ok("POST", "/v1/work-orders/"+a.order+"/secrecy", nil)
	require.Contains(t, vendor.ok("POST", "/v1/references/"+a.pack+"/acknowledge", nil).get(t, "files.0.url"), "http")
	game, sculpt := someFiles("paint")
	d := vendor.deliver(a.milestone, game, sculpt)
	p.s.inspect(ledger.VerdictPass)
	p.ok("POST", "/v1/deliveries/"+d+"/sign-offs", map[string]any{"decision": "accept"})
	a.hold = p.ok("GET", "/v1/work-orders/"+a.order+"/payment-holds", nil).get(t, "items.0.id")
	a.handover = p.ok("POST", "/v1/work-orders/"+a.order+"/handovers", map[string]any{"pattern": "{prop}/{role}{ext}"}).get(t, "id")
	return a
}
