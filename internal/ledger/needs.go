package ledger

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Waiting is one kind of need: how many there are, and the first of them.
type Waiting[T any] struct {
	Items []T
	Count int
	Over  bool // more than were counted
}

// Review is a delivery whose time to review ends.
type Review struct {
	WorkItem
	Silence  bool       // the order's silence accepts it
	Accepted *time.Time // when: told by the reminder; nil before one is sent
}

// DeskCount is how many props lie in a state, by the milestone that is being worked on.
type DeskCount struct {
	State MilestoneState
	Count int
	Over  bool
}

// Amount is money of one currency.
type Amount struct {
	Currency string
	Minor    int64
}

// Needs is what waits for somebody, as the caller's side sees it.
type Needs struct {
	Late      Waiting[Line]     // past due, on whatever desk
	Asked     Waiting[Line]     // for a vendor: what lies on their desk, by due date
	Stuck     Waiting[Line]     // not evaluated: a technical artist has to look
	Reviews   Waiting[Review]   // the studio's time to review ends within reviewSoon
	Questions Waiting[Question] // this side's turn
	Changes   Waiting[ChangeOrder]
	Specs     Waiting[ChangeOrder] // changes that price a spec revision: not acknowledged yet
	Theirs    Waiting[ChangeOrder] // on the other side's desk
	NoSpec    Waiting[Line]        // nothing can be delivered
	Permits   Waiting[Permission]
	Desks     []DeskCount
	Released  []Amount // since the first of the month, in UTC
}

const (
	reviewSoon   = 72 * time.Hour
	needsCounted = 1000 // counting stops here: nobody reads on
)

// Needs reads what waits for somebody, the first shown of each kind. Indexes: prop_line_*_of_*, milestone_review_of_studio,
// question_*_of_*, change_order_open_of_*, permission_requested_of_studio, prop_without_spec,
// payable_by_time*.
func (tx *Tx) Needs(ctx context.Context, shown int) (n Needs, err error) {
	steps := []func() error{
		func() (err error) { n.Desks, err = tx.deskCounts(ctx); return err },
		func() (err error) { n.Released, err = tx.releasedThisMonth(ctx); return err },
		func() (err error) { n.Late, err = tx.neededLines(ctx, LineFilter{Late: true}, shown); return err },
	}
	if tx.Who.Side == StudioSide {
		steps = append(steps,
			func() (err error) {
				n.Stuck, err = tx.neededLines(ctx, LineFilter{States: []MilestoneState{MStuck}}, shown)
				return err
			},
			func() (err error) { n.Reviews, err = tx.reviewsEnding(ctx, shown); return err },
			func() (err error) { n.NoSpec, err = tx.withoutSpec(ctx, shown); return err },
			func() (err error) { n.Permits, err = tx.permitsRequested(ctx, shown); return err })
	} else {
		steps = append(steps, func() (err error) {
			n.Asked, err = tx.neededLines(ctx, LineFilter{Desks: []Desk{DeskVendor}}, shown)
			return err
		}, func() (err error) { n.NoSpec, err = tx.neededLines(ctx, LineFilter{NoSpec: true}, shown); return err })
	}
	mine, theirs, turn := ChangeForStudio, ChangeForVendor, QuestionAsked
	if tx.Who.Side == VendorSide {
		mine, theirs, turn = theirs, mine, QuestionAnswered
	}
	specs := ChangeForVendor // whoever reads: the vendor acknowledges
	steps = append(steps,
		func() (err error) { n.Questions, err = tx.questionsIn(ctx, turn, shown); return err },
		func() (err error) {
			n.Specs, err = tx.changesIn(ctx, specs, `c.spec_revision_id IS NOT NULL`, shown)
			return err
		},
		func() (err error) { n.Changes, err = tx.changesIn(ctx, mine, notSpecOfVendor(mine), shown); return err },
		func() (err error) {
			n.Theirs, err = tx.changesIn(ctx, theirs, notSpecOfVendor(theirs), shown)
			return err
		})
	for _, step := range steps {
		if err := step(); err != nil {
			return n, fmt.Errorf("what is needed: %w", err)
		}
	}
	return n, nil
}

// notSpecOfVendor leaves out what stands among the specs already.
func notSpecOfVendor(s ChangeState) string {
	if s == ChangeForVendor {
		return `c.spec_revision_id IS NULL`
	}
	return `true`
}

// count counts the rows of a query up to needsCounted.
func count[T any](ctx context.Context, tx *Tx, w *Waiting[T], from string, args ...any) error {
	err := tx.QueryRow(ctx, tx.sql(fmt.Sprintf(`SELECT count(*) FROM (SELECT %s LIMIT %d) n`, from, needsCounted+1)), append([]any{tx.Who.Party}, args...)...).Scan(&w.Count)
	if w.Count > needsCounted {
		w.Count, w.Over = needsCounted, true
	}
	return err
}

// neededLines lists props by due date.
func (tx *Tx) neededLines(ctx context.Context, f LineFilter, shown int) (w Waiting[Line], err error) {
	if w.Items, err = tx.lines(ctx, f, LineOrder{}, "", shown); err != nil {
		return w, err
	}
	cond, args := tx.linesOf(f)
	return w, count(ctx, tx, &w, `FROM ph.prop_line l WHERE `+cond, args[1:]...)
}

func (tx *Tx) workWhere(ctx context.Context, cond, order string, limit int) ([]workLine, error) {
	rows, err := tx.Query(ctx, tx.sql(workSelect+` WHERE m.{me} = $1 AND `+cond+` ORDER BY `+order+fmt.Sprintf(` LIMIT %d`, limit)), tx.Who.Party)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, scanWork)
}

// reviewsEnding lists reviews by when the studio's time for them ends, those that are over first.
func (tx *Tx) reviewsEnding(ctx context.Context, shown int) (w Waiting[Review], err error) {
	cond := fmt.Sprintf(`m.state = 'review' AND m.review_due_at < now() + interval '%d seconds'`, int(reviewSoon.Seconds()))
	lines, err := tx.workWhere(ctx, cond, `m.review_due_at, m.id`, shown)
	if err != nil {
		return w, err
	}
	ids := make([]uuid.UUID, len(lines))
	at := map[uuid.UUID]int{}
	for i, l := range lines {
		w.Items = append(w.Items, Review{WorkItem: l.WorkItem})
		ids[i], at[l.Milestone.ID] = l.Milestone.ID, i
	}
	// The rule of the clock, see silent.
	rows, err := tx.Query(ctx, `SELECT m.id, (SELECT max(r.effective_at) FROM ph.reminder r WHERE r.studio_id = m.studio_id AND r.milestone_id = m.id AND r.review_due_at = m.review_due_at)
		FROM ph.milestone m JOIN ph.work_order w ON w.studio_id = m.studio_id AND w.id = m.work_order_id AND w.silence_accepts
		JOIN ph.prop p ON p.studio_id = m.studio_id AND p.id = m.prop_id AND p.tier IN ('background', 'mid')
		WHERE m.studio_id = $1 AND m.id = ANY ($2) AND m.kind <> 'final'`, tx.Who.Party, ids)
	if err != nil {
		return w, err
	}
	var id uuid.UUID
	var when *time.Time
	if _, err := pgx.ForEachRow(rows, []any{&id, &when}, func() error {
		w.Items[at[id]].Silence, w.Items[at[id]].Accepted = true, when
		return nil
	}); err != nil {
		return w, err
	}
	return w, count(ctx, tx, &w, `FROM ph.milestone m WHERE m.{me} = $1 AND `+cond)
}

func (tx *Tx) questionsIn(ctx context.Context, state QuestionState, shown int) (w Waiting[Question], err error) {
	cond := ` AND q.state = '` + string(state) + `'`
	rows, err := tx.Query(ctx, tx.sql(questionSelect+cond+fmt.Sprintf(` ORDER BY q.since, q.id LIMIT %d`, shown)), tx.Who.Party)
	if err != nil {
		return w, err
	}
	if w.Items, err = pgx.CollectRows(rows, scanQuestion); err != nil {
		return w, err
	}
	return w, count(ctx, tx, &w, `FROM ph.question q WHERE q.{me} = $1`+cond)
}

func (tx *Tx) changesIn(ctx context.Context, state ChangeState, cond string, shown int) (w Waiting[ChangeOrder], err error) {
	cond = `c.state IN ('for_vendor', 'for_studio') AND c.state = '` + string(state) + `' AND ` + cond
	rows, err := tx.Query(ctx, tx.sql(changeSelect+cond+fmt.Sprintf(` ORDER BY c.since, c.id LIMIT %d`, shown)), tx.Who.Party)
	if err != nil {
		return w, err
	}
	if w.Items, err = pgx.CollectRows(rows, pgx.RowToStructByPos[ChangeOrder]); err != nil {
		return w, err
	}
	return w, count(ctx, tx, &w, `FROM ph.change_order c WHERE c.{me} = $1 AND `+cond)
}

func (tx *Tx) withoutSpec(ctx context.Context, shown int) (w Waiting[Line], err error) {
	const cond = `p.spec_in_force IS NULL`
	rows, err := tx.Query(ctx, tx.sql(fmt.Sprintf(`SELECT p.id FROM ph.prop p WHERE p.{me} = $1 AND %s ORDER BY p.id LIMIT %d`, cond, shown)), tx.Who.Party)
	if err != nil {
		return w, err
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
	if err != nil || len(ids) == 0 {
		return w, err
	}
	if w.Items, err = tx.lines(ctx, LineFilter{IDs: ids}, LineOrder{}, "", shown); err != nil {
		return w, err
	}
	return w, count(ctx, tx, &w, `FROM ph.prop p WHERE p.{me} = $1 AND `+cond)
}

func (tx *Tx) permitsRequested(ctx context.Context, shown int) (w Waiting[Permission], err error) {
	const cond = `p.state = 'requested'`
	rows, err := tx.Query(ctx, tx.sql(permissionSelect+cond+fmt.Sprintf(` ORDER BY p.since, p.id LIMIT %d`, shown)), tx.Who.Party)
	if err != nil {
		return w, err
	}
	if w.Items, err = pgx.CollectRows(rows, pgx.RowToStructByPos[Permission]); err != nil {
		return w, err
	}
	return w, count(ctx, tx, &w, `FROM ph.permission p WHERE p.{me} = $1 AND `+cond)
}

// deskCounts says how many props lie in each state that is not the last, each counted on its own, up to needsCounted. A state and a spec
// in force change with a fact alone, and by no clock.
// The order is the index's: without it a state that nothing is in would be looked for in every row. Index: prop_line_state_of_*.
func (tx *Tx) deskCounts(ctx context.Context) ([]DeskCount, error) {
	return remembered(ctx, tx, "on desks", nil, func() ([]DeskCount, error) { return tx.countDesks(ctx) })
}

func (tx *Tx) countDesks(ctx context.Context) ([]DeskCount, error) {
	// Props without a spec stand by themselves, since they lie on no vendor's desk.
	rows, err := tx.Query(ctx, tx.sql(fmt.Sprintf(`SELECT s.state, n.n FROM unnest($2::text[]) WITH ORDINALITY s(state, ord)
		CROSS JOIN LATERAL (SELECT count(*) AS n FROM (SELECT FROM ph.prop_line l WHERE l.{me} = $1 AND l.state = s.state AND `+lineReady+` ORDER BY l.due_sort, l.prop_id LIMIT %d) x) n
		WHERE n.n > 0 ORDER BY s.ord`, needsCounted+1)), tx.Who.Party, []MilestoneState{MOpen, MReturned, MFailed, MInspecting, MStuck, MReview, MHeld})
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (d DeskCount, err error) {
		err = row.Scan(&d.State, &d.Count)
		if d.Over = d.Count > needsCounted; d.Over {
			d.Count = needsCounted
		}
		return d, err
	})
}

func (tx *Tx) releasedThisMonth(ctx context.Context) ([]Amount, error) {
	var month time.Time // by the database's clock, as all of a ledger's times
	if err := tx.QueryRow(ctx, `SELECT date_trunc('month', now() AT TIME ZONE 'UTC') AT TIME ZONE 'UTC'`).Scan(&month); err != nil {
		return nil, err
	}
	return remembered(ctx, tx, "released since", month.UTC(), func() ([]Amount, error) {
		rows, err := tx.Query(ctx, tx.sql(`SELECT currency, sum(amount_minor)::bigint FROM ph.payable WHERE {me} = $1 AND at >= $2 GROUP BY currency ORDER BY currency`), tx.Who.Party, month)
		if err != nil {
			return nil, err
		}
		return pgx.CollectRows(rows, pgx.RowToStructByPos[Amount])
	})
}
