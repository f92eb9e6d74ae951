package ledger

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// NewBatch is many deliveries that are opened, sealed and looked at together.
type NewBatch struct {
	WorkOrder  uuid.UUID
	Title      string
	Deliveries []Manifest
}

// Batch is deliveries that came together. Each is decided by itself, so a part of a batch may be accepted.
type Batch struct {
	ID          uuid.UUID
	WorkOrderID uuid.UUID
	Number      int
	Title       string
	OpenedAt    time.Time
	SealedAt    *time.Time
	ByName      string
	Deliveries  []Delivery // without files in lists
}

const batchMax = 500

// OpenBatch opens a batch with a delivery for each manifest, all or none.
func (tx *Tx) OpenBatch(ctx context.Context, in NewBatch) (Batch, error) {
	if err := tx.allow("delivering", VendorSide); err != nil {
		return Batch{}, err
	}
	in.Title = strings.TrimSpace(in.Title)
	switch {
	case len([]rune(in.Title)) < 1 || len([]rune(in.Title)) > 200:
		return Batch{}, invalid("title", "needs 1 to 200 characters")
	case len(in.Deliveries) < 1 || len(in.Deliveries) > batchMax:
		return Batch{}, invalid("deliveries", "needs 1 to %d", batchMax)
	}
	var studio uuid.UUID
	if err := tx.QueryRow(ctx, `SELECT studio_id FROM ph.work_order WHERE vendor_id = $1 AND id = $2`, tx.Who.Party, in.WorkOrder).Scan(&studio); err != nil {
		return Batch{}, fmt.Errorf("work order %s: %w", in.WorkOrder, mapError(err))
	}
	// Milestones are locked in the order of their ids, whatever order they came in.
	slices.SortFunc(in.Deliveries, func(a, b Manifest) int { return bytes.Compare(a.Milestone[:], b.Milestone[:]) })
	for _, m := range in.Deliveries {
		if _, err := tx.lockMilestone(ctx, m.Milestone); err != nil {
			return Batch{}, err
		}
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.batch (studio_id, vendor_id, work_order_id, id, number, title, opened_by, by_name)
		VALUES ($1, $2, $3, $4, (SELECT coalesce(max(number), 0) + 1 FROM ph.batch WHERE studio_id = $1 AND work_order_id = $3), $5, $6, $7)`,
		studio, tx.Who.Party, in.WorkOrder, id, in.Title, tx.Who.Member, tx.Who.Name); err != nil {
		return Batch{}, fmt.Errorf("open a batch of work order %s: %w", in.WorkOrder, err)
	}
	for i, m := range in.Deliveries {
		if _, err := tx.openDelivery(ctx, m, &id, in.WorkOrder); err != nil {
			return Batch{}, fmt.Errorf("delivery %d of the batch: %w", i, err)
		}
	}
	tx.fact(FactBatchOpened, studio, in.WorkOrder, id)
	return tx.Batch(ctx, id)
}

const batchSelect = `SELECT id, work_order_id, number, title, opened_at, sealed_at, coalesce(by_name, '') FROM ph.batch WHERE {me} = $1 AND `

func scanBatch(row pgx.CollectableRow) (b Batch, err error) {
	err = row.Scan(&b.ID, &b.WorkOrderID, &b.Number, &b.Title, &b.OpenedAt, &b.SealedAt, &b.ByName)
	return b, err
}

// Batch is one batch with its deliveries and their files.
func (tx *Tx) Batch(ctx context.Context, id uuid.UUID) (Batch, error) {
	rows, err := tx.Query(ctx, tx.sql(batchSelect+`id = $2`), tx.Who.Party, id)
	if err != nil {
		return Batch{}, fmt.Errorf("batch %s: %w", id, err)
	}
	b, err := pgx.CollectExactlyOneRow(rows, scanBatch)
	if err != nil {
		return Batch{}, fmt.Errorf("batch %s: %w", id, mapError(err))
	}
	if rows, err = tx.Query(ctx, tx.sql(deliverySelect+`WHERE d.{me} = $1 AND d.batch_id = $2 ORDER BY p.code, m.position, d.id`), tx.Who.Party, id); err != nil {
		return Batch{}, fmt.Errorf("batch %s: %w", id, err)
	}
	if b.Deliveries, err = pgx.CollectRows(rows, scanDelivery); err != nil {
		return Batch{}, fmt.Errorf("batch %s: %w", id, err)
	}
	for i, d := range b.Deliveries {
		if b.Deliveries[i].Files, err = filesOf(ctx, tx, d.StudioID, d.ID); err != nil {
			return Batch{}, fmt.Errorf("files of delivery %s: %w", d.ID, err)
		}
	}
	return b, nil
}

// Batches lists a work order's batches without their deliveries, newest first.
func (tx *Tx) Batches(ctx context.Context, order uuid.UUID, p Page) (List[Batch], error) {
	after, err := p.afterID(lastID)
	if err != nil {
		return List[Batch]{}, err
	}
	rows, err := tx.Query(ctx, tx.sql(batchSelect+`work_order_id = $2 AND id < $3 ORDER BY id DESC LIMIT $4`), tx.Who.Party, order, after, p.limit()+1)
	if err != nil {
		return List[Batch]{}, fmt.Errorf("batches of work order %s: %w", order, err)
	}
	items, err := pgx.CollectRows(rows, scanBatch)
	if err != nil {
		return List[Batch]{}, fmt.Errorf("batches of work order %s: %w", order, err)
	}
	return listOf(items, p.limit(), func(b Batch) string { return cursor(b.ID.String()) }), nil
}

// BeginSealBatch fences the uploads of every delivery of a batch that is open.
func (tx *Tx) BeginSealBatch(ctx context.Context, id uuid.UUID) (Batch, error) {
	return tx.eachOpen(ctx, id, func(d Delivery) error { _, err := tx.BeginSeal(ctx, d.ID); return err })
}

// CancelSealBatch opens every delivery of a batch again that is not sealed.
func (tx *Tx) CancelSealBatch(ctx context.Context, id uuid.UUID) (Batch, error) {
	return tx.eachOpen(ctx, id, func(d Delivery) error { _, err := tx.CancelSeal(ctx, d.ID); return err })
}

// FinishSealBatch seals every delivery of a batch that is being sealed, all or none: arrived is by delivery.
func (tx *Tx) FinishSealBatch(ctx context.Context, id uuid.UUID, arrived map[uuid.UUID][]Arrived) (Batch, error) {
	before, err := tx.Batch(ctx, id)
	if err != nil {
		return Batch{}, err
	}
	if before.SealedAt != nil {
		return before, nil
	}
	b, err := tx.eachOpen(ctx, id, func(d Delivery) error { _, err := tx.FinishSeal(ctx, d.ID, arrived[d.ID]); return err })
	if err != nil {
		return Batch{}, err
	}
	sealed := 0
	for _, d := range b.Deliveries {
		if d.State == DSealed {
			sealed++
		}
	}
	if sealed == 0 {
		return Batch{}, fmt.Errorf("%w: every delivery of the batch was abandoned", ErrState)
	}
	tag, err := tx.Exec(ctx, `UPDATE ph.batch SET sealed_at = now() WHERE vendor_id = $1 AND id = $2 AND sealed_at IS NULL`, tx.Who.Party, id)
	if err != nil {
		return Batch{}, fmt.Errorf("seal batch %s: %w", id, err)
	}
	if tag.RowsAffected() > 0 {
		tx.fact(FactBatchSealed, b.Deliveries[0].StudioID, b.WorkOrderID, id)
	}
	return tx.Batch(ctx, id)
}

// eachOpen does one act on every delivery of a batch that is neither sealed nor abandoned, in the order of their
// milestones, and reads the batch again.
func (tx *Tx) eachOpen(ctx context.Context, id uuid.UUID, act func(Delivery) error) (Batch, error) {
	if err := tx.allow("sealing", VendorSide); err != nil {
		return Batch{}, err
	}
	b, err := tx.Batch(ctx, id)
	if err != nil {
		return Batch{}, err
	}
	slices.SortFunc(b.Deliveries, func(x, y Delivery) int { return bytes.Compare(x.MilestoneID[:], y.MilestoneID[:]) })
	for _, d := range b.Deliveries {
		if d.State == DSealed || d.State == DAbandoned {
			continue
		}
		if err := act(d); err != nil {
			return Batch{}, fmt.Errorf("delivery of %s: %w", d.PropCode, err)
		}
	}
	return tx.Batch(ctx, id)
}

// Undecided is a decision of many that could not be taken.
type Undecided struct {
	Delivery uuid.UUID
	Err      error
}

func (u *Undecided) Error() string { return fmt.Sprintf("delivery %s: %v", u.Delivery, u.Err) }
func (u *Undecided) Unwrap() error { return u.Err }

// SignOffMany decides on many deliveries in one transaction, all or none; the deliveries that are not named stay as they
// are. The first that cannot be decided is an *Undecided.
func (tx *Tx) SignOffMany(ctx context.Context, batch uuid.UUID, in []NewSignOff) ([]SignOff, error) {
	if err := tx.allow("signing off", StudioSide); err != nil {
		return nil, err
	}
	if _, _, err := tx.decider(ctx, "signing off", approvers(Return, "")); err != nil {
		return nil, err
	}
	b, err := tx.Batch(ctx, batch)
	if err != nil {
		return nil, err
	}
	milestones := map[uuid.UUID]uuid.UUID{}
	for _, d := range b.Deliveries {
		milestones[d.ID] = d.MilestoneID
	}
	for _, one := range in {
		if _, ok := milestones[one.Delivery]; !ok {
			return nil, &Undecided{one.Delivery, ErrNotFound}
		}
	}
	slices.SortFunc(in, func(x, y NewSignOff) int {
		a, b := milestones[x.Delivery], milestones[y.Delivery]
		return bytes.Compare(a[:], b[:])
	})
	out := make([]SignOff, 0, len(in))
	for _, one := range in {
		so, err := tx.SignOff(ctx, one)
		if err != nil {
			return nil, &Undecided{one.Delivery, err}
		}
		out = append(out, so)
	}
	return out, nil
}
