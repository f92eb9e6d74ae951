package ledger_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// lapse ends a lease as if its time had passed: the clock is the database's.
func (s *scene) lapse(inspection uuid.UUID) {
	s.t.Helper()
	tag, err := s.owner.Exec(s.ctx(), `UPDATE ph.inspection SET lease_until = now() - interval '1 second' WHERE id = $1 AND state = 'running'`, inspection)
	require.NoError(s.t, err)
	require.EqualValues(s.t, 1, tag.RowsAffected())
}

func (s *scene) jobs() (n int) {
	s.t.Helper()
	require.NoError(s.t, s.owner.QueryRow(s.ctx(), `SELECT count(*) FROM river.river_job WHERE kind = 'inspection_wake'`).Scan(&n))
	return n
}

func TestLapsedLeaseGoesToAnotherAndTheLateResultIsDropped(t *testing.T) {
	s := newScene(t)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	require.Equal(t, 1, s.jobs(), "the seal wakes a worker")
	first := s.claim()
	_, err := s.worker.Claim(s.ctx(), "b")
	require.ErrorIs(t, err, ledger.ErrNotFound, "it is claimed once")

	requeued, failed, err := s.worker.ReleaseLapsed(s.ctx())
	require.NoError(t, err)
	require.Zero(t, requeued+failed, "a live lease is left alone")
	s.lapse(first.Inspection.ID)
	until, err := s.worker.Renew(s.ctx(), first.Inspection.ID, first.Fence)
	require.NoError(t, err, "late but not yet swept")
	require.True(t, until.After(first.LeaseUntil))
	s.lapse(first.Inspection.ID)
	requeued, failed, err = s.worker.ReleaseLapsed(s.ctx())
	require.NoError(t, err)
	require.Equal(t, []int{1, 0}, []int{requeued, failed})
	require.Equal(t, 2, s.jobs(), "re-queueing wakes a worker")

	second := s.claim()
	require.Equal(t, first.Inspection.ID, second.Inspection.ID)
	require.Greater(t, second.Fence, first.Fence)
	_, err = s.worker.Renew(s.ctx(), first.Inspection.ID, first.Fence)
	require.ErrorIs(t, err, ledger.ErrLeaseLost)
	require.ErrorIs(t, s.worker.Record(s.ctx(), first.Inspection.ID, first.Fence, failing(), nil), ledger.ErrLeaseLost)
	require.Equal(t, ledger.MInspecting, s.state(s.yardProp.Milestones[0].ID))
	require.NoError(t, s.worker.Record(s.ctx(), second.Inspection.ID, second.Fence, passing(), nil))
	require.ErrorIs(t, s.worker.Record(s.ctx(), second.Inspection.ID, second.Fence, passing(), nil), ledger.ErrLeaseLost, "recorded once")

	s.as(s.yard, func(tx *ledger.Tx) error {
		all, err := tx.Inspections(s.ctx(), d.ID)
		require.NoError(t, err)
		require.Len(t, all, 1)
		require.Equal(t, ledger.VerdictPass, all[0].Verdict)
		require.Equal(t, 2, all[0].Attempts)
		facts, err := tx.Facts(s.ctx(), s.yardOrder.ID, -1, 100)
		require.NoError(t, err)
		n := 0
		for _, f := range facts {
			if f.Kind == ledger.FactInspectionRecorded {
				n++
			}
		}
		require.Equal(t, 1, n, "exactly one recorded inspection")
		return nil
	})
}

func TestThreeLapsedLeasesAreNotEvaluated(t *testing.T) {
	s := newScene(t)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	for range ledger.MaxAttempts {
		s.lapse(s.claim().Inspection.ID)
		_, _, err := s.worker.ReleaseLapsed(s.ctx())
		require.NoError(t, err)
	}
	_, err := s.worker.Claim(s.ctx(), "a")
	require.ErrorIs(t, err, ledger.ErrNotFound, "not tried for ever")
	require.Equal(t, ledger.MStuck, s.state(s.yardProp.Milestones[0].ID))
	s.as(s.studio, func(tx *ledger.Tx) error {
		i, err := tx.CurrentInspection(s.ctx(), d.ID)
		require.NoError(t, err)
		require.Equal(t, ledger.VerdictNotEvaluated, i.Verdict)
		require.Equal(t, ledger.CauseInspectorFailed, i.Cause)
		return nil
	})
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

func TestGiveBackDoesNotCountTheAttempt(t *testing.T) {
	s := newScene(t)
	s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	for range 5 {
		job := s.claim()
		require.Equal(t, 1, job.Inspection.Attempts)
		require.NoError(t, s.worker.GiveBack(s.ctx(), job.Inspection.ID, job.Fence))
		require.ErrorIs(t, s.worker.GiveBack(s.ctx(), job.Inspection.ID, job.Fence), ledger.ErrLeaseLost)
	}
}

func TestClaimsAreFairBetweenVendors(t *testing.T) {
	s := newScene(t)
	var yard []uuid.UUID
	for i := range 4 { // one vendor sends a pile, then the other one thing
		prop := s.prop(s.yardOrder.ID, "crate_"+string(rune('a'+i)))
		yard = append(yard, s.deliver(s.yard, prop.Milestones[0].ID).ID)
	}
	lamp := s.deliver(s.lamp, s.lampProp.Milestones[0].ID).ID
	var got []uuid.UUID
	for range 4 {
		got = append(got, s.claim().Delivery.ID)
	}
	// Oldest first while nobody has one running; then the vendor with the fewest running.
	require.Equal(t, []uuid.UUID{yard[0], lamp, yard[1], yard[2]}, got)
	queued, running, err := s.worker.Waiting(s.ctx())
	require.NoError(t, err)
	require.Equal(t, []int{1, 4}, []int{queued, running})
}

func TestManyWorkersClaimEachOnce(t *testing.T) {
	s := newScene(t)
	const deliveries, workers = 9, 6
	for i := range deliveries {
		prop := s.prop(s.yardOrder.ID, "crate_"+string(rune('a'+i)))
		s.deliver(s.yard, prop.Milestones[0].ID)
	}
	var mu sync.Mutex
	seen := map[uuid.UUID]int{}
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for {
				job, err := s.worker.Claim(s.ctx(), "w")
				if errors.Is(err, ledger.ErrNotFound) {
					return
				}
				if err == nil {
					err = s.worker.Record(s.ctx(), job.Inspection.ID, job.Fence, passing(), nil)
				}
				mu.Lock()
				seen[job.Inspection.ID]++
				if err != nil {
					t.Error(err)
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	require.Len(t, seen, deliveries)
	for id, n := range seen {
		require.Equal(t, 1, n, id)
	}
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

// TestRecordIsOneTransaction: a hook that fails takes findings, verdict, move and fact with it.
func TestRecordIsOneTransaction(t *testing.T) {
	s := newScene(t)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	job := s.claim()
	boom := errors.New("job queue is away")
	err := s.worker.Record(s.ctx(), job.Inspection.ID, job.Fence, failing(), func(context.Context, pgx.Tx) error { return boom })
	require.ErrorIs(t, err, boom)
	require.Equal(t, ledger.MInspecting, s.state(s.yardProp.Milestones[0].ID))
	var findings int
	require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT count(*) FROM ph.finding`).Scan(&findings))
	require.Zero(t, findings)
	require.NoError(t, s.worker.Record(s.ctx(), job.Inspection.ID, job.Fence, failing(), func(ctx context.Context, tx pgx.Tx) error {
		var state string
		return tx.QueryRow(ctx, `SELECT state FROM ph.inspection WHERE id = $1 AND state = 'done'`, job.Inspection.ID).Scan(&state)
	}))
	_ = d
}

func TestRecordRefusesContradictions(t *testing.T) {
	s := newScene(t)
	s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	job := s.claim()
	nan := 0.0
	nan /= nan
	change := func(f func(r *ledger.Result)) ledger.Result { r := failing(); f(&r); return r }
	for name, r := range map[string]ledger.Result{
		"pass with blocking issues":   change(func(r *ledger.Result) { r.Verdict = ledger.VerdictPass }),
		"fail without a failure":      change(func(r *ledger.Result) { r.Findings = r.Findings[:2] }),
		"unknown verdict":             change(func(r *ledger.Result) { r.Verdict = "fine" }),
		"no evidence":                 change(func(r *ledger.Result) { r.EvidenceSHA256 = nil }),
		"not a number":                change(func(r *ledger.Result) { r.Findings[0].Measured = &nan }),
		"unknown outcome":             change(func(r *ledger.Result) { r.Findings[0].Outcome = "splendid" }),
		"not evaluated without cause": {Verdict: ledger.VerdictNotEvaluated},
	} {
		require.ErrorIs(t, s.worker.Record(s.ctx(), job.Inspection.ID, job.Fence, r, nil), ledger.ErrInvalid, name)
	}
	hostile := failing()
	hostile.Findings[2].Part = "lid\x00\xff"
	require.NoError(t, s.worker.Record(s.ctx(), job.Inspection.ID, job.Fence, hostile, nil), "names come out of hostile files")
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

func TestSealsAtOnceGiveGaplessIndices(t *testing.T) {
	s := newScene(t)
	const n = 12
	deliveries := make([]ledger.Delivery, n)
	for i := range n {
		deliveries[i] = s.open(s.yard, s.prop(s.yardOrder.ID, "crate_"+string(rune('a'+i))).Milestones[0].ID)
	}
	var wg sync.WaitGroup
	for i := range deliveries {
		wg.Go(func() {
			if err := s.trySeal(s.yard, &deliveries[i]); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	s.as(s.yard, func(tx *ledger.Tx) error {
		var facts []ledger.Fact
		for {
			page, err := tx.Facts(s.ctx(), s.yardOrder.ID, int64(len(facts))-1, 7)
			require.NoError(t, err)
			if len(page) == 0 {
				break
			}
			facts = append(facts, page...)
		}
		sealed := 0
		for i, f := range facts {
			require.EqualValues(t, i, f.Index)
			if f.Kind == ledger.FactDeliverySealed {
				sealed++
			}
		}
		require.Equal(t, n, sealed)
		heads, err := tx.Heads(s.ctx())
		require.NoError(t, err)
		require.Len(t, heads, 1)
		require.EqualValues(t, len(facts), heads[0].Size)
		return nil
	})
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

func TestLeaseTimesFit(t *testing.T) {
	require.Less(t, 2*ledger.RenewEvery, ledger.LeaseFor, "one renewal may fail")
	require.Less(t, ledger.SweepEvery, ledger.LeaseFor)
	require.Positive(t, time.Duration(ledger.SweepEvery))
}
