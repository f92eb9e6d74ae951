package ledger

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// ChangeState is where a change order stands.
type ChangeState string

// The states of a change order.
const (
	ChangeForVendor ChangeState = "for_vendor" // the studio offers, the vendor decides
	ChangeForStudio ChangeState = "for_studio" // the vendor offers, the studio decides
	ChangeAgreed    ChangeState = "agreed"
	ChangeDeclined  ChangeState = "declined"
	ChangeWithdrawn ChangeState = "withdrawn"
)

// NewChangeOrder offers the other side a change of what was agreed. Its price is always said, if only as 0.
type NewChangeOrder struct {
	Milestone  uuid.UUID
	Title      string
	Reason     string
	DeltaMinor int64     // added to the milestone's amount, in the order's currency
	Due        *Date     // nil: the due date stays
	Spec       uuid.UUID // the spec revision that it prices, or zero
	delivery   uuid.UUID // that was returned with it
}

// ChangeOrder is one offered change and what became of it.
type ChangeOrder struct {
	ID            uuid.UUID
	WorkOrderID   uuid.UUID
	PropID        uuid.UUID
	MilestoneID   uuid.UUID
	PropCode      string
	Milestone     string // kind
	Title         string
	Reason        string
	DeltaMinor    int64
	Currency      string
	Due           *Date
	Spec          *uuid.UUID
	Delivery      *uuid.UUID
	State         ChangeState
	Since         time.Time
	OfferedAt     time.Time
	ByName        string
	DecidedReason string
}

// OfferChange offers a change order to the other side: by a producer, or by a vendor's lead.
func (tx *Tx) OfferChange(ctx context.Context, in NewChangeOrder) (ChangeOrder, error) {
	if !tx.Who.Has(Producer, VendorLead) {
		return ChangeOrder{}, fmt.Errorf("%w: change orders are offered by a producer or a vendor's lead", ErrForbidden)
	}
	m, err := tx.lockMilestone(ctx, in.Milestone)
	if err != nil {
		return ChangeOrder{}, err
	}
	id, err := tx.offerChange(ctx, m, in)
	if err != nil {
		return ChangeOrder{}, err
	}
	return tx.ChangeOrder(ctx, id)
}

func (tx *Tx) offerChange(ctx context.Context, m lockedMilestone, in NewChangeOrder) (uuid.UUID, error) {
	in.Title = strings.TrimSpace(in.Title)
	switch {
	case len([]rune(in.Title)) < 1 || len([]rune(in.Title)) > 200:
		return uuid.Nil, invalid("title", "needs 1 to 200 characters")
	case in.Reason == "" || len([]rune(in.Reason)) > reasonMax:
		return uuid.Nil, invalid("reason", "needs 1 to %d characters", reasonMax)
	case in.DeltaMinor < -m.amountMinor || in.DeltaMinor > priceMax:
		return uuid.Nil, invalid("price", "takes the milestone's amount below 0 or over the bound")
	case m.state.Final():
		return uuid.Nil, fmt.Errorf("%w: the milestone is %s, nothing of it changes any more", ErrState, m.state)
	}
	event := "studio_offers"
	if tx.Who.Side == VendorSide {
		event = "vendor_offers"
	}
	to, _ := step(machineChange, "", event, tx.actor())
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.change_order (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id, title, reason, delta_minor, due_on,
		spec_revision_id, delivery_id, state, last_event, offered_by, by_name) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)`,
		m.studio, m.vendor, m.workOrder, m.prop, m.id, id, in.Title, in.Reason, in.DeltaMinor, in.Due, idOrNull(in.Spec), idOrNull(in.delivery),
		to, event, tx.Who.Member, tx.Who.Name); err != nil {
		return id, fmt.Errorf("offer a change of milestone %s: %w", m.id, err)
	}
	tx.fact(FactChangeOffered, m.studio, m.workOrder, id)
	return id, nil
}

// DecideChange agrees to, declines or withdraws a change order: event is "agree", "decline" or "withdraw". What was agreed
// counts at once for the milestone's amount and due date.
func (tx *Tx) DecideChange(ctx context.Context, id uuid.UUID, event, reason string) (ChangeOrder, error) {
	if !tx.Who.Has(Producer, VendorLead) {
		return ChangeOrder{}, fmt.Errorf("%w: change orders are decided by a producer or a vendor's lead", ErrForbidden)
	}
	if len([]rune(reason)) > reasonMax || (event == "decline" && reason == "") {
		return ChangeOrder{}, invalid("reason", "needs 1 to %d characters", reasonMax)
	}
	var milestone uuid.UUID
	if err := tx.QueryRow(ctx, tx.sql(`SELECT milestone_id FROM ph.change_order WHERE {me} = $1 AND id = $2`), tx.Who.Party, id).Scan(&milestone); err != nil {
		return ChangeOrder{}, fmt.Errorf("change order %s: %w", id, mapError(err))
	}
	m, err := tx.lockMilestone(ctx, milestone)
	if err != nil {
		return ChangeOrder{}, err
	}
	if err := tx.decideChange(ctx, m, id, event, reason); err != nil {
		return ChangeOrder{}, err
	}
	return tx.ChangeOrder(ctx, id)
}

// decideChange moves a change order whose milestone is locked.
func (tx *Tx) decideChange(ctx context.Context, m lockedMilestone, id uuid.UUID, event, reason string) error {
	var from string
	var delta int64
	if err := tx.QueryRow(ctx, `SELECT state, delta_minor FROM ph.change_order WHERE studio_id = $1 AND id = $2`, m.studio, id).Scan(&from, &delta); err != nil {
		return fmt.Errorf("change order %s: %w", id, mapError(err))
	}
	to, ok := step(machineChange, from, event, tx.actor())
	switch {
	case !ok:
		return fmt.Errorf("%w: a change order that is %s takes no %s from the %s", ErrState, strings.ReplaceAll(from, "_", " "), event, tx.actor())
	case event == "agree" && m.state.Final():
		return fmt.Errorf("%w: the milestone is %s, nothing of it changes any more", ErrState, m.state)
	case event == "agree" && m.amountMinor+delta < 0:
		return fmt.Errorf("%w: the milestone's amount would be below 0", ErrState)
	}
	if event == "agree" && delta != 0 {
		if err := tx.proved(ctx); err != nil {
			return err
		}
	}
	if _, err := tx.Exec(ctx, `UPDATE ph.change_order SET state = $3, last_event = $4, decided_by = $5, decided_reason = $6 WHERE studio_id = $1 AND id = $2`,
		m.studio, id, to, event, tx.Who.Member, reason); err != nil {
		return fmt.Errorf("change order %s: %w", id, err)
	}
	tx.fact(FactChangeDecided, m.studio, m.workOrder, id)
	return nil
}

const changeSelect = `SELECT c.id, c.work_order_id, c.prop_id, c.milestone_id, p.code, m.kind, c.title, c.reason, c.delta_minor, w.currency, c.due_on,
	c.spec_revision_id, c.delivery_id, c.state, c.since, c.offered_at, coalesce(c.by_name, ''), coalesce(c.decided_reason, '')
	FROM ph.change_order c
	JOIN ph.prop p ON p.studio_id = c.studio_id AND p.id = c.prop_id
	JOIN ph.milestone m ON m.studio_id = c.studio_id AND m.id = c.milestone_id
	JOIN ph.work_order w ON w.studio_id = c.studio_id AND w.id = c.work_order_id
	WHERE c.{me} = $1 AND `

// ChangeOrder is one change order that the caller may see.
func (tx *Tx) ChangeOrder(ctx context.Context, id uuid.UUID) (ChangeOrder, error) {
	rows, err := tx.Query(ctx, tx.sql(changeSelect+`c.id = $2`), tx.Who.Party, id)
	if err != nil {
		return ChangeOrder{}, fmt.Errorf("change order %s: %w", id, err)
	}
	c, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[ChangeOrder])
	return c, mapError(err)
}

// ChangeOrders lists an order's change orders, newest first.
func (tx *Tx) ChangeOrders(ctx context.Context, order uuid.UUID, p Page) (List[ChangeOrder], error) {
	after, err := p.afterID(lastID)
	if err != nil {
		return List[ChangeOrder]{}, err
	}
	rows, err := tx.Query(ctx, tx.sql(changeSelect+`c.work_order_id = $2 AND c.id < $3 ORDER BY c.id DESC LIMIT $4`), tx.Who.Party, order, after, p.limit()+1)
	if err != nil {
		return List[ChangeOrder]{}, fmt.Errorf("change orders of work order %s: %w", order, err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[ChangeOrder])
	if err != nil {
		return List[ChangeOrder]{}, fmt.Errorf("change orders of work order %s: %w", order, err)
	}
	return listOf(items, p.limit(), func(c ChangeOrder) string { return cursor(c.ID.String()) }), nil
}

// SpecChange is the price box of a spec revision made after work began.
type SpecChange struct {
	DeltaMinor int64
	Due        *Date
}

// lockUnfinished locks the first milestone of a prop that is not done: the one that a change of the spec is priced on.
// nil where all are done, and nothing is left to change.
func (tx *Tx) lockUnfinished(ctx context.Context, prop uuid.UUID) (*lockedMilestone, error) {
	var milestone uuid.UUID
	err := tx.QueryRow(ctx, `SELECT id FROM ph.milestone WHERE studio_id = $1 AND prop_id = $2 AND state NOT IN ('accepted', 'cancelled') ORDER BY position LIMIT 1`,
		tx.Who.Party, prop).Scan(&milestone)
	if err == pgx.ErrNoRows {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("milestones of prop %s: %w", prop, err)
	}
	m, err := tx.lockMilestone(ctx, milestone)
	return &m, err
}

// offerSpecChange puts a revision of a prop whose work has begun to the vendor as a change order.
func (tx *Tx) offerSpecChange(ctx context.Context, m lockedMilestone, revision uuid.UUID, number int, in SpecChange, note string) error {
	if note == "" {
		note = "The spec changed."
	}
	_, err := tx.offerChange(ctx, m, NewChangeOrder{Title: fmt.Sprintf("Spec revision %d", number), Reason: note, DeltaMinor: in.DeltaMinor, Due: in.Due, Spec: revision})
	return err
}

// agreeSpecChange agrees to the studio's price with the acknowledgement of a revision. The vendor's own offer that still
// waits for the studio keeps the revision from being acknowledged.
func (tx *Tx) agreeSpecChange(ctx context.Context, revision uuid.UUID) error {
	var id, milestone uuid.UUID
	var state ChangeState
	err := tx.QueryRow(ctx, tx.sql(`SELECT id, milestone_id, state FROM ph.change_order WHERE {me} = $1 AND spec_revision_id = $2 AND state IN ('for_vendor', 'for_studio')`),
		tx.Who.Party, revision).Scan(&id, &milestone, &state)
	switch {
	case err == pgx.ErrNoRows:
		return nil
	case err != nil:
		return fmt.Errorf("change order of spec %s: %w", revision, err)
	case state == ChangeForStudio:
		return fmt.Errorf("%w: the studio has not answered your price for this revision yet", ErrState)
	}
	m, err := tx.lockMilestone(ctx, milestone)
	if err != nil || m.state.Final() {
		return err
	}
	return tx.decideChange(ctx, m, id, "agree", "acknowledged")
}
