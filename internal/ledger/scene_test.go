package ledger_test

import (
	"context"
	"crypto/sha256"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
)

// scene is a harbour studio with its people and two vendors, each with one work order of one prop.
type scene struct {
	t      *testing.T
	db     *ledgertest.DB
	store  *ledger.Store
	login  *ledger.Login
	worker *ledger.Worker
	owner  *pgx.Conn // superuser: looks and tampers behind the service's back

	studio     ledger.Who // producer, art director and technical artist in one
	yard, lamp ledger.Who // leads of two vendors
	yardProp   ledger.Prop
	lampProp   ledger.Prop
	yardOrder  ledger.WorkOrder
	lampOrder  ledger.WorkOrder
}

const testPassword = "a password of the tests"

func newScene(t *testing.T) *scene {
	t.Helper()
	t.Parallel()
	db := ledgertest.New(t)
	s := &scene{t: t, db: db, login: ledger.NewLogin(db.Pool(ledger.RoleLogin)), worker: ledger.NewWorker(db.Pool(ledger.RoleWorker))}
	var err error
	s.store, err = ledger.NewStore(db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	s.owner, err = pgx.Connect(context.Background(), db.URL(pgserver.Owner))
	require.NoError(t, err)
	t.Cleanup(func() { s.owner.Close(context.Background()) })
	s.studio = db.Studio("Harbour Studio")
	s.yard = s.vendor("Salvage Yard", "mara@salvage.example")
	s.lamp = s.vendor("Lamp Works", "ivo@lamp.example")
	s.yardOrder, s.yardProp = s.order(s.yard, "WO-YARD", "crate_large")
	s.lampOrder, s.lampProp = s.order(s.lamp, "WO-LAMP", "lantern_quay")
	return s
}

func (s *scene) ctx() context.Context { return context.Background() }

// as runs fn for a caller and fails the test on an error.
func (s *scene) as(who ledger.Who, fn func(tx *ledger.Tx) error) {
	s.t.Helper()
	require.NoError(s.t, s.try(who, fn))
}

func (s *scene) try(who ledger.Who, fn func(tx *ledger.Tx) error) error {
	return s.store.InTx(s.ctx(), who, fn)
}

func (s *scene) vendor(name, email string) ledger.Who {
	s.t.Helper()
	var secret string
	s.as(s.studio, func(tx *ledger.Tx) error {
		v, err := tx.CreateVendor(s.ctx(), ledger.NewVendor{Name: name})
		if err != nil {
			return err
		}
		_, secret, err = tx.Invite(s.ctx(), ledger.NewInvitation{Party: v.ID, Email: email, Roles: []ledger.Role{ledger.VendorLead}})
		return err
	})
	who, err := s.login.AcceptInvitation(s.ctx(), secret, "Lead of "+name, testPassword)
	require.NoError(s.t, err)
	return who
}

// member adds a colleague with these roles to the caller's party.
func (s *scene) member(by ledger.Who, name, email string, roles ...ledger.Role) ledger.Who {
	s.t.Helper()
	var secret string
	s.as(by, func(tx *ledger.Tx) (err error) {
		_, secret, err = tx.Invite(s.ctx(), ledger.NewInvitation{Party: by.Party, Email: email, Roles: roles})
		return err
	})
	who, err := s.login.AcceptInvitation(s.ctx(), secret, name, testPassword)
	require.NoError(s.t, err)
	return who
}

func (s *scene) order(vendor ledger.Who, code, prop string) (order ledger.WorkOrder, p ledger.Prop) {
	s.t.Helper()
	s.as(s.studio, func(tx *ledger.Tx) error {
		project, err := tx.CreateProject(s.ctx(), ledger.NewProject{Code: "P-" + code, Title: "Old Harbour"})
		if err != nil {
			return err
		}
		order, err = tx.CreateWorkOrder(s.ctx(), ledger.NewWorkOrder{Project: project.ID, Vendor: vendor.Party, Code: code, Title: "Props for the quay",
			Currency: "EUR", RoundsIncluded: 2, ReviewDays: 5, Terms: "As agreed on the quay.", SilenceAccepts: true, KillFeeBP: 2500})
		return err
	})
	return order, s.prop(order.ID, prop)
}

func (s *scene) prop(order uuid.UUID, code string) (p ledger.Prop) {
	s.t.Helper()
	s.as(s.studio, func(tx *ledger.Tx) (err error) {
		p, err = tx.CreateProp(s.ctx(), ledger.NewProp{WorkOrder: order, Code: code, Title: "A " + code, Tier: "mid", PriceMinor: 100_001,
			Milestones: []ledger.NewMilestone{{Kind: "sculpt", ShareBP: 3333}, {Kind: "game_mesh", ShareBP: 3333}, {Kind: "final", ShareBP: 3334}}})
		if err != nil {
			return err
		}
		_, err = tx.CreateSpecRevision(s.ctx(), spec(p.ID, "first"))
		return err
	})
	return p
}

func spec(prop uuid.UUID, text string) ledger.NewSpecRevision {
	digest := sha256.Sum256([]byte("resolved " + text))
	return ledger.NewSpecRevision{Prop: prop, Document: []byte("prop: crate # " + text + "\n"), Digest: digest[:], Note: text}
}

func manifest(milestone uuid.UUID) ledger.Manifest {
	sum := sha256.Sum256([]byte("mesh"))
	return ledger.Manifest{Milestone: milestone, Note: "as asked", Files: []ledger.NewFile{
		{Path: "crate.glb", Role: "game", Size: 4, SHA256: sum[:], MediaType: "model/gltf-binary"},
		{Path: "maps/crate_n.png", Role: "map.normal", Size: 9, SHA256: sum[:], MediaType: "image/png"},
	}}
}

// open opens a delivery for a milestone.
func (s *scene) open(vendor ledger.Who, milestone uuid.UUID) (d ledger.Delivery) {
	s.t.Helper()
	s.as(vendor, func(tx *ledger.Tx) (err error) {
		d, err = tx.OpenDelivery(s.ctx(), manifest(milestone))
		return err
	})
	return d
}

// seal takes an open delivery to sealed.
func (s *scene) seal(vendor ledger.Who, d ledger.Delivery) ledger.Delivery {
	s.t.Helper()
	require.NoError(s.t, s.trySeal(vendor, &d))
	return d
}

func (s *scene) trySeal(vendor ledger.Who, d *ledger.Delivery) error {
	if err := s.try(vendor, func(tx *ledger.Tx) error { _, err := tx.BeginSeal(s.ctx(), d.ID); return err }); err != nil {
		return err
	}
	return s.try(vendor, func(tx *ledger.Tx) (err error) {
		*d, err = tx.FinishSeal(s.ctx(), d.ID, arrivedOf(*d))
		return err
	})
}

func arrivedOf(d ledger.Delivery) []ledger.Arrived {
	out := make([]ledger.Arrived, len(d.Files))
	for i, f := range d.Files {
		out[i] = ledger.Arrived{File: f.ID, Size: f.Size, ETag: `"etag"`}
	}
	return out
}

// deliver opens and seals.
func (s *scene) deliver(vendor ledger.Who, milestone uuid.UUID) ledger.Delivery {
	s.t.Helper()
	return s.seal(vendor, s.open(vendor, milestone))
}

func (s *scene) claim() ledger.Job {
	s.t.Helper()
	job, err := s.worker.Claim(s.ctx(), "a worker of the tests")
	require.NoError(s.t, err)
	return job
}

func passing() ledger.Result {
	sum := sha256.Sum256([]byte("evidence"))
	v, l := 1.25, 2.5
	return ledger.Result{Engine: "test", EngineDigest: "e1", Verdict: ledger.VerdictPass, Headline: "technical: clear", EvidenceSHA256: sum[:],
		Findings: []ledger.Finding{
			{Check: "budget.triangles", Outcome: "pass", Blocks: true, Measured: &v, Unit: "count", LimitKey: "max_triangles", Limit: &l},
			{Check: "names.pattern", Outcome: "warn"},
		},
		Objects: []ledger.EvidenceObject{{Name: "evidence.json", What: "the evidence", ObjectKey: "wo/x/evidence/y", SHA256: sum[:], Size: 8, MediaType: "application/json"}}}
}

func failing() ledger.Result {
	r := passing()
	lod := 1
	r.Verdict, r.Headline = ledger.VerdictFail, "technical: 2 issues"
	r.Findings = append(r.Findings,
		ledger.Finding{Check: "surface.deviation", Part: "lid", LOD: &lod, Outcome: "fail", Blocks: true},
		ledger.Finding{Check: "uv.range", Set: "main", Outcome: "fail", Blocks: true})
	return r
}

func unable() ledger.Result {
	return ledger.Result{Engine: "test", EngineDigest: "e1", Verdict: ledger.VerdictNotEvaluated, Headline: "not evaluated", Cause: "memory"}
}

// inspect claims the next inspection and records a result.
func (s *scene) inspect(r ledger.Result) ledger.Job {
	s.t.Helper()
	job := s.claim()
	require.NoError(s.t, s.worker.Record(s.ctx(), job.Inspection.ID, job.Fence, r, nil))
	return job
}

func (s *scene) signOff(who ledger.Who, delivery uuid.UUID, d ledger.Decision, reason string) (out ledger.SignOff, err error) {
	err = s.try(who, func(tx *ledger.Tx) (err error) {
		out, err = tx.SignOff(s.ctx(), ledger.NewSignOff{Delivery: delivery, Decision: d, Reason: reason})
		return err
	})
	return out, err
}

func (s *scene) state(milestone uuid.UUID) (state ledger.MilestoneState) {
	s.t.Helper()
	require.NoError(s.t, s.owner.QueryRow(s.ctx(), `SELECT state FROM ph.milestone WHERE id = $1`, milestone).Scan(&state))
	return state
}

func (s *scene) verify(log uuid.UUID, verifiers ...string) (r ledger.Report) {
	s.t.Helper()
	require.NoError(s.t, s.store.InSnapshot(s.ctx(), s.studio, func(tx *ledger.Tx) (err error) {
		r, err = tx.Verify(s.ctx(), log, verifiers...)
		return err
	}))
	return r
}

func (s *scene) tamper(sql string, args ...any) {
	s.t.Helper()
	// Triggers off: whoever edits behind the service's back may do that too.
	_, err := s.owner.Exec(s.ctx(), `SET session_replication_role = replica`)
	require.NoError(s.t, err)
	tag, err := s.owner.Exec(s.ctx(), sql, args...)
	require.NoError(s.t, err)
	require.NotZero(s.t, tag.RowsAffected(), "the tampering changed nothing")
}
