package ledger

import (
	"context"
	"fmt"
	"math"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// CheckWorth is what became of a check's warnings and issues in decisions: whether people thought them worth a return.
type CheckWorth struct {
	Check          string
	Warned         int // decided deliveries on which it warned
	WarnedReturned int // of them, returned for a nonconformity
	Failed         int // decided deliveries on which it failed and blocked
	Upheld         int // of them, returned for a nonconformity
	Conceded       int // of them, with a concession for it
}

// Propose says that a blocking check is proposed for a warning: it was accepted as it is more often than it led to a return, and
// so much more often that a sign test (W. J. Dixon, A. M. Mood, The statistical sign test, JASA 41, 1946) would see as much by
// chance once in twenty at most. The least that suffices are 5 of 5, 7 of 8, 9 of 11.
func (c CheckWorth) Propose() bool {
	n := c.Conceded + c.Upheld
	return c.Conceded > c.Upheld && tossed(n, c.Conceded) <= chanceAllowed
}

// Few says that a check was accepted as it is more often than not, in too few cases to propose anything.
func (c CheckWorth) Few() bool { return c.Conceded > c.Upheld && !c.Propose() }

// chanceAllowed is the one-sided level of the test (common practice).
const chanceAllowed = 0.05

// tossed is the probability of at least k heads in n tosses of a fair coin.
func tossed(n, k int) (p float64) {
	ways, _ := math.Lgamma(float64(n) + 1)
	for i := k; i <= n; i++ {
		a, _ := math.Lgamma(float64(i) + 1)
		b, _ := math.Lgamma(float64(n-i) + 1)
		p += math.Exp(ways - a - b - float64(n)*math.Ln2)
	}
	return p
}

// decisionsLooked is how many of the newest decisions CheckWorths looks at.
const decisionsLooked = 500

// CheckWorths looks at the newest decisions within a filter. A return because the studio changed its mind counts for no
// check. Index: the primary keys of sign_off, whose ids begin with their time, and of finding.
func (tx *Tx) CheckWorths(ctx context.Context, f FigureFilter) (list []CheckWorth, decisions int, err error) {
	type worths struct {
		list      []CheckWorth
		decisions int
	}
	w, err := remembered(ctx, tx, "what checks were worth", f, func() (w worths, err error) { w.list, w.decisions, err = tx.weighChecks(ctx, f); return w, err })
	return w.list, w.decisions, err
}

func (tx *Tx) weighChecks(ctx context.Context, f FigureFilter) (list []CheckWorth, decisions int, err error) {
	cond, args := "", []any{tx.Who.Party}
	add := func(on bool, c string, v any) {
		if on {
			args = append(args, v)
			cond += fmt.Sprintf(" AND "+c, len(args))
		}
	}
	add(!f.From.IsZero(), "s.at >= $%d", f.From)
	add(!f.To.IsZero(), "s.at < $%d", f.To)
	add(f.Vendor != uuid.Nil, "s.vendor_id = $%d", f.Vendor)
	add(f.Project != uuid.Nil, "EXISTS (SELECT FROM ph.work_order w WHERE w.studio_id = s.studio_id AND w.id = s.work_order_id AND w.project_id = $%d)", f.Project)
	add(f.Tier != "", "EXISTS (SELECT FROM ph.prop p WHERE p.studio_id = s.studio_id AND p.id = s.prop_id AND p.tier = $%d)", f.Tier)
	decided := tx.sql(fmt.Sprintf(`SELECT s.studio_id, s.inspection_id, s.decision = 'return' AND s.cause IS DISTINCT FROM 'changed_mind' AS upheld
		FROM ph.sign_off s WHERE s.{me} = $1%s ORDER BY s.id DESC LIMIT %d`, cond, decisionsLooked))
	rows, err := tx.Query(ctx, `WITH d AS (`+decided+`), f AS (
			SELECT d.inspection_id, d.upheld, f.chk, bool_or(f.outcome = 'warn') AS warned, bool_or(f.outcome = 'fail' AND f.blocks) AS failed,
				bool_or(c.id IS NOT NULL) AS conceded
			FROM d JOIN ph.finding f ON f.studio_id = d.studio_id AND f.inspection_id = d.inspection_id AND f.outcome IN ('warn', 'fail')
			LEFT JOIN LATERAL (SELECT c.id FROM ph.concession c WHERE c.studio_id = d.studio_id AND c.inspection_id = d.inspection_id AND c.ord = f.ord LIMIT 1) c ON true -- one by one: as a set all concessions would be read
			GROUP BY 1, 2, 3)
		SELECT chk, (count(*) FILTER (WHERE warned))::int, (count(*) FILTER (WHERE warned AND upheld))::int, (count(*) FILTER (WHERE failed))::int,
			(count(*) FILTER (WHERE failed AND upheld))::int, (count(*) FILTER (WHERE failed AND conceded))::int
		FROM f GROUP BY chk HAVING bool_or(warned OR failed) ORDER BY 4 DESC, 2 DESC, 1`, args...)
	if err != nil {
		return nil, 0, fmt.Errorf("what checks were worth: %w", err)
	}
	if list, err = pgx.CollectRows(rows, pgx.RowToStructByPos[CheckWorth]); err != nil {
		return nil, 0, fmt.Errorf("what checks were worth: %w", err)
	}
	if err := tx.QueryRow(ctx, `SELECT count(*)::int FROM (`+decided+`) d`, args...).Scan(&decisions); err != nil {
		return nil, 0, fmt.Errorf("what checks were worth: %w", err)
	}
	return list, decisions, nil
}
