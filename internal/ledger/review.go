package ledger

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// ReviewFilter says what a reviewer goes through. Zero values mean all.
type ReviewFilter struct {
	States []MilestoneState // none: what waits for review, and what is held back
	Batch  uuid.UUID
}

// ReviewItem is one delivery that waits for eyes: the newest sealed one of its milestone, inspected.
type ReviewItem struct {
	Delivery    uuid.UUID
	Number      int
	MilestoneID uuid.UUID
	Kind        string
	State       MilestoneState
	PropID      uuid.UUID
	PropCode    string
	PropTitle   string
	Tier        string
	Kit         string
	OrderID     uuid.UUID
	OrderCode   string
	VendorName  string
	Batch       *uuid.UUID
	SealedAt    *time.Time
	ReviewDueAt *time.Time
	Inspection  uuid.UUID
	Headline    string
	Issues      int
	Still       bool   // there is a lit still
	DecidedBy   string // of a decision that waits to be sent; "" where there is none
	Decided     Decision
	Own         bool // it is the caller's
}

// reviewMax bounds one look: nobody goes through more in one go.
const reviewMax = 200

// Review lists what a reviewer goes through: whose review ends first, then the most urgent. Indexes: milestone_in_review for
// what waits for review, milestone_work_of_studio in its order for the rest.
func (tx *Tx) Review(ctx context.Context, f ReviewFilter) ([]ReviewItem, error) {
	if err := tx.allow("reviewing", StudioSide); err != nil {
		return nil, err
	}
	if len(f.States) == 0 {
		f.States = []MilestoneState{MReview, MHeld}
	}
	waits, order := "", "m.due_sort, m.id"
	for i, state := range f.States {
		if !slices.Contains(MilestoneStates, state) {
			return nil, invalid("state", "is not one of a milestone")
		}
		if state == MReview {
			order = "m.review_due_at NULLS LAST, m.due_sort, m.id"
		}
		if i > 0 {
			waits += ", "
		}
		waits += "'" + string(state) + "'" // literally, for the partial index's condition
	}
	args, ofBatch := []any{tx.Who.Party, tx.Who.Member}, ""
	if f.Batch != uuid.Nil { // whose newest delivery it is
		args, ofBatch = append(args, f.Batch), ` AND (SELECT d.batch_id FROM ph.delivery d WHERE d.studio_id = m.studio_id AND d.milestone_id = m.id AND d.state = 'sealed' ORDER BY d.number DESC LIMIT 1) = $3
			AND EXISTS (SELECT FROM ph.delivery d WHERE d.studio_id = m.studio_id AND d.batch_id = $3 AND d.milestone_id = m.id)`
	}
	// The milestones first, so that what belongs to them is looked up for those that are shown and no others.
	query := `SELECT d.id, d.number, m.id, m.kind, m.state, p.id, p.code, p.title, p.tier, coalesce(p.kit, ''), w.id, w.code, e.vendor_name, d.batch_id, d.sealed_at, m.review_due_at,
			i.id, coalesce(i.headline, ''), coalesce(i.issues, 0), EXISTS (SELECT FROM ph.evidence v WHERE v.studio_id = i.studio_id AND v.inspection_id = i.id AND v.name = 'prop_lit.png'),
			coalesce(b.name, CASE WHEN q.id IS NULL THEN '' ELSE '–' END), coalesce(q.decision, ''), coalesce(q.by_member = $2, false)
		FROM (SELECT * FROM ph.milestone m WHERE m.studio_id = $1 AND m.state NOT IN ('accepted', 'cancelled') AND m.state IN (` + waits + `)` + ofBatch + fmt.Sprintf(`
			ORDER BY %s LIMIT %d) m`, order, reviewMax) + `
		JOIN ph.prop p ON p.studio_id = m.studio_id AND p.id = m.prop_id
		JOIN ph.work_order w ON w.studio_id = m.studio_id AND w.id = m.work_order_id
		JOIN ph.engagement e ON e.studio_id = m.studio_id AND e.vendor_id = m.vendor_id
		CROSS JOIN LATERAL (SELECT d.* FROM ph.delivery d WHERE d.studio_id = m.studio_id AND d.milestone_id = m.id AND d.state = 'sealed' ORDER BY d.number DESC LIMIT 1) d
		JOIN ph.inspection i ON i.studio_id = m.studio_id AND i.delivery_id = d.id AND i.current
		LEFT JOIN ph.pending_sign_off q ON q.studio_id = m.studio_id AND q.milestone_id = m.id AND q.stopped_at IS NULL
		LEFT JOIN ph.member b ON b.party_id = q.studio_id AND b.id = q.by_member ORDER BY ` + order
	rows, err := tx.Query(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("review: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[ReviewItem])
}

// PrepareSignOffs takes many decisions that are sent later, all or none. The first that cannot be taken is an *Undecided.
func (tx *Tx) PrepareSignOffs(ctx context.Context, in []NewPendingSignOff) ([]PendingSignOff, error) {
	if err := tx.allow("signing off", StudioSide); err != nil {
		return nil, err
	}
	ids := make([]uuid.UUID, len(in))
	for i, one := range in {
		ids[i] = one.Delivery
	}
	rows, err := tx.Query(ctx, `SELECT id, milestone_id FROM ph.delivery WHERE studio_id = $1 AND id = ANY ($2)`, tx.Who.Party, ids)
	if err != nil {
		return nil, fmt.Errorf("deliveries to decide on: %w", err)
	}
	milestones := map[uuid.UUID]uuid.UUID{}
	var id, milestone uuid.UUID
	if _, err := pgx.ForEachRow(rows, []any{&id, &milestone}, func() error { milestones[id] = milestone; return nil }); err != nil {
		return nil, fmt.Errorf("deliveries to decide on: %w", err)
	}
	in = slices.Clone(in)
	slices.SortFunc(in, func(x, y NewPendingSignOff) int { // milestones are locked in the order of their ids
		a, b := milestones[x.Delivery], milestones[y.Delivery]
		return bytes.Compare(a[:], b[:])
	})
	out := make([]PendingSignOff, 0, len(in))
	for _, one := range in {
		q, err := tx.PrepareSignOff(ctx, one)
		if err != nil {
			return nil, &Undecided{one.Delivery, err}
		}
		out = append(out, q)
	}
	return out, nil
}

// Neighbour is another prop of the same kit as it stands in the game: its newest delivery's picture in real pixels.
type Neighbour struct {
	Title      string
	Inspection uuid.UUID
	Accepted   bool
}

// Neighbours finds up to n other props of a prop's kit and tier whose newest inspected delivery left a picture of this
// name: what was accepted first, then the newest. Pictures of one tier are taken from one distance, so they go together.
func (tx *Tx) Neighbours(ctx context.Context, prop uuid.UUID, picture string, n int) ([]Neighbour, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT o.title, x.inspection, x.accepted FROM ph.prop p
		JOIN ph.prop o ON o.studio_id = p.studio_id AND o.work_order_id = p.work_order_id AND o.kit = p.kit AND o.tier = p.tier AND o.id <> p.id
		CROSS JOIN LATERAL (SELECT i.id AS inspection, m.state = 'accepted' AS accepted FROM ph.milestone m
			JOIN ph.delivery d ON d.studio_id = m.studio_id AND d.milestone_id = m.id AND d.state = 'sealed'
			JOIN ph.inspection i ON i.studio_id = d.studio_id AND i.delivery_id = d.id AND i.current
			JOIN ph.evidence v ON v.studio_id = i.studio_id AND v.inspection_id = i.id AND v.name = $3
			WHERE m.studio_id = o.studio_id AND m.prop_id = o.id ORDER BY m.position DESC, d.number DESC LIMIT 1) x
		WHERE p.{me} = $1 AND p.id = $2 ORDER BY x.accepted DESC, x.inspection DESC LIMIT $4`), tx.Who.Party, prop, picture, n)
	if err != nil {
		return nil, fmt.Errorf("neighbours of prop %s: %w", prop, err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Neighbour])
}

// EarlierNote is a note on an earlier delivery of the same milestone.
type EarlierNote struct {
	Note
	Number int // of its delivery
}

// EarlierNotes lists what was said of the deliveries before this one and answers no other note: what is open first, then
// what was settled in this delivery; what was settled before is left out.
func (tx *Tx) EarlierNotes(ctx context.Context, d Delivery) ([]EarlierNote, error) {
	list, err := tx.Deliveries(ctx, DeliveryFilter{Milestone: d.MilestoneID}, Page{Limit: reviewMax})
	if err != nil {
		return nil, err
	}
	var out []EarlierNote
	for _, before := range list.Items {
		if before.Number >= d.Number || before.State != DSealed {
			continue
		}
		notes, err := tx.Notes(ctx, before.ID)
		if err != nil {
			return nil, err
		}
		for _, n := range notes {
			if n.ReplyTo == nil && (!n.Resolved || n.ResolvedIn != nil && *n.ResolvedIn == d.ID) {
				out = append(out, EarlierNote{n, before.Number})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b EarlierNote) int {
		switch {
		case a.Resolved == b.Resolved:
			return 0
		case a.Resolved:
			return 1
		}
		return -1
	})
	return out, nil
}

// Beside is a delivery to look at beside another of the same prop.
type Beside struct {
	Delivery   uuid.UUID
	Number     int
	Kind       string // of its milestone
	Accepted   bool
	Inspection uuid.UUID
}

// BesideOf finds what a delivery is compared with: the one before it in its milestone, and the prop's newest accepted one.
// Each has a lit still. Either may be missing, and they are never the same.
func (tx *Tx) BesideOf(ctx context.Context, d Delivery) ([]Beside, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT o.id, o.number, m.kind,
		  EXISTS (SELECT FROM ph.sign_off s WHERE s.studio_id = o.studio_id AND s.prop_id = o.prop_id AND s.delivery_id = o.id AND s.decision = 'accept'), i.id FROM ph.delivery o
		JOIN ph.milestone m ON m.studio_id = o.studio_id AND m.id = o.milestone_id
		JOIN ph.inspection i ON i.studio_id = o.studio_id AND i.delivery_id = o.id AND i.current
		JOIN ph.evidence v ON v.studio_id = i.studio_id AND v.inspection_id = i.id AND v.name = 'prop_lit.png'
		WHERE o.{me} = $1 AND o.prop_id = $2 AND o.state = 'sealed' AND o.id <> $3
		  AND (o.milestone_id = $4 AND o.number < $5 OR o.milestone_id <> $4 AND m.state = 'accepted' AND o.sealed_at < $6)
		ORDER BY (o.milestone_id = $4) DESC, o.number DESC, o.sealed_at DESC LIMIT 50`), tx.Who.Party, d.PropID, d.ID, d.MilestoneID, d.Number, d.SealedAt)
	if err != nil {
		return nil, fmt.Errorf("what stands beside delivery %s: %w", d.ID, err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Beside])
	if err != nil {
		return nil, fmt.Errorf("what stands beside delivery %s: %w", d.ID, err)
	}
	var out []Beside
	for _, same := range []bool{true, false} {
		i := slices.IndexFunc(all, func(b Beside) bool { return (b.Kind == d.MilestoneKind) == same && (same || b.Accepted) })
		if i >= 0 {
			out = append(out, all[i])
		}
	}
	return out, nil
}
