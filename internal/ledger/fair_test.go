package ledger_test

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// pile queues so many inspections of a made-up vendor, copies of a real delivery behind the schema's back.
func (s *scene) pile(like ledger.Delivery, vendor uuid.UUID, n int) {
	s.t.Helper()
	for _, sql := range []string{
		`SET session_replication_role = replica`,
		fmt.Sprintf(`CREATE TEMP TABLE pile AS SELECT gen_random_uuid() AS id, row_number() OVER () AS n FROM generate_series(1, %d)`, n),
		fmt.Sprintf(`INSERT INTO ph.delivery SELECT (jsonb_populate_record(d, jsonb_build_object('id', p.id, 'vendor_id', '%s', 'number', p.n + (SELECT max(number) FROM ph.delivery)))).*
			FROM ph.delivery d, pile p WHERE d.id = '%s'`, vendor, like.ID),
		fmt.Sprintf(`INSERT INTO ph.inspection (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id, id, spec_revision_id, spec_number, reason, queued_at)
			SELECT d.studio_id, d.vendor_id, d.work_order_id, d.prop_id, d.milestone_id, d.id, gen_random_uuid(), d.spec_revision_id, 1, '', clock_timestamp()
			FROM ph.delivery d JOIN pile p ON p.id = d.id WHERE d.vendor_id = '%s'`, vendor),
		`DROP TABLE pile`,
		`SET session_replication_role = DEFAULT`,
	} {
		_, err := s.owner.Exec(s.ctx(), sql)
		require.NoError(s.t, err, sql)
	}
}

// end takes an inspection out of the way, as its result would.
func (s *scene) end(job ledger.Job) {
	s.t.Helper()
	_, err := s.owner.Exec(s.ctx(), `DELETE FROM ph.inspection WHERE id = $1`, job.Inspection.ID)
	require.NoError(s.t, err)
}

// TestAPileStarvesNobody: one vendor has 500 deliveries in the queue, all older than the single ones of eleven others. However
// few slots there are, each of the others is served before anybody else is served twice.
func TestAPileStarvesNobody(t *testing.T) {
	const others = 11
	for _, slots := range []int{1, 3, 8} {
		t.Run(fmt.Sprint(slots, " slots"), func(t *testing.T) { aPile(t, slots, others) })
	}
}

func aPile(t *testing.T, slots, others int) {
	s := newScene(t)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	s.end(s.claim())
	s.pile(d, uuid.New(), 500)
	var running []ledger.Job
	claim := func() ledger.Job {
		if len(running) == slots {
			s.end(running[0])
			running = running[1:]
		}
		job := s.claim()
		running = append(running, job)
		return job
	}
	for range slots { // all slots are the pile's when the others come
		claim()
	}
	var vendors []uuid.UUID
	for range others {
		vendors = append(vendors, uuid.New())
		s.pile(d, vendors[len(vendors)-1], 1)
	}
	first := s.times(claim, vendors[:others-1], others+1)
	for v, at := range first {
		require.Less(t, at, others+1, "%d slots: vendor %s waited for %d claims", slots, v, at)
	}
	// And one who comes last of all, while the pile is still hundreds high, is third at the latest: of the pile and
	// of one other that may still wait for a first turn, each goes before at most once.
	for _, job := range running {
		s.end(job)
	}
	running = nil
	s.pile(d, vendors[0], 1)
	late := s.times(claim, vendors[:1], others)[vendors[0]]
	require.LessOrEqual(t, late, 3, "%d slots", slots)
}

// times claims so often and says at which claim each vendor's turn came first.
func (s *scene) times(claim func() ledger.Job, vendors []uuid.UUID, most int) map[uuid.UUID]int {
	s.t.Helper()
	at := map[uuid.UUID]int{}
	for i := 1; i <= most && len(at) < len(vendors); i++ {
		v := claim().Inspection.VendorID
		for _, want := range vendors {
			if want == v && at[v] == 0 {
				at[v] = i
			}
		}
	}
	require.Len(s.t, at, len(vendors), "everybody had a turn")
	return at
}

// TestClaimLooksAtOneRowOfEachVendor: whatever is queued, a claim reads one waiting row of each vendor by index and no pile
// whole; the plan says so, and so does the number of pages.
func TestClaimLooksAtOneRowOfEachVendor(t *testing.T) {
	s := newScene(t)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	pile := uuid.New()
	s.pile(d, pile, 500)
	for range 50 {
		s.pile(d, uuid.New(), 1)
	}
	few := s.pagesOfAClaim(false)
	s.pile(d, pile, 8000)
	_, err := s.owner.Exec(s.ctx(), `ANALYZE ph.inspection`)
	require.NoError(t, err)
	many := s.pagesOfAClaim(true)
	t.Logf("a claim among 52 vendors touches %d pages with 551 waiting, %d with 8,551", few, many)
	require.Less(t, many, 2*few+200)
	began := time.Now()
	const claims = 50
	for range claims {
		s.claim()
	}
	t.Logf("%d claims, each in a transaction: %.1f ms a claim by the clock", claims, float64(time.Since(began).Milliseconds())/claims)
}

// pagesOfAClaim explains a claim that is then taken back, and says how many pages it touched.
func (s *scene) pagesOfAClaim(strict bool) int {
	t := s.t
	tx, err := s.db.Pool(ledger.RoleWorker).Begin(s.ctx())
	require.NoError(t, err)
	defer func() { _ = tx.Rollback(s.ctx()) }()
	var text []byte
	require.NoError(t, tx.QueryRow(s.ctx(), `EXPLAIN (ANALYZE, BUFFERS, FORMAT JSON) `+ledger.ClaimQuery, "plan", ledger.LeaseFor).Scan(&text))
	var plans []struct{ Plan planNode }
	require.NoError(t, json.Unmarshal(text, &plans))
	plans[0].Plan.walk(func(n planNode) {
		if strict { // of a few hundred rows the planner may read all
			require.LessOrEqual(t, n.Rows*n.Loops, 200.0, "%s of %s %s: %s", n.Type, n.Relation, n.Index, text)
		}
	})
	return plans[0].Plan.Hit + plans[0].Plan.Read
}

type planNode struct {
	Type     string     `json:"Node Type"`
	Relation string     `json:"Relation Name"`
	Index    string     `json:"Index Name"`
	Rows     float64    `json:"Actual Rows"`
	Loops    float64    `json:"Actual Loops"`
	Hit      int        `json:"Shared Hit Blocks"`
	Read     int        `json:"Shared Read Blocks"`
	Plans    []planNode `json:"Plans"`
}

func (n planNode) walk(see func(planNode)) {
	see(n)
	for _, p := range n.Plans {
		p.walk(see)
	}
}
