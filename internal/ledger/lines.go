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

// Line is one prop in the list of all: with the milestone that is being worked on, or the last where all are done.
type Line struct {
	PropID      uuid.UUID
	Code        string
	Title       string
	Tier        string
	WorkOrder   uuid.UUID
	OrderCode   string
	VendorID    uuid.UUID
	VendorName  string
	PriceMinor  int64 // with agreed changes
	Currency    string
	MilestoneID uuid.UUID
	Milestone   string
	State       MilestoneState
	Desk        Desk
	Due         *Date
	Since       time.Time
	Rounds      int
	Late        bool // past its due date, and past the time that the studio's answers took
	NoSpec      bool // none was ever in force: it waits for the studio, whatever its state's desk
	Blocked     bool // a question waits for the studio
	Delivery    *uuid.UUID
	Number      int // of the delivery, the milestone's newest
	keys        []string
}

// LineFilter narrows the list of props. Zero values mean all.
type LineFilter struct {
	Project, WorkOrder, Vendor uuid.UUID
	States                     []MilestoneState
	Desks                      []Desk
	Tiers                      []string
	Milestones                 []string
	Late                       bool
	Open                       bool   // leave out accepted and cancelled
	NoSpec                     bool   // open ones without a spec in force
	OrderCode                  string // of a work order
	Text                       string // somewhere in code or title, in any case
	IDs                        []uuid.UUID
}

// LineOrder is how the list is sorted: by a column of LineColumns, "" is by due date, and within the groups of another
// one, "" for none. Equal ones follow in the order in which they were ordered.
type LineOrder struct {
	By    string
	Down  bool // largest first
	Group string
}

// LineColumn is a column that the list can be sorted by.
type LineColumn struct {
	Name  string
	sql   string // of the table l
	kind  string // its type, for the place to go on from
	Group bool   // the list can be grouped by it
}

// ranked sorts words by their place in a list.
func ranked(column string, words ...string) string {
	return "array_position('{" + strings.Join(words, ",") + "}'::text[], " + column + ")"
}

// LineColumns are the columns that the list can be sorted by. Of them due, code and state have an index that begins with the
// studio (prop_line_*_of_studio); the others sort what the filter leaves, some 0.1 µs a prop.
var LineColumns = []LineColumn{
	{Name: "due", sql: "l.due_sort", kind: "date"},
	{Name: "prop", sql: "l.title", kind: "text"},
	{Name: "code", sql: "l.code", kind: "text"},
	{Name: "order", sql: "l.order_code", kind: "text", Group: true},
	{Name: "vendor", sql: "l.vendor_name", kind: "text", Group: true},
	{Name: "tier", sql: ranked("l.tier", "close_up", "hero", "mid", "background"), kind: "integer", Group: true},
	{Name: "milestone", sql: ranked("l.milestone", append(slices.Clone(milestoneOrder), kindMaintenance)...), kind: "integer"},
	{Name: "state", sql: ranked("l.state", "stuck", "failed", "returned", "open", "inspecting", "review", "held", "accepted", "cancelled"), kind: "integer", Group: true},
	{Name: "since", sql: "l.since", kind: "timestamptz"},
	{Name: "rounds", sql: "l.rounds", kind: "integer"},
	{Name: "price", sql: "l.price_minor", kind: "bigint"},
}

func lineColumn(name string) (LineColumn, bool) {
	i := slices.IndexFunc(LineColumns, func(c LineColumn) bool { return c.Name == name })
	if i < 0 {
		return LineColumn{}, false
	}
	return LineColumns[i], true
}

// lineReady says whether a line's prop has a spec: without one nothing can be delivered, and nobody but the studio can be waited for.
// It is asked prop by prop, after what the indexes can tell; only an open milestone can lack one.
const lineReady = `(l.state <> 'open' OR coalesce((SELECT p.spec_in_force IS NOT NULL FROM ph.prop p WHERE p.studio_id = l.studio_id AND p.id = l.prop_id), false))`

// lineLate is lateNow for a line. Its first half is what the index on due_sort can use.
const lineLate = `(l.due_sort < (now() AT TIME ZONE 'UTC')::date AND l.state NOT IN ('accepted', 'cancelled') AND ` + lineReady + ` AND
	l.due_sort + ((l.blocked_secs + extract(epoch FROM coalesce(now() - l.blocked_since, interval '0')))::bigint / 86400)::int < (now() AT TIME ZONE 'UTC')::date)`

// linesOf is a filter as SQL: its condition begins with the caller's own column.
func (tx *Tx) linesOf(f LineFilter) (cond string, args []any) {
	args = []any{tx.Who.Party}
	var b strings.Builder
	b.WriteString("l.{me} = $1")
	add := func(on bool, c string, v any) {
		if on {
			args = append(args, v)
			fmt.Fprintf(&b, " AND "+c, len(args))
		}
	}
	add(f.Project != uuid.Nil, "l.project_id = $%d", f.Project)
	if f.WorkOrder != uuid.Nil {
		args = append(args, f.WorkOrder)
		b.WriteString(tx.hanging("l", "work_order", len(args)))
	}
	add(f.Vendor != uuid.Nil, "l.vendor_id = $%d", f.Vendor)
	add(f.OrderCode != "", "l.order_code = $%d", f.OrderCode)
	add(len(f.States) > 0, "l.state = ANY ($%d)", f.States)
	add(len(f.Desks) > 0, "l.state = ANY ($%d)", statesOn(f.Desks))
	add(len(f.Tiers) > 0, "l.tier = ANY ($%d)", f.Tiers)
	add(len(f.Milestones) > 0, "l.milestone = ANY ($%d)", f.Milestones)
	add(f.Text != "", "strpos(lower(l.code || ' ' || l.title), lower($%d)) > 0", f.Text)
	add(len(f.IDs) > 0, "l.prop_id = ANY ($%d)", f.IDs)
	if f.Open || f.unfinished() {
		b.WriteString(" AND l.state NOT IN ('accepted', 'cancelled')") // literally the partial indexes' condition
	}
	switch {
	case f.Late:
		b.WriteString(" AND " + lineLate)
	case f.NoSpec:
		b.WriteString(" AND l.state = 'open' AND NOT " + lineReady)
	case slices.Contains(f.Desks, DeskVendor): // what lies on the vendor's desk in truth
		b.WriteString(" AND " + lineReady)
	}
	return b.String(), args
}

// unfinished says whether only states that lead on are asked for.
func (f LineFilter) unfinished() bool {
	return (len(f.States) > 0 || len(f.Desks) > 0) && !slices.ContainsFunc(f.States, MilestoneState.Final) && !slices.Contains(f.Desks, DeskNone)
}

// columns are what an order sorts by, the prop's id last.
func (o LineOrder) columns() (list []LineColumn, down []bool, err error) {
	if o.By == "" {
		o.By = "due"
	}
	by, ok := lineColumn(o.By)
	if !ok {
		return nil, nil, invalid("sort", "is no column of the list")
	}
	id := LineColumn{Name: "id", sql: "l.prop_id", kind: "uuid"}
	if o.Group != "" && o.Group != o.By {
		g, ok := lineColumn(o.Group)
		if !ok || !g.Group {
			return nil, nil, invalid("group", "is no column that the list can be grouped by")
		}
		return []LineColumn{g, by, id}, []bool{false, o.Down, o.Down}, nil
	}
	return []LineColumn{by, id}, []bool{o.Down, o.Down}, nil
}

// beyond is the condition for what comes after the place that a cursor names. Where the directions differ, the first column
// stands apart.
func beyond(list []LineColumn, down []bool, keys []string, args []any) (string, []any, error) {
	const wrong = "is not one of ours"
	place := make([]string, len(list))
	for i, c := range list {
		switch c.kind {
		case "uuid":
			if _, err := uuid.Parse(keys[i]); err != nil {
				return "", nil, invalid("cursor", wrong)
			}
		case "date":
			if _, err := time.Parse(time.DateOnly, keys[i]); err != nil {
				return "", nil, invalid("cursor", wrong)
			}
		case "timestamptz":
			if _, err := time.Parse(time.RFC3339Nano, keys[i]); err != nil {
				return "", nil, invalid("cursor", wrong)
			}
		case "integer", "bigint":
			var n int64
			if _, err := fmt.Sscanf(keys[i], "%d", &n); err != nil {
				return "", nil, invalid("cursor", wrong)
			}
			keys[i] = fmt.Sprint(n)
		}
		args = append(args, keys[i])
		place[i] = fmt.Sprintf("$%d::text::%s", len(args), c.kind)
	}
	tuple := func(from int) string {
		var columns []string
		for _, c := range list[from:] {
			columns = append(columns, c.sql)
		}
		sign := ">"
		if down[from] {
			sign = "<"
		}
		return "(" + strings.Join(columns, ", ") + ") " + sign + " (" + strings.Join(place[from:], ", ") + ")"
	}
	if down[0] == down[len(down)-1] {
		return tuple(0), args, nil
	}
	return fmt.Sprintf("(%s > %s OR (%s = %s AND %s))", list[0].sql, place[0], list[0].sql, place[0], tuple(1)), args, nil
}

// Lines lists props in one table, sorted and filtered.
func (tx *Tx) Lines(ctx context.Context, f LineFilter, o LineOrder, p Page) (List[Line], error) {
	items, err := tx.lines(ctx, f, o, p.After, p.limit()+1)
	if err != nil {
		return List[Line]{}, err
	}
	return listOf(items, p.limit(), func(l Line) string { return cursor(l.keys...) }), nil
}

// EachLine gives fn every prop of the list in its order, for a spreadsheet, and keeps none.
func (tx *Tx) EachLine(ctx context.Context, f LineFilter, o LineOrder, fn func(Line) error) error {
	columns, down, err := o.columns()
	if err != nil {
		return err
	}
	cond, args := tx.linesOf(f)
	if err := eachRow(ctx, tx, "all_props", tx.linesQuery(cond, columns, down, ""), args, scanLine, fn); err != nil {
		return fmt.Errorf("list all props: %w", err)
	}
	return nil
}

func (tx *Tx) lines(ctx context.Context, f LineFilter, o LineOrder, after string, limit int) ([]Line, error) {
	columns, down, err := o.columns()
	if err != nil {
		return nil, err
	}
	cond, args := tx.linesOf(f)
	if after != "" {
		keys, err := Page{After: after}.keys(len(columns))
		if err != nil {
			return nil, err
		}
		var more string
		if more, args, err = beyond(columns, down, keys, args); err != nil {
			return nil, err
		}
		cond += " AND " + more
	}
	args = append(args, limit)
	rows, err := tx.Query(ctx, tx.linesQuery(cond, columns, down, fmt.Sprintf(" LIMIT $%d", len(args))), args...)
	if err != nil {
		return nil, fmt.Errorf("list props: %w", err)
	}
	items, err := pgx.CollectRows(rows, scanLine)
	if err != nil {
		return nil, fmt.Errorf("list props: %w", err)
	}
	for i, c := range columns {
		if c.kind == "timestamptz" {
			for j := range items {
				items[j].keys[i] = items[j].Since.UTC().Format(time.RFC3339Nano)
			}
		}
	}
	return items, nil
}

// linesQuery reads lines by a condition in the order of columns, cut before what is joined.
func (tx *Tx) linesQuery(cond string, columns []LineColumn, down []bool, limit string) string {
	var order, keys []string
	for i, c := range columns {
		dir := ""
		if down[i] {
			dir = " DESC"
		}
		order, keys = append(order, c.sql+dir), append(keys, "("+c.sql+")::text")
	}
	return tx.sql(`SELECT l.prop_id, l.code, l.title, l.tier, l.work_order_id, l.order_code, l.vendor_id, l.vendor_name, l.price_minor, l.currency,
		l.milestone_id, l.milestone, l.state, nullif(l.due_sort, date '9999-12-31'), l.since, l.rounds, ` + lineLate + `, l.blocked_since IS NOT NULL, d.id, coalesce(d.number, 0), NOT ` + lineReady + `,
		ARRAY[` + strings.Join(keys, ", ") + `]
		FROM (SELECT l.* FROM ph.prop_line l WHERE ` + cond + ` ORDER BY ` + strings.Join(order, ", ") + limit + `) l
		LEFT JOIN LATERAL (SELECT id, number FROM ph.delivery WHERE studio_id = l.studio_id AND milestone_id = l.milestone_id AND state <> 'abandoned' ORDER BY number DESC LIMIT 1) d ON true
		ORDER BY ` + strings.Join(order, ", "))
}

func scanLine(row pgx.CollectableRow) (l Line, err error) {
	err = row.Scan(&l.PropID, &l.Code, &l.Title, &l.Tier, &l.WorkOrder, &l.OrderCode, &l.VendorID, &l.VendorName, &l.PriceMinor, &l.Currency,
		&l.MilestoneID, &l.Milestone, &l.State, &l.Due, &l.Since, &l.Rounds, &l.Late, &l.Blocked, &l.Delivery, &l.Number, &l.NoSpec, &l.keys)
	l.Desk = l.State.Desk()
	return l, err
}

// CountedMost is where counting stops: a list of more has "over" that many.
const CountedMost = 1_000

// CountLines counts the props of a filter, up to CountedMost + 1.
func (tx *Tx) CountLines(ctx context.Context, f LineFilter) (n int, err error) {
	cond, args := tx.linesOf(f)
	err = tx.QueryRow(ctx, tx.sql(fmt.Sprintf(`SELECT count(*) FROM (SELECT FROM ph.prop_line l WHERE %s LIMIT %d) l`, cond, CountedMost+1)), args...).Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("count props: %w", err)
	}
	return n, nil
}

// GroupCounts counts the props of a filter by the values of a column that the list can be grouped by.
func (tx *Tx) GroupCounts(ctx context.Context, f LineFilter, group string) (map[string]int, error) {
	column, ok := map[string]string{"order": "l.order_code", "vendor": "l.vendor_name", "tier": "l.tier", "state": "l.state"}[group]
	if !ok {
		return nil, invalid("group", "is no column that the list can be grouped by")
	}
	cond, args := tx.linesOf(f)
	rows, err := tx.Query(ctx, tx.sql(`SELECT `+column+`, count(*)::int FROM ph.prop_line l WHERE `+cond+` GROUP BY 1 ORDER BY 1`), args...)
	if err != nil {
		return nil, fmt.Errorf("count props by %s: %w", group, err)
	}
	out, name, n := map[string]int{}, "", 0
	if _, err := pgx.ForEachRow(rows, []any{&name, &n}, func() error { out[name] = n; return nil }); err != nil {
		return nil, fmt.Errorf("count props by %s: %w", group, err)
	}
	return out, nil
}
