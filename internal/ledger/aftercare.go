package ledger

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// kindMaintenance is a milestone after acceptance. It has no share of the price, and a prop may have any number of them.
const kindMaintenance = "maintenance"

// OpenMaintenance lets the vendor deliver an accepted prop again: a bug in the engine, a re-export, a cut-down. The price
// is untouched, and what was signed stays signed.
func (tx *Tx) OpenMaintenance(ctx context.Context, prop uuid.UUID, reason string) (Milestone, error) {
	if err := tx.allow("asking for maintenance", StudioSide, Producer, TechnicalArtist, ArtDirector); err != nil {
		return Milestone{}, err
	}
	if reason == "" || len([]rune(reason)) > reasonMax {
		return Milestone{}, invalid("reason", "needs 1 to %d characters", reasonMax)
	}
	var vendor, order uuid.UUID
	var open, accepted, last int
	if err := tx.QueryRow(ctx, `SELECT p.vendor_id, p.work_order_id FROM ph.prop p WHERE p.studio_id = $1 AND p.id = $2 FOR UPDATE`, tx.Who.Party, prop).Scan(&vendor, &order); err != nil {
		return Milestone{}, fmt.Errorf("prop %s: %w", prop, mapError(err))
	}
	if err := tx.QueryRow(ctx, `SELECT count(*) FILTER (WHERE state NOT IN ('accepted', 'cancelled')), count(*) FILTER (WHERE state = 'accepted'), max(position)
		FROM ph.milestone WHERE studio_id = $1 AND prop_id = $2`, tx.Who.Party, prop).Scan(&open, &accepted, &last); err != nil {
		return Milestone{}, fmt.Errorf("milestones of prop %s: %w", prop, err)
	}
	if open > 0 || accepted == 0 {
		return Milestone{}, fmt.Errorf("%w: maintenance is for a prop that is accepted, and one at a time; %d milestones are open", ErrState, open)
	}
	id, act := newID(), newID()
	batch := &pgx.Batch{}
	batch.Queue(`INSERT INTO ph.milestone (studio_id, vendor_id, work_order_id, prop_id, id, position, kind, share_bp, amount_minor)
		VALUES ($1, $2, $3, $4, $5, $6, 'maintenance', 0, 0)`, tx.Who.Party, vendor, order, prop, id, last+1)
	batch.Queue(`INSERT INTO ph.maintenance (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id, reason, by_member, by_name)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`, tx.Who.Party, vendor, order, prop, id, act, reason, tx.Who.Member, tx.Who.Name)
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return Milestone{}, fmt.Errorf("maintenance of prop %s: %w", prop, err)
	}
	tx.fact(FactMaintenance, tx.Who.Party, order, act)
	return tx.Milestone(ctx, id)
}

// PaymentHold is a final milestone that is accepted and not paid: source files are owed.
type PaymentHold struct {
	ID          uuid.UUID
	WorkOrderID uuid.UUID
	PropID      uuid.UUID
	MilestoneID uuid.UUID
	PropCode    string
	AmountMinor int64
	Currency    string
	Owed        []string // roles, when it was accepted
	Missing     []string // of them, what no sealed delivery of the prop has to this day
	At          time.Time
	EndedAt     *time.Time
}

// missingSources lists the roles that an order owes with a final delivery and that no sealed delivery of the prop has.
func (tx *Tx) missingSources(ctx context.Context, studio, prop uuid.UUID) ([]string, error) {
	rows, err := tx.Query(ctx, `SELECT r FROM ph.prop p JOIN ph.work_order w ON w.studio_id = p.studio_id AND w.id = p.work_order_id CROSS JOIN unnest(w.source_roles) r
		WHERE p.studio_id = $1 AND p.id = $2 AND NOT EXISTS (SELECT FROM ph.delivery d JOIN ph.file f ON f.studio_id = d.studio_id AND f.delivery_id = d.id
			WHERE d.studio_id = p.studio_id AND d.prop_id = p.id AND d.state = 'sealed' AND f.role = r AND f.size > 0)
		UNION ALL SELECT $3 FROM ph.prop p JOIN ph.work_order w ON w.studio_id = p.studio_id AND w.id = p.work_order_id
		WHERE p.studio_id = $1 AND p.id = $2 AND w.origin_required AND NOT EXISTS (SELECT FROM ph.origin_declaration o WHERE o.studio_id = p.studio_id AND o.prop_id = p.id) ORDER BY 1`, studio, prop, originOwed)
	if err != nil {
		return nil, fmt.Errorf("source files of prop %s: %w", prop, err)
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// pay releases an accepted milestone's amount, or holds it back where a final one owes source files. Acceptance stands
// either way. Maintenance is not paid.
func (tx *Tx) pay(ctx context.Context, m lockedMilestone, signOff uuid.UUID, currency string) error {
	if m.kind == kindMaintenance {
		return nil
	}
	if err := tx.proved(ctx); err != nil {
		return err
	}
	if m.kind == "final" {
		missing, err := tx.missingSources(ctx, m.studio, m.prop)
		if err != nil {
			return err
		}
		if len(missing) > 0 {
			id := newID()
			if _, err := tx.Exec(ctx, `INSERT INTO ph.payment_hold (studio_id, vendor_id, work_order_id, prop_id, milestone_id, sign_off_id, id, amount_minor, currency, missing)
				VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`, m.studio, m.vendor, m.workOrder, m.prop, m.id, signOff, id, m.amountMinor, currency, missing); err != nil {
				return fmt.Errorf("hold the amount of milestone %s: %w", m.id, err)
			}
			tx.fact(FactPaymentHeld, m.studio, m.workOrder, id)
			return nil
		}
	}
	return tx.release(ctx, m, ground{kind: "milestone", signOff: &signOff}, m.amountMinor, currency)
}

const holdSelect = `SELECT h.id, h.work_order_id, h.prop_id, h.milestone_id, p.code, h.amount_minor, h.currency, h.missing, h.at, e.at FROM ph.payment_hold h
	JOIN ph.prop p ON p.studio_id = h.studio_id AND p.id = h.prop_id
	LEFT JOIN ph.payment_hold_end e ON e.studio_id = h.studio_id AND e.hold_id = h.id WHERE h.{me} = $1 AND `

func (tx *Tx) paymentHolds(ctx context.Context, cond string, args ...any) ([]PaymentHold, error) {
	rows, err := tx.Query(ctx, tx.sql(holdSelect+cond), append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return nil, err
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (h PaymentHold, err error) {
		err = row.Scan(&h.ID, &h.WorkOrderID, &h.PropID, &h.MilestoneID, &h.PropCode, &h.AmountMinor, &h.Currency, &h.Owed, &h.At, &h.EndedAt)
		return h, err
	})
	if err != nil {
		return nil, err
	}
	for i, h := range list {
		var studio uuid.UUID
		if err := tx.QueryRow(ctx, tx.sql(`SELECT studio_id FROM ph.payment_hold WHERE {me} = $1 AND id = $2`), tx.Who.Party, h.ID).Scan(&studio); err != nil {
			return nil, err
		}
		if list[i].Missing, err = tx.missingSources(ctx, studio, h.PropID); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// PaymentHolds lists what is held back of an order, newest first.
func (tx *Tx) PaymentHolds(ctx context.Context, order uuid.UUID) ([]PaymentHold, error) {
	list, err := tx.paymentHolds(ctx, `h.work_order_id = $2 ORDER BY h.id DESC`, order)
	if err != nil {
		return nil, fmt.Errorf("payments held of work order %s: %w", order, err)
	}
	return list, nil
}

// EndPaymentHold releases what was held back: once the source files are there, or without them for a reason.
func (tx *Tx) EndPaymentHold(ctx context.Context, id uuid.UUID, reason string) (PaymentHold, error) {
	if err := tx.allow("releasing a payment", StudioSide, Producer); err != nil {
		return PaymentHold{}, err
	}
	list, err := tx.paymentHolds(ctx, `h.id = $2`, id)
	if err != nil || len(list) == 0 {
		return PaymentHold{}, fmt.Errorf("payment held %s: %w", id, cmpErr(err, ErrNotFound))
	}
	h := list[0]
	m, err := tx.lockMilestone(ctx, h.MilestoneID)
	if err != nil {
		return PaymentHold{}, err
	}
	if h.EndedAt != nil {
		return h, nil
	}
	if len(h.Missing) > 0 && strings.TrimSpace(reason) == "" {
		return PaymentHold{}, invalid("reason", "is needed: %s is still missing", strings.Join(h.Missing, ", "))
	}
	end := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.payment_hold_end (studio_id, vendor_id, work_order_id, hold_id, id, waived, reason, by_member, by_name) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
		m.studio, m.vendor, m.workOrder, id, end, append([]string{}, h.Missing...), reason, tx.Who.Member, tx.Who.Name); err != nil {
		return PaymentHold{}, fmt.Errorf("release the payment %s: %w", id, err)
	}
	tx.fact(FactPaymentHoldEnded, m.studio, m.workOrder, end)
	var signOff uuid.UUID
	if err := tx.QueryRow(ctx, `SELECT sign_off_id FROM ph.payment_hold WHERE studio_id = $1 AND id = $2`, m.studio, id).Scan(&signOff); err != nil {
		return PaymentHold{}, fmt.Errorf("release the payment %s: %w", id, err)
	}
	if err := tx.release(ctx, m, ground{kind: "milestone", signOff: &signOff}, h.AmountMinor, h.Currency); err != nil {
		return PaymentHold{}, err
	}
	if list, err = tx.paymentHolds(ctx, `h.id = $2`, id); err != nil || len(list) == 0 {
		return PaymentHold{}, fmt.Errorf("payment held %s: %w", id, cmpErr(err, ErrNotFound))
	}
	return list[0], nil
}

// cmpErr is the first error there is.
func cmpErr(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// SetUse says which accepted delivery of a texture set or kit a prop uses.
type SetUse struct {
	Prop     uuid.UUID
	PropCode string
	Set      uuid.UUID
	SetCode  string
	Delivery uuid.UUID // of the set
	Number   int       // of that delivery within its milestone
	Newest   bool      // no later delivery of the set is accepted
	At       time.Time
}

// UseSet pins a prop to the newest accepted delivery of a texture set or kit of the same order.
func (tx *Tx) UseSet(ctx context.Context, prop, set uuid.UUID) (SetUse, error) {
	var studio, vendor, order uuid.UUID
	if err := tx.QueryRow(ctx, tx.sql(`SELECT studio_id, vendor_id, work_order_id FROM ph.prop WHERE {me} = $1 AND id = $2`), tx.Who.Party, prop).Scan(&studio, &vendor, &order); err != nil {
		return SetUse{}, fmt.Errorf("prop %s: %w", prop, mapError(err))
	}
	var kind string
	if err := tx.QueryRow(ctx, `SELECT kind FROM ph.prop WHERE studio_id = $1 AND work_order_id = $2 AND id = $3`, studio, order, set).Scan(&kind); err != nil {
		return SetUse{}, fmt.Errorf("set %s: %w", set, mapError(err))
	}
	if kind == "prop" {
		return SetUse{}, invalid("set_id", "is a prop, not a texture set or kit")
	}
	id := newID()
	tag, err := tx.Exec(ctx, `INSERT INTO ph.set_use (studio_id, vendor_id, work_order_id, prop_id, set_id, delivery_id, id, side, by_member, by_name)
		SELECT $1, $2, $3, $4, $5, s.delivery_id, $6, $7, $8, $9 FROM ph.sign_off s WHERE s.studio_id = $1 AND s.prop_id = $5 AND s.decision <> 'return' ORDER BY s.id DESC LIMIT 1`,
		studio, vendor, order, prop, set, id, tx.Who.Side, tx.Who.Member, tx.Who.Name)
	if err != nil {
		return SetUse{}, fmt.Errorf("prop %s uses set %s: %w", prop, set, err)
	}
	if tag.RowsAffected() == 0 {
		return SetUse{}, fmt.Errorf("%w: nothing of this set is accepted yet", ErrState)
	}
	tx.fact(FactSetUsed, studio, order, id)
	all, err := tx.setUses(ctx, `u.prop_id = $2 AND u.set_id = $3`, prop, set)
	if err != nil || len(all) == 0 {
		return SetUse{}, fmt.Errorf("prop %s uses set %s: %w", prop, set, cmpErr(err, ErrNotFound))
	}
	return all[0], nil
}

// SetsOf lists the sets that a prop uses; UsersOf the props that use a set: whom a change of it touches.
func (tx *Tx) SetsOf(ctx context.Context, prop uuid.UUID) ([]SetUse, error) {
	return tx.setUses(ctx, `u.prop_id = $2`, prop)
}

// UsersOf lists the props that use a set, with the delivery of it that each is pinned to.
func (tx *Tx) UsersOf(ctx context.Context, set uuid.UUID) ([]SetUse, error) {
	return tx.setUses(ctx, `u.set_id = $2`, set)
}

// setUses reads the newest pin of each prop and set.
func (tx *Tx) setUses(ctx context.Context, cond string, args ...any) ([]SetUse, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT DISTINCT ON (p.code, s.code) u.prop_id, p.code, u.set_id, s.code, u.delivery_id, d.number, NOT EXISTS (
			SELECT FROM ph.sign_off o WHERE o.studio_id = u.studio_id AND o.prop_id = u.set_id AND o.decision <> 'return'
			AND o.id > (SELECT max(b.id::text)::uuid FROM ph.sign_off b WHERE b.studio_id = u.studio_id AND b.delivery_id = u.delivery_id AND b.decision <> 'return')), u.at
		FROM ph.set_use u
		JOIN ph.prop p ON p.studio_id = u.studio_id AND p.id = u.prop_id
		JOIN ph.prop s ON s.studio_id = u.studio_id AND s.id = u.set_id
		JOIN ph.delivery d ON d.studio_id = u.studio_id AND d.id = u.delivery_id
		WHERE u.{me} = $1 AND `+cond+` ORDER BY p.code, s.code, u.id DESC`), append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("uses of sets: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[SetUse])
}

// SourceRoles checks the roles that an order owes with a final delivery: each begins with "source.".
func sourceRoles(roles []string) (f faults) {
	for i, r := range roles {
		f.add(!strings.HasPrefix(r, "source.") || len(r) > 64, fmt.Sprintf("source_roles[%d]", i), "is %.64q, and a source's role begins with source., such as source.sculpt", r)
		f.add(slices.Contains(roles[:i], r), fmt.Sprintf("source_roles[%d]", i), "names %s twice", r)
	}
	f.add(len(roles) > 20, "source_roles", "are over 20")
	return f
}
