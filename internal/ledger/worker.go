package ledger

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// Worker is the inspector's side of the ledger, over a pool of role ph_worker. A River job is only a wake-up; who works
// on what is the lease here, and a result counts only under the fence that its claim gave.
type Worker struct {
	pool *pgxpool.Pool
	wake waker
}

// NewWorker makes a worker's ledger over a pool of role ph_worker.
func NewWorker(pool *pgxpool.Pool) *Worker {
	return &Worker{pool: pool, wake: wakeWith(riverClient(pool))}
}

// Ready says whether the database answers and has a schema that this program can serve.
func (w *Worker) Ready(ctx context.Context) error { return checkSchema(ctx, w.pool) }

// Lease and sweep times.
const (
	LeaseFor    = 30 * time.Second
	RenewEvery  = 10 * time.Second
	SweepEvery  = 5 * time.Second
	MaxAttempts = 3
)

// CauseInspectorFailed is the cause of an inspection whose leases lapsed MaxAttempts times.
const CauseInspectorFailed = "inspector failed"

const (
	claimLock  = 0x70685f636c61 // "ph_cla": claims follow each other, so that "fewest running" is true when it is read
	sweepBatch = 100
)

// Job is a claimed inspection with all that the inspector needs.
type Job struct {
	Inspection Inspection
	Fence      int64
	LeaseUntil time.Time
	Spec       SpecRevision
	Delivery   Delivery // with files
	Tier       string
	Milestone  string // kind
	PropCode   string
	Trace      string // of the request that asked for it, "" where none did; WithTrace
}

func (w *Worker) inTx(ctx context.Context, fn func(tx *Tx) error) error {
	return retry(ctx, func() error { return runTx(ctx, w.pool, Who{}, "BEGIN", w.wake, fn) })
}

// The oldest waiting inspection of each vendor (a loose scan of inspection_waiting, one step a vendor), of these the one
// whose vendor has the fewest running, of these the one whose vendor has waited longest for a turn. So a vendor with one
// delivery is served before any other vendor is served twice, whatever the others have queued: with V vendors waiting and
// none of this vendor's running, at most V-1 claims come first. Rows are locked one by one in that order, and one that
// somebody else holds is passed over, eight at most; state || ” keeps the planner from reading the whole queue for that join.
const claimQuery = `
WITH RECURSIVE vendors AS (
  (SELECT vendor_id FROM ph.inspection WHERE state = 'queued' ORDER BY vendor_id LIMIT 1)
  UNION ALL
  SELECT (SELECT i.vendor_id FROM ph.inspection i WHERE i.state = 'queued' AND i.vendor_id > v.vendor_id ORDER BY i.vendor_id LIMIT 1)
  FROM vendors v WHERE v.vendor_id IS NOT NULL
), first AS MATERIALIZED (
  SELECT q.studio_id, q.id, q.queued_at, r.running, t.served_at
  FROM vendors v
  CROSS JOIN LATERAL (SELECT i.studio_id, i.id, i.queued_at FROM ph.inspection i
    WHERE i.vendor_id = v.vendor_id AND i.state = 'queued' ORDER BY i.queued_at, i.id LIMIT 1) q
  CROSS JOIN LATERAL (SELECT count(*) AS running FROM ph.inspection r WHERE r.vendor_id = v.vendor_id AND r.state = 'running') r
  LEFT JOIN ph.turn t ON t.vendor_id = v.vendor_id
), next AS (
  SELECT i.studio_id, i.id, i.vendor_id
  FROM (SELECT * FROM first ORDER BY running, served_at NULLS FIRST, queued_at, id LIMIT 8) f
  JOIN ph.inspection i ON i.studio_id = f.studio_id AND i.id = f.id AND i.state || '' = 'queued'
  ORDER BY f.running, f.served_at NULLS FIRST, f.queued_at, f.id LIMIT 1 FOR UPDATE OF i SKIP LOCKED
), turn AS (
  INSERT INTO ph.turn (vendor_id, served_at) SELECT vendor_id, clock_timestamp() FROM next
  ON CONFLICT (vendor_id) DO UPDATE SET served_at = excluded.served_at
)
UPDATE ph.inspection i
SET state = 'running', lease_owner = $1, lease_until = clock_timestamp() + $2::interval, fence = i.fence + 1, attempts = i.attempts + 1,
    started_at = clock_timestamp()
FROM next WHERE i.studio_id = next.studio_id AND i.id = next.id
RETURNING i.id, i.fence, i.lease_until, coalesce(i.trace, '')`

// Claim takes the next inspection: of the vendor with the fewest running, and of those the one that waited longest for a
// turn, the oldest. ErrNotFound: nothing waits. owner names this worker in the record, it need not be unique.
func (w *Worker) Claim(ctx context.Context, owner string) (Job, error) {
	var waits bool // asked before the lock: idle workers that poll must not queue up behind it
	if err := w.pool.QueryRow(ctx, `SELECT EXISTS (SELECT FROM ph.inspection WHERE state = 'queued')`).Scan(&waits); err != nil {
		return Job{}, fmt.Errorf("claim an inspection: %w", err)
	}
	if !waits {
		return Job{}, fmt.Errorf("claim an inspection: %w", ErrNotFound)
	}
	var job Job
	err := w.inTx(ctx, func(tx *Tx) error {
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, int64(claimLock)); err != nil {
			return fmt.Errorf("claim: %w", err)
		}
		var id uuid.UUID
		if err := tx.QueryRow(ctx, claimQuery, owner, LeaseFor).Scan(&id, &job.Fence, &job.LeaseUntil, &job.Trace); err != nil {
			return mapError(err)
		}
		return tx.loadJob(ctx, id, &job)
	})
	if err != nil {
		return Job{}, fmt.Errorf("claim an inspection: %w", err)
	}
	return job, nil
}

func (tx *Tx) loadJob(ctx context.Context, id uuid.UUID, job *Job) error {
	rows, err := tx.Query(ctx, `SELECT `+inspectionColumns+` FROM ph.inspection WHERE id = $1`, id)
	if err != nil {
		return fmt.Errorf("inspection %s: %w", id, err)
	}
	if job.Inspection, err = pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Inspection]); err != nil {
		return fmt.Errorf("inspection %s: %w", id, err)
	}
	i, d, s := job.Inspection, &job.Delivery, &job.Spec
	err = tx.QueryRow(ctx, `SELECT d.id, d.studio_id, d.vendor_id, d.work_order_id, d.prop_id, d.milestone_id, d.number, d.state, d.manifest_sha256, d.spec_revision_id,
		d.opened_at, d.sealed_at, d.bytes, d.files, m.state, m.kind, p.code, p.tier, s.id, s.prop_id, s.number, s.digest, s.document, s.created_at
		FROM ph.delivery d
		JOIN ph.milestone m ON m.studio_id = d.studio_id AND m.id = d.milestone_id
		JOIN ph.prop p ON p.studio_id = d.studio_id AND p.id = d.prop_id
		JOIN ph.spec_revision s ON s.studio_id = d.studio_id AND s.id = $3
		WHERE d.studio_id = $1 AND d.id = $2`, i.StudioID, i.DeliveryID, i.SpecRevision).
		Scan(&d.ID, &d.StudioID, &d.VendorID, &d.WorkOrderID, &d.PropID, &d.MilestoneID, &d.Number, &d.State, &d.ManifestSHA256, &d.SpecRevision,
			&d.OpenedAt, &d.SealedAt, &d.Bytes, &d.FileCount, &d.Milestone, &job.Milestone, &job.PropCode, &job.Tier,
			&s.ID, &s.PropID, &s.Number, &s.Digest, &s.Document, &s.CreatedAt)
	if err != nil {
		return fmt.Errorf("delivery %s: %w", i.DeliveryID, err)
	}
	if job.Milestone == kindMaintenance { // judged as what it takes the place of
		job.Milestone = "final"
	}
	d.PropCode, d.MilestoneKind, s.InForce = job.PropCode, job.Milestone, true
	if d.Files, err = filesOf(ctx, tx, i.StudioID, i.DeliveryID); err != nil {
		return fmt.Errorf("files of delivery %s: %w", i.DeliveryID, err)
	}
	return nil
}

// Renew extends the lease. ErrLeaseLost: stop, someone else has it.
func (w *Worker) Renew(ctx context.Context, inspection uuid.UUID, fence int64) (time.Time, error) {
	var until time.Time
	err := w.pool.QueryRow(ctx, `UPDATE ph.inspection SET lease_until = clock_timestamp() + $3::interval
		WHERE id = $1 AND fence = $2 AND state = 'running' RETURNING lease_until`, inspection, fence, LeaseFor).Scan(&until)
	if errors.Is(err, pgx.ErrNoRows) {
		return until, ErrLeaseLost
	}
	if err != nil {
		return until, fmt.Errorf("renew the lease of inspection %s: %w", inspection, err)
	}
	return until, nil
}

// GiveBack returns a claimed inspection to the queue without counting the attempt (planned stop).
func (w *Worker) GiveBack(ctx context.Context, inspection uuid.UUID, fence int64) error {
	return w.inTx(ctx, func(tx *Tx) error {
		tag, err := tx.Exec(ctx, `UPDATE ph.inspection SET state = 'queued', lease_owner = NULL, lease_until = NULL, attempts = attempts - 1
			WHERE id = $1 AND fence = $2 AND state = 'running'`, inspection, fence)
		if err != nil {
			return fmt.Errorf("give back inspection %s: %w", inspection, err)
		}
		if tag.RowsAffected() == 0 {
			return ErrLeaseLost
		}
		return tx.wake(ctx, tx.Tx, 1)
	})
}

// ReleaseLapsed re-queues inspections whose lease lapsed and wakes workers for them; after MaxAttempts they are recorded
// as not evaluated, cause CauseInspectorFailed. Any worker may call it at any time; each row is handled once.
func (w *Worker) ReleaseLapsed(ctx context.Context) (requeued, failed int, err error) {
	if err := w.pullIn(ctx); err != nil {
		return 0, 0, err
	}
	rows, err := w.pool.Query(ctx, `SELECT id, fence, attempts FROM ph.inspection WHERE state = 'running' AND lease_until < clock_timestamp() ORDER BY lease_until LIMIT $1`, sweepBatch)
	if err != nil {
		return 0, 0, fmt.Errorf("look for lapsed leases: %w", err)
	}
	type lapsed struct {
		ID       uuid.UUID
		Fence    int64
		Attempts int
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[lapsed])
	if err != nil {
		return 0, 0, fmt.Errorf("look for lapsed leases: %w", err)
	}
	for _, l := range list {
		if l.Attempts < MaxAttempts {
			err = w.requeue(ctx, l.ID, l.Fence)
		} else {
			err = w.record(ctx, l.ID, l.Fence, Result{Verdict: VerdictNotEvaluated, Cause: CauseInspectorFailed,
				Headline: "not evaluated: " + CauseInspectorFailed}, true, nil)
		}
		switch {
		case errors.Is(err, ErrLeaseLost): // renewed, recorded or swept by someone else meanwhile
		case err != nil:
			return requeued, failed, err
		case l.Attempts < MaxAttempts:
			requeued++
		default:
			failed++
		}
	}
	return requeued, failed, nil
}

// pullIn shortens leases that end later than any lease given now would: the database's clock was put back, and a worker
// that died before would hold its inspection until the old time comes round again. A living one renews anyway.
func (w *Worker) pullIn(ctx context.Context) error {
	_, err := w.pool.Exec(ctx, `UPDATE ph.inspection SET lease_until = clock_timestamp() + $1::interval
		WHERE state = 'running' AND lease_until > clock_timestamp() + 2 * $1::interval`, LeaseFor)
	if err != nil {
		return fmt.Errorf("look for leases from another time: %w", err)
	}
	return nil
}

func (w *Worker) requeue(ctx context.Context, id uuid.UUID, fence int64) error {
	return w.inTx(ctx, func(tx *Tx) error {
		tag, err := tx.Exec(ctx, `UPDATE ph.inspection SET state = 'queued', lease_owner = NULL, lease_until = NULL
			WHERE id = $1 AND fence = $2 AND state = 'running' AND lease_until < clock_timestamp()`, id, fence)
		if err != nil {
			return fmt.Errorf("re-queue inspection %s: %w", id, err)
		}
		if tag.RowsAffected() == 0 {
			return ErrLeaseLost
		}
		return tx.wake(ctx, tx.Tx, 1)
	})
}

// Waiting counts the inspections that wait and that run, over all vendors.
func (w *Worker) Waiting(ctx context.Context) (queued, running int, err error) {
	err = w.pool.QueryRow(ctx, `SELECT count(*) FILTER (WHERE state = 'queued'), count(*) FILTER (WHERE state = 'running')
		FROM ph.inspection WHERE state IN ('queued', 'running')`).Scan(&queued, &running)
	if err != nil {
		return 0, 0, fmt.Errorf("count inspections: %w", err)
	}
	return queued, running, nil
}
