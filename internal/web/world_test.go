package web_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"log/slog"
	"net/http/httptest"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
	"proofhouse/internal/storage"
	"proofhouse/internal/web"
)

// objects is the one S3 server of this test binary: the gateway allows one per process.
var objects *s3server.Server

func TestMain(m *testing.M) { os.Exit(runTests(m)) }

func runTests(m *testing.M) (code int) {
	dir, err := os.MkdirTemp("", "web-s3-")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	objects, err = s3server.Start(context.Background(), s3server.Config{Dir: dir, Listen: "127.0.0.1:0", Bucket: "tests", AllowedOrigin: "*"})
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

// The people of the tests.
const (
	ines   = "ines@kelpgate.example"     // producer, art director and technical artist: the studio's first member
	petra  = "petra@kelpgate.example"    // producer
	marek  = "marek@kelpgate.example"    // art director
	noor   = "noor@kelpgate.example"     // technical artist
	ole    = "ole@brackwater.example"    // lead of a vendor
	ada    = "ada@brackwater.example"    // artist of the same vendor
	tamsin = "tamsin@ninthlock.example"  // lead of another vendor
	privat = "Their price is too high"   // in a note that vendors must not see
	shared = "The rope eye may be wider" // in a note that both sides see
)

// world is a service with pages over a database of its own: one studio, two vendors, and deliveries in every state.
type world struct {
	t       *testing.T
	db      *ledgertest.DB
	store   *ledger.Store
	login   *ledger.Login
	storage *storage.Store
	worker  *ledger.Worker
	base    string

	who        map[string]ledger.Who
	project    ledger.Project
	order      ledger.WorkOrder // of ole's
	otherOrder ledger.WorkOrder // of tamsin's
	props      map[string]ledger.Prop
	deliveries map[string]uuid.UUID
	specs      map[string]uuid.UUID // by prop; "lantern-2" is one that waits for acknowledgement
}

// newWorld starts the service and plays everything up to what the pages show.
func newWorld(t *testing.T) *world {
	t.Helper()
	db := ledgertest.New(t)
	w := &world{t: t, db: db, login: ledger.NewLogin(db.Pool(ledger.RoleLogin)), worker: ledger.NewWorker(db.Pool(ledger.RoleWorker)),
		who: map[string]ledger.Who{}, props: map[string]ledger.Prop{}, deliveries: map[string]uuid.UUID{}, specs: map[string]uuid.UUID{}}
	var err error
	w.store, err = ledger.NewStore(db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	w.storage, err = storage.Open(storage.Config{
		Endpoint: objects.Endpoint, Region: s3server.Region, Bucket: objects.Bucket, AccessKey: objects.API.Access, SecretKey: objects.API.Secret,
	})
	require.NoError(t, err)
	w.serve()
	w.people()
	w.orders()
	w.story()
	return w
}

// with is the same world for another test.
func (w *world) with(t *testing.T) *world {
	same := *w
	same.t = t
	return &same
}

func (w *world) serve() {
	w.t.Helper()
	listening := httptest.NewUnstartedServer(nil)
	server, err := httpapi.New(httpapi.Config{
		Store: w.store, Login: w.login, Storage: w.storage, PublicURL: "http://" + listening.Listener.Addr().String(),
		Log: slog.New(slog.NewJSONHandler(logTo(), nil)), Limits: httpapi.Limits{LogInBurst: 1000, CallerBurst: 10000, AddressBurst: 100000},
		Pages: web.Mount(w.store, w.login, w.storage), PostKey: w.postKey(),
		StoragePrice: httpapi.StoragePrice{PerGBMonth: 2000, Currency: "EUR"},
	})
	require.NoError(w.t, err)
	listening.Config.Handler = server.Handler()
	listening.Start()
	w.t.Cleanup(listening.Close)
	w.base = listening.URL
}

// as runs fn for one of the people and fails the test on an error.
func as[T any](w *world, email string, fn func(ctx context.Context, tx *ledger.Tx) (T, error)) (out T) {
	w.t.Helper()
	ctx := context.Background()
	require.NoError(w.t, w.store.InTx(ctx, w.who[email], func(tx *ledger.Tx) (err error) { out, err = fn(ctx, tx); return err }))
	return out
}

func (w *world) people() {
	first, err := ledger.BootstrapStudio(w.t.Context(), w.db.AdminURL(), "Kelpgate Games", ledger.FirstMember{Name: "Ines Haddal", Email: ines, Password: password})
	require.NoError(w.t, err)
	w.who[ines] = first
	studio := first.Party
	w.member(ines, studio, "Petra Quist", petra, ledger.Producer)
	w.member(ines, studio, "Marek Osei", marek, ledger.ArtDirector)
	w.member(ines, studio, "Noor Lindqvist", noor, ledger.TechnicalArtist)
	w.member(ines, w.vendor("Brackwater Props"), "Ole Brekke", ole, ledger.VendorLead)
	w.member(ole, w.who[ole].Party, "Ada Fjeld", ada, ledger.VendorArtist)
	w.member(ines, w.vendor("Ninth Lock Workshop"), "Tamsin Reyes", tamsin, ledger.VendorLead)
}

func (w *world) vendor(name string) uuid.UUID {
	w.t.Helper()
	return as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.Vendor, error) {
		return tx.CreateVendor(ctx, ledger.NewVendor{Name: name})
	}).ID
}

func (w *world) member(by string, party uuid.UUID, name, email string, role ledger.Role) {
	w.t.Helper()
	secret := w.invitation(by, party, email, role)
	who, err := w.login.AcceptInvitation(w.t.Context(), secret, name, password)
	require.NoError(w.t, err)
	w.who[email] = who
}

func (w *world) invitation(by string, party uuid.UUID, email string, role ledger.Role) string {
	w.t.Helper()
	return as(w, by, func(ctx context.Context, tx *ledger.Tx) (string, error) {
		_, secret, err := tx.Invite(ctx, ledger.NewInvitation{Party: party, Email: email, Roles: []ledger.Role{role}})
		return secret, err
	})
}

func (w *world) orders() {
	w.project = as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.Project, error) {
		return tx.CreateProject(ctx, ledger.NewProject{Code: "SALTMARSH", Title: "Saltmarsh harbour"})
	})
	place := func(vendor, code, title string) ledger.WorkOrder {
		return as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.WorkOrder, error) {
			return tx.CreateWorkOrder(ctx, ledger.NewWorkOrder{Project: w.project.ID, Vendor: w.who[vendor].Party, Code: code, Title: title, Currency: "EUR",
				RoundsIncluded: 2, ReviewDays: 5, Terms: "Two rounds of rework.\nThe studio answers within the week."})
		})
	}
	w.order = place(ole, "QUAY-01", "Quay furniture")
	w.otherOrder = place(tamsin, "YARD-01", "Salvage yard")
	for _, p := range []struct{ code, title, tier string }{
		{"lantern", "Pier lantern", "hero"}, {"bollard", "Mooring bollard", "mid"}, {"buoy", "Channel buoy", "mid"}, {"ladder", "Quay ladder", "background"},
		{"winch", "Slip winch", "mid"}, {"crate", "Fish crate", "mid"}, {"cleat", "Deck cleat", "background"},
	} {
		w.prop(w.order, p.code, p.title, p.tier)
	}
	w.prop(w.otherOrder, "capstan", "Warping capstan", "mid")
}

func (w *world) prop(order ledger.WorkOrder, code, title, tier string) {
	w.t.Helper()
	due := time.Date(2031, 3, 14, 0, 0, 0, 0, time.UTC)
	past := time.Date(2020, 2, 29, 0, 0, 0, 0, time.UTC)
	first := &due
	if code == "ladder" {
		first = &past
	}
	w.props[code] = as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.Prop, error) {
		return tx.CreateProp(ctx, ledger.NewProp{WorkOrder: order.ID, Code: code, Title: title, Tier: tier, PriceMinor: 118_050, Milestones: []ledger.NewMilestone{
			{Kind: "game_mesh", ShareBP: 6000, Due: first}, {Kind: "final", ShareBP: 4000, Due: &due},
		}})
	})
	w.spec(code, fmt.Sprintf("prop: %s\ntitle: %s\ntier: %s\nchecks:\n  budget.triangles: {max_triangles: 3800}\n", code, title, tier))
}

func (w *world) spec(prop, document string) {
	w.t.Helper()
	parsed, err := spec.Parse("spec", []byte(document), acceptance.Catalogue())
	require.NoError(w.t, err)
	s, err := spec.Resolve(parsed, acceptance.Catalogue(), "", nil)
	require.NoError(w.t, err)
	digest := make([]byte, sha256.Size)
	_, err = fmt.Sscanf(s.Digest, "%x", &digest)
	require.NoError(w.t, err)
	w.specs[prop] = as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.SpecRevision, error) {
		return tx.CreateSpecRevision(ctx, ledger.NewSpecRevision{Prop: w.props[prop].ID, Document: []byte(document), Digest: digest, Note: "As contracted."})
	}).ID
}

// story makes deliveries in every state that a page has to show.
func (w *world) story() {
	w.deliver("lantern", "lantern", ole)
	w.inspect(reviewable())
	first := w.specs["lantern"]
	w.spec("lantern", "prop: lantern\ntitle: Pier lantern\ntier: hero\nchecks:\n  budget.triangles: {max_triangles: 3000}\n")
	w.specs["lantern-2"], w.specs["lantern"] = w.specs["lantern"], first

	w.deliver("bollard", "bollard-1", ole)
	w.inspect(failed())
	w.sign("bollard-1", ledger.Return, "Grind the weld beads down; see the ringed places.")
	w.deliver("bollard", "bollard", ole)
	w.inspect(failedAgain())
	w.note("bollard", marek, privat, true)
	w.note("bollard", marek, shared, false)

	w.deliver("buoy", "buoy", ole)
	w.inspect(unable())
	w.deliver("winch", "winch", ole)
	w.inspect(stuck())
	w.deliver("cleat", "cleat", ole)
	w.inspect(reviewable())
	w.sign("cleat", ledger.AcceptNote, "Lovely; one bevel to mend with the final.")
	w.deliver("capstan", "capstan", tamsin)
	w.inspect(failed())
	w.deliver("crate", "crate", ole) // stays in the queue
}

// deliver opens and seals a delivery without bytes behind it: the pages show the record, not the files.
func (w *world) deliver(prop, name, by string) {
	w.t.Helper()
	sum := sha256.Sum256([]byte(name))
	d := as(w, by, func(ctx context.Context, tx *ledger.Tx) (ledger.Delivery, error) {
		return tx.OpenDelivery(ctx, ledger.Manifest{Milestone: w.props[prop].Milestones[0].ID, Note: "Ready to look at.", Files: []ledger.NewFile{
			{Path: prop + "_game.glb", Role: "game", Size: 877_001, SHA256: sum[:], MediaType: "model/gltf-binary"},
			{Path: "maps/" + prop + "_base_color.png", Role: "map.base_color", Size: 1_690_001, SHA256: sum[:], MediaType: "image/png"},
		}})
	})
	as(w, by, func(ctx context.Context, tx *ledger.Tx) (ledger.Delivery, error) {
		if _, err := tx.BeginSeal(ctx, d.ID); err != nil {
			return d, err
		}
		var arrived []ledger.Arrived
		for _, f := range d.Files {
			arrived = append(arrived, ledger.Arrived{File: f.ID, Size: f.Size, ETag: `"etag"`})
		}
		return tx.FinishSeal(ctx, d.ID, arrived)
	})
	w.deliveries[name] = d.ID
}

func (w *world) sign(delivery string, decision ledger.Decision, reason string) {
	w.t.Helper()
	as(w, marek, func(ctx context.Context, tx *ledger.Tx) (ledger.SignOff, error) {
		return tx.SignOff(ctx, ledger.NewSignOff{Delivery: w.deliveries[delivery], Decision: decision, Reason: reason})
	})
}

func (w *world) note(delivery, by, text string, private bool) {
	w.t.Helper()
	as(w, by, func(ctx context.Context, tx *ledger.Tx) (ledger.Note, error) {
		return tx.AddNote(ctx, ledger.NewNote{Delivery: w.deliveries[delivery], Text: text, Private: private})
	})
}

// found is what an inspection finds.
type found struct {
	verdict  ledger.Verdict
	headline string
	cause    string
	findings []acceptance.Finding
	broken   bool // the stored evidence is not what is recorded
}

// failedAgain is failed, compared with the delivery before.
func failedAgain() found {
	f := failed()
	f.findings = append(f.findings, acceptance.Finding{
		Check: "revision.changed", Outcome: acceptance.Pass, Sentence: "Since the delivery before, 1 part and 1 map changed, and 2 measured values moved.",
		Where: []acceptance.Place{{Note: "game post has another shape: 1,824 triangles before, 1,790 now"}, {Note: "map.base_color main has other pixels"}},
	}, acceptance.Finding{Check: "revision.regressed", Outcome: acceptance.Pass, Sentence: "Nothing that passed in the delivery before fails now; 1 finding mended."})
	return f
}

// inspect records a result for the next inspection in the queue, with evidence and pictures in storage.
func (w *world) inspect(f found) ledger.Job {
	w.t.Helper()
	job, err := w.worker.Claim(w.t.Context(), "test")
	require.NoError(w.t, err)
	w.record(job, f)
	return job
}

// record records a result for a claimed inspection.
func (w *world) record(job ledger.Job, f found) {
	w.t.Helper()
	result := ledger.Result{Engine: "test", EngineDigest: fmt.Sprintf("%064x", 7), Verdict: f.verdict, Headline: f.headline, Cause: f.cause}
	for i, one := range f.findings {
		row := ledger.Finding{Ord: i, Check: one.Check, Part: one.Part, Set: one.Set, File: one.File,
			Outcome: string(one.Outcome), Blocks: one.Blocks, FollowsFrom: one.FollowsFrom}
		if most, limited := one.Limit["max_height_mm"]; limited && one.Measured != nil {
			row.Measured, row.Unit, row.LimitKey, row.Limit = &one.Measured.Value, one.Measured.Unit, "max_height_mm", &most
		}
		result.Findings = append(result.Findings, row)
	}
	if says := acceptance.FirstIssue(&acceptance.Evidence{Verdict: acceptance.Verdict(f.verdict), Findings: f.findings}); len(says) > 0 {
		data, err := json.Marshal(says)
		require.NoError(w.t, err)
		result.FirstIssue = data
	}
	if f.findings != nil {
		w.keepEvidence(&job, &result, f)
	}
	require.NoError(w.t, w.worker.Record(w.t.Context(), job.Inspection.ID, job.Fence, result, nil))
}

// keepEvidence puts an inspection's evidence into storage; in the order of names, as the worker does.
func (w *world) keepEvidence(job *ledger.Job, result *ledger.Result, f found) {
	evidence, err := json.Marshal(acceptance.Evidence{
		Schema: "proofhouse/evidence/1", Verdict: acceptance.Verdict(f.verdict), Headline: f.headline, Findings: f.findings,
		Exempt: []acceptance.Exempt{{What: "part rope", Reason: "Rope is baked from its own sculpt.", AreaShare: 0.12}},
	})
	require.NoError(w.t, err)
	for _, o := range []struct {
		name, what, kind string
		data             []byte
	}{
		{"deviation.glb", "The game surface as a model.", "model/gltf-binary", model(job, true)},
		{"deviation_sides.png", "The game surface from six sides.", "image/png", picture(job, 1)},
		{"evidence.json", "The evidence.", "application/json", evidence},
		{"model_game.glb", "The game mesh for the 3D view.", "model/gltf-binary", model(job, false)},
		{"prop_clay.png", "The prop in clay.", "image/png", picture(job, 2)},
		{"prop_game_distance.png", "The prop at the size of real pixels.", "image/png", picture(job, 3)},
		{"prop_lit.png", "The prop, lit and textured.", "image/png", picture(job, 4)},
		{"prop_true_pixels.png", "The prop alone in real pixels.", "image/png", picture(job, 6)},
		{"uv_density.png", "The UV layout by texel density.", "image/png", picture(job, 5)},
	} {
		order := job.Inspection.WorkOrderID.String()
		sum, size, err := w.storage.PutEvidence(w.t.Context(), order, bytes.NewReader(o.data), o.kind)
		require.NoError(w.t, err)
		raw := sha256.Sum256(o.data)
		result.Objects = append(result.Objects, ledger.EvidenceObject{Name: o.name, What: o.what, ObjectKey: storage.EvidenceKey(order, sum), SHA256: raw[:], Size: size, MediaType: o.kind})
		if o.name == "evidence.json" {
			result.EvidenceSHA256 = raw[:]
			if f.broken {
				sum := sha256.Sum256([]byte("another document"))
				result.EvidenceSHA256, result.Objects[len(result.Objects)-1].SHA256 = sum[:], sum[:]
			}
		}
	}
}

// model is a small model of its own for each inspection: eight faces, 2 m from tip to tip.
func model(job *ledger.Job, heights bool) []byte {
	p := glbwrite.Prim{
		Pos: []float32{1, 0, 0, -1, 0, 0, 0, 1, 0, 0, -1, 0, 0, 0, 1, 0, 0, -1},
		UV:  []float32{0, 0, 1, 0, 0.5, 1, 0.5, 0, 1, 1, 0, 1},
		Tri: []uint32{0, 2, 4, 4, 2, 1, 1, 2, 5, 5, 2, 0, 4, 3, 0, 1, 3, 4, 5, 3, 1, 0, 3, 5},
	}
	if heights {
		p.Own = []glbwrite.Values{{Name: "_HEIGHT_MM", Values: []float32{4, 4, 4, 4, 4, 4}}}
		p.Col = slices.Repeat([]float32{0.5, 0.2, 0.05, 1}, 6)
		p.Material = &glbwrite.Material{Extras: map[string]any{"range_mm": 5, "scale": []string{"#123456", "#654321"}}}
	}
	data, _ := glbwrite.Bytes(glbwrite.Single(job.Inspection.ID.String(), p)) // into memory
	return data
}

// picture is a small picture of its own for each inspection and name.
func picture(job *ledger.Job, n int) []byte {
	m := image.NewRGBA(image.Rect(0, 0, 320, 240))
	for y := range 240 {
		for x := range 320 {
			m.SetRGBA(x, y, color.RGBA{uint8(90 + x/4), uint8(100 + y/4), job.Inspection.ID[15] + uint8(20*n), 255})
		}
	}
	var b bytes.Buffer
	_ = png.Encode(&b, m) // into memory
	return b.Bytes()
}

func mm(v float64) *acceptance.Value { return &acceptance.Value{Value: v, Unit: "mm"} }

// deviationWarnings are warnings of one check on four parts.
func deviationWarnings() []acceptance.Finding {
	var out []acceptance.Finding
	for i, part := range []string{"base", "lens", "posts", "hood"} {
		out = append(out, acceptance.Finding{
			Check: "surface.deviation", Part: part, Outcome: acceptance.Warn, Measured: mm(1.2 + float64(i)/10), Why: "The farther the game surface is from the sculpt, the more the bake has to pretend.",
			Sentence: fmt.Sprintf("19 parts in 20 of the surface of %s lie within 1.%d mm (limit 0.8 mm).", part, 2+i), Remedy: "Bring the game surface nearer to the sculpt.",
			Limit: map[string]float64{"max_p95_mm": 0.84, "max_p95_share": 0.003}, Pictures: []string{"deviation_sides.png", "deviation.glb"}, Metrics: map[string]float64{"p95_mm": 1.2 + float64(i)/10, "mean_mm": 0.4},
			Where: []acceptance.Place{{Node: "prop_" + part, PointMM: &[3]float64{10.5, 22, 3}, Side: "left", Value: mm(2.6)}},
		})
	}
	return out
}

func clear() []acceptance.Finding {
	return []acceptance.Finding{
		{Check: "file.intact", File: "prop_game.glb", Outcome: acceptance.Pass, Blocks: true, Sentence: "877001 bytes arrived with the digest that was declared."},
		{Check: "surface.symmetry", Part: "base", Outcome: acceptance.NotApplicable, Sentence: "The spec names no mirror plane for the part."},
	}
}

func reviewable() found {
	return found{verdict: ledger.VerdictPass, headline: "technical: clear, 4 warnings", findings: append(clear(), deviationWarnings()...)}
}

// failed has two issues of one check, one of another, and a warning on four parts. Their Ords are 0 to 2.
func failed() found {
	issues := []acceptance.Finding{
		{Check: "surface.poke_through", Part: "post", Outcome: acceptance.Fail, Blocks: true, Measured: mm(10.3), Sentence: "The largest lump on post stands 10.3 mm proud.",
			Why: "What stands outside is flattened in the bake.", Remedy: "Move the game surface out.", Limit: map[string]float64{"max_height_mm": 5.22, "max_height_px": 1},
			Metrics: map[string]float64{"max_height_mm": 10.3}, Where: []acceptance.Place{{Node: "prop_post", PointMM: &[3]float64{162, 299, 21}}}},
		{Check: "surface.poke_through", Part: "cap", Outcome: acceptance.Fail, Blocks: true, Measured: mm(7), Sentence: "The largest lump on cap stands 7.0 mm proud.",
			Why: "What stands outside is flattened in the bake.", Remedy: "Move the game surface out.", Limit: map[string]float64{"max_height_mm": 5.22, "max_height_px": 1}},
		{Check: "names.default", Outcome: acceptance.Fail, Blocks: true, Sentence: `1 name is left over from an editor; it is "Cylinder.003".`,
			Why: "A leftover name says that nobody meant the thing to be found.", Remedy: "Name it for what it is."},
		{Check: "scene.size", Outcome: acceptance.Fail, Blocks: false, FollowsFrom: "names.default", Sentence: "Follows from the name."},
	}
	return found{verdict: ledger.VerdictFail, headline: "technical: 3 issues; the first: The largest lump on post stands 10.3 mm proud.",
		findings: append(append(issues, deviationWarnings()...), clear()...)}
}

// unable has an issue and two checks that could not be made for the same reason.
func unable() found {
	return found{verdict: ledger.VerdictFail, headline: "technical: 1 issue; the first: Without a sculpt: 1 part.", findings: append([]acceptance.Finding{
		{Check: "names.pairing", Outcome: acceptance.Fail, Blocks: true, Sentence: "Without a sculpt: 1 part.", Why: "It bakes flat.", Remedy: "Name the sculpt."},
		{Check: "surface.cage_reach", Part: "mast", Outcome: acceptance.NotEvaluated, Blocks: true, Sentence: `Nothing matches the part "mast".`, Why: "A miss is a hole."},
		{Check: "surface.poke_through", Part: "mast", Outcome: acceptance.NotEvaluated, Blocks: true, Sentence: `Nothing matches the part "mast".`, Why: "It is flattened."},
	}, clear()...)}
}

func stuck() found {
	return found{verdict: ledger.VerdictNotEvaluated, headline: "technical: not evaluated", cause: "the inspector ran out of memory"}
}
