package ledger

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// A milestone with its newest delivery and that one's inspection: the one under way, else the current one. Indexes:
// delivery_number_key (studio_id, milestone_id, number), inspection_of_delivery.
const (
	milestoneColumns = `m.id, m.prop_id, m.position, m.kind, m.share_bp, m.amount_minor + m.change_minor, coalesce(m.due_moved, m.due_on), m.state, m.since, m.rounds,
       m.rework_vendor, m.rework_studio, o.rounds_included, m.review_due_at, m.vendor_secs, m.studio_secs, m.inspector_secs, m.waited_secs,
       p.blocked_since, m.change_minor, now(), d.id, d.number, d.state, d.sealed_at, i.id, i.state, i.verdict, i.headline, i.issues`
	milestoneJoins = `
JOIN ph.prop p ON p.studio_id = m.studio_id AND p.id = m.prop_id
JOIN ph.work_order o ON o.studio_id = m.studio_id AND o.id = m.work_order_id
LEFT JOIN LATERAL (SELECT id, number, state, sealed_at FROM ph.delivery
  WHERE studio_id = m.studio_id AND milestone_id = m.id AND state <> 'abandoned' ORDER BY number DESC LIMIT 1) d ON true
LEFT JOIN LATERAL (SELECT id, state, verdict, headline, issues FROM ph.inspection
  WHERE studio_id = m.studio_id AND delivery_id = d.id ORDER BY state <> 'done' DESC, current DESC, id DESC LIMIT 1) i ON true
`
)

// milestoneRow holds the nullable columns of milestoneColumns while scanning.
type milestoneRow struct {
	m                    Milestone
	due                  *time.Time
	delivery, inspection *uuid.UUID
	number               *int
	dState               *DeliveryState
	sealedAt             *time.Time
	iState               *InspectionState
	verdict              *Verdict
	headline             *string
	issues               *int
	onVendor, onStudio   int64 // seconds
	waited               int64 // of the vendor's, for an answer
	waitingSince         *time.Time
	onInspector, change  int64
	now                  time.Time
}

func (r *milestoneRow) targets() []any {
	return []any{&r.m.ID, &r.m.PropID, &r.m.Position, &r.m.Kind, &r.m.ShareBP, &r.m.AmountMinor, &r.due, &r.m.State, &r.m.Since, &r.m.Rounds,
		&r.m.Rework.Vendor, &r.m.Rework.Studio, &r.m.Rework.Included, &r.m.ReviewDueAt, &r.onVendor, &r.onStudio, &r.onInspector, &r.waited, &r.waitingSince, &r.change, &r.now, &r.delivery, &r.number, &r.dState, &r.sealedAt, &r.inspection, &r.iState, &r.verdict, &r.headline, &r.issues}
}

func (r *milestoneRow) milestone() Milestone {
	m := r.m
	m.Due, m.Desk = r.due, m.State.Desk()
	m.Clocks = r.clocks()
	if r.delivery != nil {
		m.Delivery = &DeliveryHead{ID: *r.delivery, Number: *r.number, State: *r.dState, SealedAt: r.sealedAt,
			Inspection: inspectionHead(r.inspection, r.iState, r.verdict, r.headline, r.issues)}
	}
	return m
}

// clocks adds the time in the present state to that of the states left. Time in which the vendor waited for an answer that holds
// the work up is the studio's.
func (r *milestoneRow) clocks() Clocks {
	c := Clocks{time.Duration(r.onVendor) * time.Second, time.Duration(r.onStudio) * time.Second, time.Duration(r.onInspector) * time.Second}
	passed := max(0, r.now.Sub(r.m.Since))
	waited := time.Duration(r.waited) * time.Second
	switch r.m.State.Desk() {
	case DeskVendor:
		c.Vendor += passed
		if r.waitingSince != nil {
			waited += max(0, min(passed, r.now.Sub(*r.waitingSince)))
		}
	case DeskInspector:
		c.Inspector += passed
	case DeskTechnicalArtist, DeskArtDirector:
		c.Studio += passed
	}
	waited = min(waited, c.Vendor) // each is rounded to a second by itself
	c.Vendor, c.Studio = c.Vendor-waited, c.Studio+waited
	return c
}

func inspectionHead(id *uuid.UUID, state *InspectionState, verdict *Verdict, headline *string, issues *int) *InspectionHead {
	if id == nil {
		return nil
	}
	return &InspectionHead{ID: *id, State: *state, Verdict: deref(verdict), Headline: deref(headline), Issues: deref(issues)}
}

func deref[T any](p *T) T {
	var zero T
	if p == nil {
		return zero
	}
	return *p
}

// lateNow says whether a milestone is past its due date and past the time that the studio's answers took. A prop that never had a
// spec is not late: it waits for the studio.
const lateNow = `(coalesce(m.due_moved, m.due_on) + ((p.blocked_secs + extract(epoch FROM coalesce(now() - p.blocked_since, interval '0')))::bigint / 86400)::int
         < (now() AT TIME ZONE 'UTC')::date AND m.state NOT IN ('accepted', 'cancelled') AND (m.state <> 'open' OR p.spec_in_force IS NOT NULL))`

// workSelect reads WorkItems; scanWork takes its rows.
const workSelect = `SELECT ` + milestoneColumns + `,
       p.code, p.title, p.tier, o.id, o.code, m.vendor_id, e.vendor_name, e.studio_name, m.due_sort, ` + lateNow + `, p.blocked_since IS NOT NULL
FROM ph.milestone m
JOIN ph.engagement e ON e.studio_id = m.studio_id AND e.vendor_id = m.vendor_id` + milestoneJoins

// workLine is a WorkItem with what it is sorted by.
type workLine struct {
	WorkItem
	sort time.Time
}

func scanWork(row pgx.CollectableRow) (l workLine, err error) {
	var r milestoneRow
	var late *bool // NULL where there is no due date
	err = row.Scan(append(r.targets(), &l.PropCode, &l.PropTitle, &l.Tier, &l.WorkItem.WorkOrder, &l.OrderCode, &l.VendorID, &l.VendorName, &l.StudioName, &l.sort, &late, &l.Blocked)...)
	l.Milestone, l.PropID = r.milestone(), r.m.PropID
	l.Late = deref(late)
	return l, err
}

// MyWork lists milestones by due date, those without one last: what lies on which desk. Index: milestone_work_of_* and
// milestone_all_of_*.
func (tx *Tx) MyWork(ctx context.Context, f WorkFilter, p Page) (List[WorkItem], error) {
	afterDue, afterID := "-infinity", uuid.Nil.String()
	if p.After != "" {
		keys, err := p.keys(2)
		if err != nil {
			return List[WorkItem]{}, err
		}
		if _, err := time.Parse(time.DateOnly, keys[0]); err != nil {
			return List[WorkItem]{}, invalid("cursor", "is not one of ours")
		}
		if _, err := uuid.Parse(keys[1]); err != nil {
			return List[WorkItem]{}, invalid("cursor", "is not one of ours")
		}
		afterDue, afterID = keys[0], keys[1]
	}
	// The page's milestones come first, by their own index: joined before they are cut, a studio's orders lead the planner
	// to read and sort all that ever was in them.
	query := workSelect + `
WHERE m.{me} = $1 AND m.id = ANY (ARRAY(SELECT m.id FROM ph.milestone m WHERE m.{me} = $1 AND (m.due_sort, m.id) > ($2::date, $3::uuid)`
	args := []any{tx.Who.Party, afterDue, afterID}
	add := func(cond string, arg any) {
		args = append(args, arg)
		query += fmt.Sprintf(" AND "+cond, len(args))
	}
	if f.Open {
		query += ` AND m.state NOT IN ('accepted', 'cancelled')` // literally the partial index's condition
	}
	if len(f.Desks) > 0 {
		add("m.state = ANY ($%d)", statesOn(f.Desks))
	}
	if f.WorkOrder != uuid.Nil {
		args = append(args, f.WorkOrder)
		query += tx.hanging("m", "work_order", len(args))
	}
	if f.Vendor != uuid.Nil {
		add("m.vendor_id = $%d", f.Vendor)
	}
	query += fmt.Sprintf(" ORDER BY m.due_sort, m.id LIMIT %d)) ORDER BY m.due_sort, m.id", p.limit()+1)
	rows, err := tx.Query(ctx, tx.sql(query), args...)
	if err != nil {
		return List[WorkItem]{}, fmt.Errorf("list work: %w", err)
	}
	items, err := pgx.CollectRows(rows, scanWork)
	if err != nil {
		return List[WorkItem]{}, fmt.Errorf("list work: %w", err)
	}
	page := listOf(items, p.limit(), func(l workLine) string { return cursor(l.sort.Format(time.DateOnly), l.Milestone.ID.String()) })
	out := List[WorkItem]{Next: page.Next, Items: make([]WorkItem, len(page.Items))}
	for i, l := range page.Items {
		out.Items[i] = l.WorkItem
	}
	return out, nil
}

func statesOn(on []Desk) []string {
	var states []string
	for _, s := range MilestoneStates {
		for _, d := range on {
			if s.Desk() == d {
				states = append(states, string(s))
			}
		}
	}
	return states
}

const propSelect = `
SELECT p.id, p.studio_id, p.vendor_id, p.work_order_id, p.code, p.title, p.tier, p.price_minor, w.currency, p.ordered_at,
       w.code, e.vendor_name, e.studio_name, p.work_began_at, p.spec_in_force, p.kind, coalesce(p.kit, ''), p.pilot, p.blocked_since,
       p.blocked_secs + CASE WHEN p.blocked_since IS NULL THEN 0 ELSE greatest(0, extract(epoch FROM now() - p.blocked_since))::bigint END
FROM ph.prop p
JOIN ph.work_order w ON w.studio_id = p.studio_id AND w.id = p.work_order_id
JOIN ph.engagement e ON e.studio_id = p.studio_id AND e.vendor_id = p.vendor_id
`

// Prop is one prop with its milestones.
func (tx *Tx) Prop(ctx context.Context, id uuid.UUID) (Prop, error) {
	props, err := tx.props(ctx, propSelect+`WHERE p.{me} = $1 AND p.id = $2`, id)
	if err != nil {
		return Prop{}, fmt.Errorf("prop %s: %w", id, err)
	}
	if len(props) == 0 {
		return Prop{}, ErrNotFound
	}
	return props[0], nil
}

// Props lists props in the order in which they were ordered.
func (tx *Tx) Props(ctx context.Context, f PropFilter, p Page) (List[Prop], error) {
	after, err := p.afterID(firstID)
	if err != nil {
		return List[Prop]{}, err
	}
	query := propSelect + `WHERE p.{me} = $1 AND p.id > $2`
	args := []any{after}
	if f.WorkOrder != uuid.Nil {
		args = append(args, f.WorkOrder)
		query += tx.hanging("p", "work_order", len(args)+1)
	}
	if f.CodePrefix != "" {
		args = append(args, f.CodePrefix)
		query += fmt.Sprintf(" AND p.code ^@ $%d", len(args)+1)
	}
	query += fmt.Sprintf(" ORDER BY p.id LIMIT %d", p.limit()+1)
	items, err := tx.props(ctx, query, args...)
	if err != nil {
		return List[Prop]{}, fmt.Errorf("list props: %w", err)
	}
	return listOf(items, p.limit(), func(p Prop) string { return cursor(p.ID.String()) }), nil
}

// props runs a propSelect and fills in milestones and specs with one query each.
func (tx *Tx) props(ctx context.Context, query string, args ...any) ([]Prop, error) {
	rows, err := tx.Query(ctx, tx.sql(query), append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return nil, err
	}
	inForce := map[uuid.UUID]uuid.UUID{}
	props, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (Prop, error) {
		var p Prop
		var spec *uuid.UUID
		var blocked int64
		err := row.Scan(&p.ID, &p.StudioID, &p.VendorID, &p.WorkOrderID, &p.Code, &p.Title, &p.Tier, &p.PriceMinor, &p.Currency, &p.OrderedAt,
			&p.WorkOrder, &p.VendorName, &p.StudioName, &p.WorkBeganAt, &spec,
			&p.Kind, &p.Kit, &p.Pilot, &p.BlockedSince, &blocked)
		p.Blocked = time.Duration(blocked) * time.Second
		inForce[p.ID] = deref(spec)
		return p, err
	})
	if err != nil || len(props) == 0 {
		return props, err
	}
	at := make(map[uuid.UUID]*Prop, len(props))
	ids := make([]uuid.UUID, len(props))
	for i := range props {
		ids[i], at[props[i].ID] = props[i].ID, &props[i]
	}
	if err := tx.propMilestones(ctx, ids, at); err != nil {
		return nil, err
	}
	return props, tx.propSpecs(ctx, ids, at, inForce)
}

func (tx *Tx) propMilestones(ctx context.Context, ids []uuid.UUID, at map[uuid.UUID]*Prop) error {
	rows, err := tx.Query(ctx, tx.sql(`SELECT `+milestoneColumns+` FROM ph.milestone m`+milestoneJoins+`
		WHERE m.{me} = $1 AND m.studio_id = ANY ($3) AND m.prop_id = ANY ($2) ORDER BY m.prop_id, m.position`), tx.Who.Party, ids, studiosOf(at))
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var r milestoneRow
		if err := rows.Scan(r.targets()...); err != nil {
			return err
		}
		p, m := at[r.m.PropID], r.milestone()
		p.PriceMinor += r.change
		p.Milestones = append(p.Milestones, m)
		if m.Due != nil && !m.State.Final() && (p.MilestoneDue == nil || m.Due.Before(*p.MilestoneDue)) {
			p.MilestoneDue = m.Due
		}
	}
	return rows.Err()
}

func studiosOf(props map[uuid.UUID]*Prop) []uuid.UUID {
	var out []uuid.UUID
	seen := map[uuid.UUID]bool{}
	for _, p := range props {
		if !seen[p.StudioID] {
			seen[p.StudioID] = true
			out = append(out, p.StudioID)
		}
	}
	return out
}

func (tx *Tx) propSpecs(ctx context.Context, ids []uuid.UUID, at map[uuid.UUID]*Prop, inForce map[uuid.UUID]uuid.UUID) error {
	heads, err := tx.specHeads(ctx, `s.studio_id = ANY ($3) AND s.prop_id = ANY ($2)`, ids, studiosOf(at))
	if err != nil {
		return err
	}
	for i := range heads { // newest first within a prop
		h := heads[i]
		p := at[h.PropID]
		if h.ID == inForce[h.PropID] {
			p.SpecInForce = &h
		} else if p.SpecOffered == nil && p.SpecInForce == nil {
			p.SpecOffered = &h
		}
	}
	return nil
}

// CancelMilestone stops a milestone; nothing more can be delivered for it. Where work on the prop had begun, at least the
// order's share of the amount is paid as a fee; the studio may say more, up to all of it.
func (tx *Tx) CancelMilestone(ctx context.Context, id uuid.UUID, reason string, feeMinor *int64) (Milestone, error) {
	if err := tx.allow("cancelling a milestone", StudioSide, Producer); err != nil {
		return Milestone{}, err
	}
	if reason == "" || len([]rune(reason)) > reasonMax {
		return Milestone{}, invalid("reason", "needs 1 to %d characters", reasonMax)
	}
	m, err := tx.lockMilestone(ctx, id)
	if err != nil {
		return Milestone{}, err
	}
	fee, currency, err := tx.killFee(ctx, m, feeMinor)
	if err != nil {
		return Milestone{}, err
	}
	if err := tx.move(ctx, m, EvCancel); err != nil {
		return Milestone{}, err
	}
	cancel := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.cancellation (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id, reason, fee_minor, by_member, by_name)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		m.studio, m.vendor, m.workOrder, m.prop, m.id, cancel, reason, fee, tx.Who.Member, tx.Who.Name); err != nil {
		return Milestone{}, fmt.Errorf("cancel milestone %s: %w", id, err)
	}
	tx.fact(FactCancelled, m.studio, m.workOrder, cancel)
	if fee > 0 {
		if err := tx.release(ctx, m, ground{kind: "kill_fee", cancellation: &cancel}, fee, currency); err != nil {
			return Milestone{}, err
		}
	}
	return tx.Milestone(ctx, id)
}

// killFee is what a cancelled milestone pays: what the studio said, within what was agreed.
func (tx *Tx) killFee(ctx context.Context, m lockedMilestone, said *int64) (fee int64, currency string, err error) {
	var bp int64
	var began bool
	if err := tx.QueryRow(ctx, `SELECT w.kill_fee_bp, w.currency, p.work_began_at IS NOT NULL FROM ph.prop p
		JOIN ph.work_order w ON w.studio_id = p.studio_id AND w.id = p.work_order_id WHERE p.studio_id = $1 AND p.id = $2`, m.studio, m.prop).Scan(&bp, &currency, &began); err != nil {
		return 0, "", fmt.Errorf("fee for milestone %s: %w", m.id, err)
	}
	var least int64
	if began {
		least = (m.amountMinor*bp + 9999) / 10000 // in the vendor's favour
	}
	switch {
	case said == nil:
		return least, currency, nil
	case *said < least || *said > m.amountMinor:
		return 0, "", invalid("fee", "is not within %d, which the order promises, and the milestone's %d minor units", least, m.amountMinor)
	}
	return *said, currency, nil
}

const reasonMax = 4000

// lockedMilestone is the row that every rule about a milestone locks first.
type lockedMilestone struct {
	studio, vendor, workOrder, prop, id uuid.UUID
	state                               MilestoneState
	kind                                string
	amountMinor                         int64 // with agreed changes
	rounds, reworkStudio                int
}

func (tx *Tx) lockMilestone(ctx context.Context, id uuid.UUID) (lockedMilestone, error) {
	m, err := scanLocked(tx.QueryRow(ctx, tx.sql(lockSelect+`WHERE m.{me} = $1 AND m.id = $2 FOR UPDATE`), tx.Who.Party, id))
	if err != nil {
		return m, fmt.Errorf("milestone %s: %w", id, mapError(err))
	}
	return m, nil
}

const lockSelect = `SELECT m.studio_id, m.vendor_id, m.work_order_id, m.prop_id, m.id, m.state, m.kind, m.amount_minor + m.change_minor, m.rounds, m.rework_studio FROM ph.milestone m `

func scanLocked(row pgx.Row) (m lockedMilestone, err error) {
	err = row.Scan(&m.studio, &m.vendor, &m.workOrder, &m.prop, &m.id, &m.state, &m.kind, &m.amountMinor, &m.rounds, &m.reworkStudio)
	return m, err
}

// move takes a locked milestone one step. A step that is not in Moves is ErrState.
func (tx *Tx) move(ctx context.Context, m lockedMilestone, ev Event) error {
	to, ok := Next(m.state, ev)
	if !ok {
		return fmt.Errorf("%w: a milestone that is %s cannot take %s", ErrState, m.state, ev)
	}
	if _, err := tx.Exec(ctx, `UPDATE ph.milestone SET state = $3, last_event = $4 WHERE studio_id = $1 AND id = $2`, m.studio, m.id, to, ev); err != nil {
		return fmt.Errorf("milestone %s: %w", m.id, err)
	}
	return nil
}
