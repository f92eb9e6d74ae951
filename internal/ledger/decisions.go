package ledger

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// SignOff decides on the newest sealed delivery of a milestone: accepts it, which releases the milestone's amount, or
// returns it for rework. Accepting needs a current inspection in which every blocking finding passed or is conceded;
// AcceptAsIs concedes those that failed, with its reason. Nobody signs off a delivery that they opened or sealed.
func (tx *Tx) SignOff(ctx context.Context, in NewSignOff) (SignOff, error) {
	if err := tx.allow("signing off", StudioSide); err != nil {
		return SignOff{}, err
	}
	if in.Decision == Return && in.Cause == "" {
		in.Cause = Nonconformity
	}
	if err := checkSignOff(in); err != nil {
		return SignOff{}, err
	}
	m, err := tx.lockNewestSealed(ctx, in.Delivery)
	if err != nil {
		return SignOff{}, err
	}
	var openedBy, sealedBy, inspection uuid.UUID
	var tier, currency string
	var included int
	err = tx.QueryRow(ctx, `SELECT d.opened_by, d.sealed_by, i.id, p.tier, w.currency, w.rounds_included
		FROM ph.delivery d
		JOIN ph.inspection i ON i.studio_id = d.studio_id AND i.delivery_id = d.id AND i.current
		JOIN ph.prop p ON p.studio_id = d.studio_id AND p.id = d.prop_id
		JOIN ph.work_order w ON w.studio_id = d.studio_id AND w.id = d.work_order_id
		WHERE d.studio_id = $1 AND d.id = $2`, m.studio, in.Delivery).Scan(&openedBy, &sealedBy, &inspection, &tier, &currency, &included)
	if err != nil {
		if err = mapError(err); err == ErrNotFound {
			return SignOff{}, fmt.Errorf("%w: no inspection of the delivery is done yet", ErrState)
		}
		return SignOff{}, fmt.Errorf("sign off delivery %s: %w", in.Delivery, err)
	}
	role, deputy, err := tx.decider(ctx, "this sign-off", approvers(in.Decision, tier))
	if err != nil {
		return SignOff{}, err
	}
	if tx.Who.Member == openedBy || tx.Who.Member == sealedBy {
		return SignOff{}, fmt.Errorf("%w: nobody signs off their own delivery", ErrForbidden)
	}
	ev, err := tx.signOffEvent(ctx, m, in, inspection)
	if err != nil {
		return SignOff{}, err
	}
	if err := tx.priceRound(ctx, m, in, included); err != nil {
		return SignOff{}, err
	}
	if err := tx.move(ctx, m, ev); err != nil {
		return SignOff{}, err
	}
	if err := tx.overtake(ctx, m); err != nil {
		return SignOff{}, err
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.sign_off (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id, inspection_id, id, decision, reason, by_member, by_name, by_role, opened_by, sealed_by, cause, deputy_id)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, nullif($16, ''), $17)`,
		m.studio, m.vendor, m.workOrder, m.prop, m.id, in.Delivery, inspection, id, in.Decision, in.Reason, tx.Who.Member, tx.Who.Name, role, openedBy, sealedBy, in.Cause, deputy); err != nil {
		return SignOff{}, fmt.Errorf("sign off delivery %s: %w", in.Delivery, err)
	}
	tx.fact(FactSignedOff, m.studio, m.workOrder, id)
	if ev != EvReturn {
		if err := tx.pay(ctx, m, id, currency); err != nil {
			return SignOff{}, err
		}
	}
	all, err := tx.SignOffs(ctx, in.Delivery)
	if err != nil {
		return SignOff{}, err
	}
	return all[0], nil
}

func checkSignOff(in NewSignOff) error {
	switch in.Decision {
	case Accept, AcceptNote, AcceptAsIs, Return: // Deemed is the clock's alone
	default:
		return invalid("decision", "is not accept, accept_note, accept_as_is or return")
	}
	if in.Decision != Return && (in.Cause != "" || in.Price != nil) {
		return invalid("cause", "is said of a return only")
	}
	if in.Price != nil && in.Cause != ChangedMind {
		return invalid("price", "is said of a changed mind only: what is not as specified is mended within the price")
	}
	if in.Cause != "" && in.Cause != Nonconformity && in.Cause != ChangedMind {
		return invalid("cause", "is not nonconformity or changed_mind")
	}
	if in.Decision != Accept && in.Reason == "" {
		return invalid("reason", "is needed for %s", in.Decision)
	}
	if len([]rune(in.Reason)) > reasonMax {
		return invalid("reason", "is over %d characters", reasonMax)
	}
	return nil
}

// signOffEvent turns a decision into the milestone's event and checks what blocks.
func (tx *Tx) signOffEvent(ctx context.Context, m lockedMilestone, in NewSignOff, inspection uuid.UUID) (Event, error) {
	if in.Decision == Return {
		return EvReturn, nil
	}
	if m.state == MReview { // the verdict was pass: nothing blocks
		if in.Decision == AcceptAsIs {
			return "", fmt.Errorf("%w: nothing blocks this delivery: accept it", ErrState)
		}
		return EvAccept, tx.concedePermitted(ctx, m, in, inspection)
	}
	if m.state != MFailed {
		return "", fmt.Errorf("%w: a milestone that is %s cannot be accepted", ErrState, m.state)
	}
	left, err := tx.blocking(ctx, m, in.Delivery, inspection)
	if err != nil {
		return "", err
	}
	if in.Decision != AcceptAsIs && len(left) > 0 {
		return "", fmt.Errorf("%w: %d blocking findings have no concession, the first is %s", ErrState, len(left), left[0].Check)
	}
	for _, b := range left {
		if b.Outcome == "not_evaluated" {
			return "", fmt.Errorf("%w: %s was not evaluated, which nobody can accept as is: re-inspect, or say in the spec that it does not apply", ErrState, b.Check)
		}
		if _, err := tx.grant(ctx, m, in.Delivery, inspection, b, in.Reason, nil); err != nil {
			return "", err
		}
	}
	return EvAcceptAsIs, nil
}

// blocking lists the blocking findings without a concession, after granting one for each that a permission covers.
func (tx *Tx) blocking(ctx context.Context, m lockedMilestone, delivery, inspection uuid.UUID) ([]Finding, error) {
	rows, err := tx.Query(ctx, `SELECT f.ord, f.chk, f.part, f.set_name, f.outcome, f.measured, f.limit_value FROM ph.finding f
		LEFT JOIN ph.concession c ON c.studio_id = f.studio_id AND c.inspection_id = f.inspection_id AND c.ord = f.ord
		WHERE f.studio_id = $1 AND f.inspection_id = $2 AND f.blocks AND f.outcome IN ('fail', 'not_evaluated') AND c.id IS NULL ORDER BY f.ord`, m.studio, inspection)
	if err != nil {
		return nil, fmt.Errorf("what blocks delivery %s: %w", delivery, err)
	}
	all, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (f Finding, err error) {
		err = row.Scan(&f.Ord, &f.Check, &f.Part, &f.Set, &f.Outcome, &f.Measured, &f.Limit)
		return f, err
	})
	if err != nil || len(all) == 0 {
		return nil, err
	}
	permissions, err := tx.standingFor(ctx, m.studio, m.prop)
	if err != nil {
		return nil, err
	}
	var left []Finding
	for _, f := range all {
		s := covering(permissions, f)
		if s == nil {
			left = append(left, f)
			continue
		}
		if _, err := tx.grant(ctx, m, delivery, inspection, f, "permitted", &s.ID); err != nil {
			return nil, err
		}
	}
	return left, nil
}

// concedePermitted grants what permissions cover of a delivery that came to review because of them.
func (tx *Tx) concedePermitted(ctx context.Context, m lockedMilestone, in NewSignOff, inspection uuid.UUID) error {
	left, err := tx.blocking(ctx, m, in.Delivery, inspection)
	if err == nil && len(left) > 0 {
		err = fmt.Errorf("%w: %s was permitted when it was inspected and is no longer: re-inspect, or return it", ErrState, left[0].Check)
	}
	return err
}

// priceRound holds the studio to its rounds: a changed mind beyond those in the price is offered to the vendor as a change
// order, and its price is said, if only as 0.
func (tx *Tx) priceRound(ctx context.Context, m lockedMilestone, in NewSignOff, included int) error {
	if in.Cause != ChangedMind {
		return nil
	}
	if in.Price == nil {
		if m.reworkStudio >= included {
			return invalid("price", "is needed: the price includes %d rounds of changed minds, and this is a further one", included)
		}
		return nil
	}
	_, err := tx.offerChange(ctx, m, NewChangeOrder{Title: fmt.Sprintf("Further round %d", m.reworkStudio+1), Reason: in.Reason,
		DeltaMinor: in.Price.DeltaMinor, Due: in.Price.Due, delivery: in.Delivery})
	return err
}

// ground is why money is released.
type ground struct {
	kind                  string
	signOff, cancellation *uuid.UUID
}

func (tx *Tx) release(ctx context.Context, m lockedMilestone, why ground, amountMinor int64, currency string) error {
	if err := tx.proved(ctx); err != nil {
		return err
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.payable (studio_id, vendor_id, work_order_id, prop_id, milestone_id, kind, sign_off_id, cancellation_id, id, amount_minor, currency)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`, m.studio, m.vendor, m.workOrder, m.prop, m.id, why.kind, why.signOff, why.cancellation, id, amountMinor, currency); err != nil {
		return fmt.Errorf("release the amount of milestone %s: %w", m.id, err)
	}
	tx.fact(FactPayable, m.studio, m.workOrder, id)
	return nil
}

// SignOffs lists the decisions on a delivery.
func (tx *Tx) SignOffs(ctx context.Context, delivery uuid.UUID) ([]SignOff, error) {
	studio, err := tx.studioOfDelivery(ctx, delivery)
	if err != nil {
		return nil, err
	}
	rows, err := tx.Query(ctx, `SELECT s.id, s.delivery_id, s.milestone_id, s.inspection_id, s.decision, s.reason, coalesce(s.by_member, '00000000-0000-0000-0000-000000000000'), coalesce(s.by_name, ''), s.by_role, s.at, coalesce(s.cause, ''), s.effective_at, s.deputy_id, y.id
		FROM ph.sign_off s LEFT JOIN ph.payable y ON y.studio_id = s.studio_id AND y.milestone_id = s.milestone_id AND y.sign_off_id = s.id
		WHERE s.studio_id = $1 AND s.delivery_id = $2 ORDER BY s.id DESC`, studio, delivery)
	if err != nil {
		return nil, fmt.Errorf("sign-offs of delivery %s: %w", delivery, err)
	}
	payables := map[int]uuid.UUID{}
	out, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (SignOff, error) {
		var s SignOff
		var payable *uuid.UUID
		err := row.Scan(&s.ID, &s.DeliveryID, &s.MilestoneID, &s.Inspection, &s.Decision, &s.Reason, &s.By, &s.ByName, &s.ByRole, &s.At, &s.Cause, &s.EffectiveAt, &s.Deputy, &payable)
		if payable != nil {
			payables[len(payables)] = *payable
			s.Payable = &Payable{ID: *payable}
		}
		return s, err
	})
	if err != nil {
		return nil, fmt.Errorf("sign-offs of delivery %s: %w", delivery, err)
	}
	for i := range out {
		if out[i].Payable == nil {
			continue
		}
		list, err := tx.payables(ctx, ` AND y.studio_id = $3 AND y.id = $2`, byTime, 1, out[i].Payable.ID, studio)
		if err != nil {
			return nil, err
		}
		if len(list) == 1 {
			out[i].Payable = &list[0]
		}
	}
	return out, nil
}

// GrantConcession accepts one named nonconformity of a delivery's current inspection. It never changes the finding.
func (tx *Tx) GrantConcession(ctx context.Context, in NewConcession) (Concession, error) {
	if err := tx.decides(ctx, "granting a concession"); err != nil {
		return Concession{}, err
	}
	if in.Reason == "" || len([]rune(in.Reason)) > reasonMax {
		return Concession{}, invalid("reason", "needs 1 to %d characters", reasonMax)
	}
	i, err := tx.Inspection(ctx, in.Inspection)
	if err != nil {
		return Concession{}, err
	}
	m, err := tx.lockNewestSealed(ctx, i.DeliveryID)
	if err != nil {
		return Concession{}, err
	}
	if i, err = tx.Inspection(ctx, in.Inspection); err != nil { // again, now under the lock
		return Concession{}, err
	}
	if !i.Current || m.state != MFailed {
		return Concession{}, fmt.Errorf("%w: concessions are for the current inspection of a milestone that failed; it is %s", ErrState, m.state)
	}
	f := Finding{Ord: in.Ord}
	if err := tx.QueryRow(ctx, `SELECT chk, part, set_name, outcome, blocks, measured, limit_value FROM ph.finding WHERE studio_id = $1 AND inspection_id = $2 AND ord = $3`, m.studio, i.ID, in.Ord).
		Scan(&f.Check, &f.Part, &f.Set, &f.Outcome, &f.Blocks, &f.Measured, &f.Limit); err != nil {
		return Concession{}, fmt.Errorf("finding %d of inspection %s: %w", in.Ord, i.ID, mapError(err))
	}
	if !f.Blocks || f.Outcome != "fail" {
		return Concession{}, fmt.Errorf("%w: only a blocking finding that failed can be conceded; this one is %s", ErrState, f.Outcome)
	}
	permission, err := tx.beyond(ctx, m, in, f)
	if err != nil {
		return Concession{}, err
	}
	id, err := tx.grant(ctx, m, i.DeliveryID, i.ID, f, in.Reason, permission)
	if err != nil {
		return Concession{}, err
	}
	all, err := tx.Concessions(ctx, i.DeliveryID)
	if err != nil {
		return Concession{}, err
	}
	for _, c := range all {
		if c.ID == id {
			return c, nil
		}
	}
	return Concession{}, ErrNotFound
}

// beyond makes the permission of a concession that goes beyond its finding; nil where it does not. It covers what was
// measured now, unless the studio says another worst value, and lapses where a later delivery is worse.
func (tx *Tx) beyond(ctx context.Context, m lockedMilestone, in NewConcession, f Finding) (*uuid.UUID, error) {
	p := NewPermission{WorkOrder: m.workOrder, Kind: "concession", Check: f.Check, Part: f.Part, Set: f.Set, Worst: in.Worst, Until: in.Until, Reason: in.Reason}
	if p.Worst == nil {
		p.Worst = f.Measured
	}
	switch in.Scope {
	case "", "delivery":
		if in.Until != nil || in.Worst != nil {
			return nil, invalid("scope", "is this delivery alone: until and worst are for a wider one")
		}
		return nil, nil
	case "prop":
		p.Prop = m.prop
	case "kit":
		if err := tx.QueryRow(ctx, `SELECT coalesce(kit, '') FROM ph.prop WHERE studio_id = $1 AND id = $2`, m.studio, m.prop).Scan(&p.Kit); err != nil {
			return nil, fmt.Errorf("kit of prop %s: %w", m.prop, err)
		}
		if p.Kit == "" {
			return nil, invalid("scope", "is a kit, and this prop is a piece of none")
		}
		p.Part = "" // the pieces' parts have names of their own
	case "order":
		p.Part = ""
	default:
		return nil, invalid("scope", "is not delivery, prop, kit or order")
	}
	id, err := tx.permit(ctx, m.studio, m.vendor, p, "studio_grants")
	return &id, err
}

func (tx *Tx) grant(ctx context.Context, m lockedMilestone, delivery, inspection uuid.UUID, f Finding, reason string, permission *uuid.UUID) (uuid.UUID, error) {
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.concession (studio_id, vendor_id, work_order_id, delivery_id, inspection_id, ord, chk, id, reason, by_member, by_name, permission_id)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`,
		m.studio, m.vendor, m.workOrder, delivery, inspection, f.Ord, f.Check, id, reason, tx.Who.Member, tx.Who.Name, permission); err != nil {
		return id, fmt.Errorf("concede finding %d of inspection %s: %w", f.Ord, inspection, err)
	}
	tx.fact(FactConcessionGranted, m.studio, m.workOrder, id)
	return id, nil
}

// Concessions lists a delivery's concessions, oldest first.
func (tx *Tx) Concessions(ctx context.Context, delivery uuid.UUID) ([]Concession, error) {
	studio, err := tx.studioOfDelivery(ctx, delivery)
	if err != nil {
		return nil, err
	}
	rows, err := tx.Query(ctx, `SELECT id, inspection_id, ord, chk, reason, by_member, coalesce(by_name, ''), at, permission_id FROM ph.concession
		WHERE studio_id = $1 AND delivery_id = $2 ORDER BY id`, studio, delivery)
	if err != nil {
		return nil, fmt.Errorf("concessions of delivery %s: %w", delivery, err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Concession])
}

// Payables lists what was released, newest first; a zero work order means all that the caller may see.
func (tx *Tx) Payables(ctx context.Context, workOrder uuid.UUID, p Page) (List[Payable], error) {
	after, err := p.afterID(lastID)
	if err != nil {
		return List[Payable]{}, err
	}
	cond, args := ` AND y.id < $2`, []any{after}
	if workOrder != uuid.Nil {
		cond, args = cond+tx.hanging("y", "work_order", 3), append(args, workOrder)
	}
	items, err := tx.payables(ctx, cond, newestFirst, p.limit()+1, args...)
	if err != nil {
		return List[Payable]{}, err
	}
	return listOf(items, p.limit(), func(p Payable) string { return cursor(p.ID.String()) }), nil
}

// PayableFilter is a period, and a vendor. Zero values mean no bound.
type PayableFilter struct {
	From, To time.Time // from the beginning of From to the beginning of To
	Vendor   uuid.UUID
}

const payablesMax = 100_000

// PayablesOf lists everything released in a period, oldest first. Index: payable_by_time, payable_by_time_of_vendor.
func (tx *Tx) PayablesOf(ctx context.Context, f PayableFilter) ([]Payable, error) {
	cond, args := f.query()
	items, err := tx.payables(ctx, cond, byTime, payablesMax+1, args...)
	if err != nil {
		return nil, err
	}
	if len(items) > payablesMax {
		return nil, invalid("from", "and to hold over %d payables: ask for shorter periods", payablesMax)
	}
	return items, nil
}

// PayableSum is what a vendor is owed of a period in one currency.
type PayableSum struct {
	Currency    string
	Vendor      uuid.UUID
	VendorName  string
	AmountMinor int64
	Count       int
}

// PayableSums adds up everything released in a period, by vendor and currency in the order of names. Index: payable_by_time,
// payable_by_time_of_vendor.
func (tx *Tx) PayableSums(ctx context.Context, f PayableFilter) ([]PayableSum, error) {
	return remembered(ctx, tx, "payable sums", f, func() ([]PayableSum, error) { return tx.addPayables(ctx, f) })
}

func (tx *Tx) addPayables(ctx context.Context, f PayableFilter) ([]PayableSum, error) {
	cond, args := f.query()
	rows, err := tx.Query(ctx, tx.sql(`SELECT y.currency, y.vendor_id, e.vendor_name, y.amount, y.n
		FROM (SELECT studio_id, vendor_id, currency, sum(amount_minor)::bigint AS amount, count(*)::int AS n FROM ph.payable y WHERE y.{me} = $1`+cond+` GROUP BY 1, 2, 3) y
		JOIN ph.engagement e ON e.studio_id = y.studio_id AND e.vendor_id = y.vendor_id ORDER BY 3, 1, 2`), append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("sums of payables: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[PayableSum])
}

// FirstPayables lists what was released first in a period, at most limit.
func (tx *Tx) FirstPayables(ctx context.Context, f PayableFilter, limit int) ([]Payable, error) {
	cond, args := f.query()
	return tx.payables(ctx, cond, byTime, limit, args...)
}

// query is a period, and a vendor, as conditions on payables y behind the caller's own column.
func (f PayableFilter) query() (cond string, args []any) {
	if f.To.IsZero() {
		f.To = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	cond, args = ` AND y.at >= $2 AND y.at < $3`, []any{f.From, f.To}
	if f.Vendor != uuid.Nil {
		cond, args = cond+` AND y.vendor_id = $4`, append(args, f.Vendor)
	}
	return cond, args
}

// Orders of payables. Those of a period go by the time that the period bounds: by id, all that is older would be read first.
const (
	byTime      = `y.at, y.id`
	newestFirst = `y.id DESC`
)

// EachPayable gives fn everything released in a period, oldest first, and keeps none. Index: payable_by_time, payable_by_time_of_vendor.
func (tx *Tx) EachPayable(ctx context.Context, f PayableFilter, fn func(Payable) error) error {
	cond, args := f.query()
	if err := eachRow(ctx, tx, "all_payables", tx.payablesQuery(cond, byTime, ""), append([]any{tx.Who.Party}, args...), pgx.RowToStructByPos[Payable], fn); err != nil {
		return fmt.Errorf("list all payables: %w", err)
	}
	return nil
}

// payablesQuery reads payables by a condition, cut before what stands in their rows is joined.
func (tx *Tx) payablesQuery(cond, order, limit string) string {
	return tx.sql(`SELECT y.id, y.work_order_id, y.prop_id, y.milestone_id, y.sign_off_id, y.kind, w.code, y.vendor_id, e.vendor_name, p.code, m.kind, y.amount_minor, y.currency, y.at
		FROM (SELECT * FROM ph.payable y WHERE y.{me} = $1` + cond + ` ORDER BY ` + order + limit + `) y
		JOIN ph.work_order w ON w.studio_id = y.studio_id AND w.id = y.work_order_id
		JOIN ph.engagement e ON e.studio_id = y.studio_id AND e.vendor_id = y.vendor_id
		JOIN ph.prop p ON p.studio_id = y.studio_id AND p.id = y.prop_id
		JOIN ph.milestone m ON m.studio_id = y.studio_id AND m.id = y.milestone_id
		ORDER BY ` + order)
}

func (tx *Tx) payables(ctx context.Context, cond, order string, limit int, args ...any) ([]Payable, error) {
	rows, err := tx.Query(ctx, tx.payablesQuery(cond, order, fmt.Sprintf(` LIMIT %d`, limit)), append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("list payables: %w", err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Payable])
	if err != nil {
		return nil, fmt.Errorf("list payables: %w", err)
	}
	return items, nil
}
