//go:build full

package ledger_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// TestLinesOfALargeStudio: among 100,000 props the list's first page and one far in come by index where one is promised, and
// every sort and filter in bounded time. The table is filled directly: nothing but the list is looked at.
func TestLinesOfALargeStudio(t *testing.T) {
	s := newScene(t)
	s.tamper(`INSERT INTO ph.prop_line (studio_id, vendor_id, work_order_id, project_id, prop_id, code, title, tier, order_code, vendor_name, price_minor, milestone_id, milestone, state, due_sort, since, rounds,
		blocked_secs, currency)
		SELECT $1, $2, $3, $4, gen_random_uuid(), 'prop_' || n, 'Pile number ' || n, (ARRAY['background', 'mid', 'hero', 'close_up'])[1 + n % 4], 'WO-' || n / 100, 'Salvage Yard', n % 977, gen_random_uuid(), 'final',
		(ARRAY['accepted', 'accepted', 'accepted', 'open', 'review', 'returned'])[1 + n % 6], date '2026-01-01' + n % 700, now() - n * interval '1 minute', n % 5, 0, 'EUR'
		FROM generate_series(1, 100000) n`, s.studio.Party, s.yard.Party, s.yardOrder.ID, s.yardOrder.ProjectID)
	_, err := s.owner.Exec(s.ctx(), `SET session_replication_role = DEFAULT; ANALYZE ph.prop_line`)
	require.NoError(t, err)
	for _, o := range []ledger.LineOrder{{}, {Down: true}, {By: "code"}, {By: "prop"}, {By: "price", Down: true}, {By: "tier"}, {Group: "vendor"}, {By: "since", Group: "state"}} {
		for name, f := range map[string]ledger.LineFilter{"all": {}, "open": {Open: true}, "late": {Late: true}, "text": {Text: "number 9999"}, "hero": {Tiers: []string{"hero"}}} {
			began, pages, after := time.Now(), 0, ""
			s.as(s.studio, func(tx *ledger.Tx) error {
				for pages < 4 {
					list, err := tx.Lines(s.ctx(), f, o, ledger.Page{After: after, Limit: 100})
					if err != nil {
						return err
					}
					pages++
					if after = list.Next; after == "" {
						break
					}
				}
				return nil
			})
			took := time.Since(began) / time.Duration(pages)
			t.Logf("%-6s %+v: %.1f ms a page", name, o, took.Seconds()*1000)
			require.Less(t, took, 5*time.Second, "a page of %s sorted by %+v", name, o) // a busy machine; a quiet one takes a tenth of a second at most
		}
	}
	began := time.Now()
	s.as(s.studio, func(tx *ledger.Tx) error {
		n, err := tx.CountLines(s.ctx(), ledger.LineFilter{Open: true})
		require.Equal(t, ledger.CountedMost+1, n)
		return err
	})
	t.Logf("counting: %v", time.Since(began))
	began = time.Now()
	s.as(s.studio, func(tx *ledger.Tx) error {
		n, err := tx.Needs(s.ctx(), 10)
		require.True(t, n.Late.Over, "over a thousand are late")
		require.Len(t, n.Late.Items, 10)
		return err
	})
	t.Logf("what is needed: %v", time.Since(began))
	s.as(s.studio, func(tx *ledger.Tx) error {
		for query, index := range map[string]string{
			`SELECT * FROM ph.prop_line l WHERE l.studio_id = $1 ORDER BY l.due_sort, l.prop_id LIMIT 101`:                                                                                                                      "prop_line_due_of_studio",
			`SELECT * FROM ph.prop_line l WHERE l.studio_id = $1 AND (l.due_sort, l.prop_id) > ('2026-06-01', '` + uuid.NewString() + `') ORDER BY l.due_sort, l.prop_id LIMIT 101`:                                             "prop_line_due_of_studio",
			`SELECT * FROM ph.prop_line l WHERE l.studio_id = $1 ORDER BY l.due_sort DESC, l.prop_id DESC LIMIT 101`:                                                                                                            "prop_line_due_of_studio",
			`SELECT * FROM ph.prop_line l WHERE l.studio_id = $1 AND l.state NOT IN ('accepted', 'cancelled') ORDER BY l.due_sort, l.prop_id LIMIT 11`:                                                                          "prop_line_open_of_studio",
			`SELECT s, n FROM unnest(ARRAY['open', 'held']) s CROSS JOIN LATERAL (SELECT count(*) AS n FROM (SELECT FROM ph.prop_line l WHERE l.studio_id = $1 AND l.state = s ORDER BY l.due_sort, l.prop_id LIMIT 1001) x) n`: "prop_line_state_of_studio",
			`SELECT * FROM ph.prop_line l WHERE l.studio_id = $1 ORDER BY l.code, l.prop_id LIMIT 101`:                                                                                                                          "prop_line_code_of_studio",
		} {
			rows, err := tx.Query(s.ctx(), "EXPLAIN "+query, s.studio.Party)
			if err != nil {
				return err
			}
			var plan []string
			for rows.Next() {
				var line string
				if err := rows.Scan(&line); err != nil {
					return err
				}
				plan = append(plan, line)
			}
			require.Contains(t, strings.Join(plan, "\n"), fmt.Sprintf("using %s", index), query)
			require.NotContains(t, strings.Join(plan, "\n"), "Sort", query)
		}
		return nil
	})
}
