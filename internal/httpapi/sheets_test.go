package httpapi_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// formulas are what OWASP's page "CSV Injection" warns of: each would be worked out by a spreadsheet.
var formulas = []string{`=HYPERLINK("http://x.example","y")`, "+1+cmd|' /C calc'!A0", "-2+3", "@SUM(1,2)", "＝1+1"}

// TestEveryListIsATable walks every list of the description as four callers: refused as a table where it is refused as JSON, else
// with the same rows, cell by cell. PostgreSQL's COPY reads the tables too.
func TestEveryListIsATable(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	lead, producer := w.people["vendor lead"], w.people["producer"]
	for i, f := range formulas {
		producer.ok("POST", "/v1/projects", map[string]any{"code": fmt.Sprint("F", i), "title": f})
		lead.ok("POST", "/v1/deliveries/"+w.ids["delivery_id"]+"/notes", map[string]any{"text": f + ",\"two\"\nlines"})
	}
	lists, empty, cells := 0, map[string]bool{}, 0
	orders := w.fill(t)
	w.people["first"] = w.s.logIn("ines@harbour.example") // whose decision waits
	outside := newCopier(t, w.s.db.AdminURL())
	for _, o := range operations(t) {
		ok := o.op.Responses.Value("200")
		if o.method != "GET" || ok == nil {
			continue
		}
		answer := ok.Value.Content["application/json"]
		if answer == nil || answer.Schema.Value.Properties["items"] == nil {
			continue
		}
		require.NotNil(t, ok.Value.Content["text/csv"], "%s is a list and no table", o.id)
		require.NotNil(t, o.op.Parameters.GetByInAndName("query", "format"), o.id)
		if o.id == "exportPayables" || o.id == "getPlan" { // tables of their own making, held by the story of a contract
			continue
		}
		lists++
		empty[o.id] = true
		for _, ids := range orders {
			w.ids["work_order_id"], w.ids["prop_id"] = ids[0], ids[1]
			for _, caller := range []string{"first", "technical artist", "vendor lead", "other vendor"} {
				rows, sheet := w.bothWays(t, o, w.people[caller])
				if sheet == nil {
					continue
				}
				table := linesOf(t, sheet)
				require.Len(t, table, len(rows)+1, "%s for %s", o.id, caller)
				for i, row := range rows {
					require.Equal(t, flat(t, table[0], row), table[i+1], "%s for %s, row %d", o.id, caller, i)
					everyLeafHasAColumn(t, table[0], "", row)
					delete(empty, o.id)
					cells += len(table[0])
				}
				outside.readsTheSame(t, sheet, table)
			}
			if !strings.Contains(o.path, "{work_order_id}") && !strings.Contains(o.path, "{prop_id}") {
				break // the same list again
			}
		}
	}
	t.Logf("%d lists, %d cells", lists, cells)
	require.Equal(t, 44, lists)
	require.Empty(t, empty)
}

// fill makes what the world has none of, and returns its orders, each with a prop: so every list has rows somewhere.
func (w *world) fill(t *testing.T) (orders [][2]string) {
	t.Helper()
	lead, producer, director := w.people["vendor lead"], w.people["producer"], w.people["art director"]
	lead.ok("POST", "/v1/capacity", map[string]any{"week": "2030-01-07", "slots": 4})
	lead.ok("POST", "/v1/props/"+w.c.prop+"/origins", map[string]any{"items": []any{map[string]any{"kind": "scan", "what": "a rusted chain", "licence": "CC0 1.0"}}, "statement": "All else is our own work."})
	lead.ok("POST", "/v1/webhooks/"+w.ids["webhook_id"]+"/ping", nil)
	producer.ok("POST", "/v1/deputies", map[string]any{"role": "art_director", "member_id": w.ids["deputy"], "from": "2030-01-01", "until": "2030-02-01"})
	producer.ok("POST", "/v1/calendars", map[string]any{"time_zone": "Europe/Oslo", "workdays": []int{1, 2, 3, 4, 5}, "holidays": []string{}})
	producer.ok("POST", "/v1/work-orders/"+w.c.order+"/calendars", map[string]any{"calendar_id": nil})
	producer.ok("POST", "/v1/quotas", map[string]any{"work_order_id": w.c.order, "bytes": 2_000_000_000_000})
	producer.ok("POST", "/v1/saved-notes", map[string]any{"text": "Darker, please."})
	director.ok("POST", "/v1/saved-views", map[string]any{"name": "late", "query": "late=yes"})
	director.ok("POST", "/v1/inspections/"+w.ids["inspection_id"]+"/concessions", map[string]any{"ord": 1, "reason": "never seen from below"})
	orders = [][2]string{{w.c.order, w.c.prop}}
	for _, code := range []string{"AFTER", "W_lantern_z"} {
		list := producer.ok("GET", "/v1/work-orders", nil)
		for i := 0; ; i++ {
			at := fmt.Sprintf("items.%d.", i)
			if list.get(t, at+"code") == code {
				order := list.get(t, at+"id")
				orders = append(orders, [2]string{order, producer.ok("GET", "/v1/work-orders/"+order+"/props", nil).get(t, "items.0.id")})
				break
			}
		}
	}
	jar := producer.ok("POST", "/v1/work-orders/"+orders[1][0]+"/props", map[string]any{"code": "jar", "title": "Jar", "tier": "mid", "price": map[string]any{"amount_minor": 900, "currency": "EUR"},
		"milestones": []any{map[string]any{"kind": "final"}}}).get(t, "id")
	lead.ok("POST", "/v1/props/"+jar+"/sets", map[string]any{"set_id": orders[1][1]})
	producer.ok("POST", "/v1/payment-holds/"+w.ids["payment_hold_id"]+"/release", map[string]any{"reason": "They came by post."})
	w.people["technical artist"].ok("POST", "/v1/deliveries/"+w.ids["delivery_id"]+"/sign-offs", map[string]any{"decision": "return", "reason": "it leans"})
	tell(t, w.s.post())
	return append(orders, [2]string{orders[1][0], jar})
}

// bothWays gets a list as JSON, page by page in small pages, and as one table. What changes while one looks (seconds that pass,
// links of minutes) is looked at until it stood still.
func (w *world) bothWays(t *testing.T, o operation, p *person) (rows []any, table []byte) {
	t.Helper()
	address := w.address(o, false)
	with := func(more string) string {
		if strings.Contains(address, "?") {
			return address + "&" + more
		}
		return address + "?" + more
	}
	for range 50 {
		before := p.pages(t, o, with)
		sheet := p.do("GET", with("format=csv"), nil)
		after := p.pages(t, o, with)
		if sheet.status != 200 {
			require.Equal(t, sheet.status, p.do("GET", address, nil).status, o.id)
			require.Equal(t, "application/problem+json", sheet.header.Get("Content-Type"))
			return nil, nil
		}
		if !slices.EqualFunc(before, after, func(a, b any) bool { return fmt.Sprint(a) == fmt.Sprint(b) }) {
			continue
		}
		require.Equal(t, "text/csv; charset=utf-8; header=present", sheet.header.Get("Content-Type"), o.id)
		require.Contains(t, sheet.header.Get("Content-Disposition"), ".csv", o.id)
		require.True(t, bytes.HasSuffix(sheet.body, []byte("\r\n")), "RFC 4180: every record ends in CRLF")
		return before, sheet.body
	}
	require.Fail(t, "the list does not stand still", o.id)
	return nil, nil
}

// pages reads a list to its end as JSON, two rows at a time where it has pages.
func (p *person) pages(t *testing.T, o operation, with func(string) string) (all []any) {
	t.Helper()
	query := url.Values{}
	if o.op.Parameters.GetByInAndName("query", "limit") != nil && o.op.Parameters.GetByInAndName("query", "after") != nil {
		query.Set("limit", "2")
	}
	for {
		a := p.do("GET", with(query.Encode()), nil)
		if a.status != 200 {
			return nil
		}
		var page struct {
			Items  []any
			Next   *string
			Cursor *json.Number
		}
		d := json.NewDecoder(bytes.NewReader(a.body))
		d.UseNumber()
		require.NoError(t, d.Decode(&page))
		all = append(all, page.Items...)
		switch {
		case page.Next != nil:
			query.Set("after", *page.Next)
		case page.Cursor != nil && len(page.Items) > 0:
			query.Set("after", page.Cursor.String())
		default:
			return all
		}
	}
}

// flat is a row as the description says that a table has it, made here a second time.
func flat(t *testing.T, header []string, row any) []string {
	t.Helper()
	line := make([]string, len(header))
	for i, name := range header {
		v := row
		for key := range strings.SplitSeq(name, ".") {
			object, _ := v.(map[string]any)
			v = object[key]
		}
		switch v := v.(type) {
		case nil:
		case string:
			line[i] = v
			if slices.ContainsFunc(formulas, func(f string) bool { return strings.HasPrefix(v, f) }) {
				line[i] = "'" + v
			}
		case []any, map[string]any:
			b, err := json.Marshal(v)
			require.NoError(t, err)
			line[i] = string(b)
		default:
			line[i] = fmt.Sprint(v)
		}
	}
	return line
}

// everyLeafHasAColumn: nothing of a row is left out.
func everyLeafHasAColumn(t *testing.T, header []string, at string, v any) {
	t.Helper()
	object, is := v.(map[string]any)
	if !is || slices.Contains(header, at) {
		if v != nil {
			require.Contains(t, header, at)
		}
		return
	}
	for key, inner := range object {
		everyLeafHasAColumn(t, header, strings.TrimPrefix(at+"."+key, "."), inner)
	}
}

// copier reads tables by PostgreSQL's COPY, whose reader of CSV is not ours.
type copier struct{ conn *pgx.Conn }

func newCopier(t *testing.T, database string) copier {
	conn, err := pgx.Connect(t.Context(), database)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close(t.Context()) })
	return copier{conn}
}

func (c copier) readsTheSame(t *testing.T, sheet []byte, table [][]string) {
	t.Helper()
	columns := make([]string, len(table[0]))
	for i := range columns {
		columns[i] = fmt.Sprintf("c%d text", i)
	}
	_, err := c.conn.Exec(t.Context(), "DROP TABLE IF EXISTS pg_temp.sheet; CREATE TEMP TABLE sheet (line serial, "+strings.Join(columns, ", ")+")")
	require.NoError(t, err)
	names := strings.ReplaceAll(strings.Join(columns, ", "), " text", "")
	_, err = c.conn.PgConn().CopyFrom(t.Context(), bytes.NewReader(sheet), "COPY pg_temp.sheet ("+names+`) FROM STDIN (FORMAT csv, HEADER true, NULL '\N')`)
	require.NoError(t, err)
	rows, err := c.conn.Query(t.Context(), "SELECT ARRAY["+names+"] FROM pg_temp.sheet ORDER BY line")
	require.NoError(t, err)
	read, err := pgx.CollectRows(rows, pgx.RowTo[[]string])
	require.NoError(t, err)
	require.Equal(t, len(table)-1, len(read))
	for i, line := range read {
		require.Equal(t, table[i+1], line)
	}
}

// TestTablesHaveAllOrWhatWasAskedFor: without limit every page, with it so many and a link to the rest.
func TestTablesHaveAllOrWhatWasAskedFor(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane Salvage Models", "ole@krane.example")
	c := studio.contract(vendor, "rope_a")
	var sheet strings.Builder
	sheet.WriteString("code,title,tier,price,final_share\n")
	const props = 230 // more than one page of 200
	for i := 1; i < props; i++ {
		fmt.Fprintf(&sheet, "rope_%03d,Rope,mid,10.00,100\n", i)
	}
	studio.ok("POST", "/v1/work-orders/"+c.order+"/props/import", csvText(sheet.String()))
	at := "/v1/work-orders/" + c.order + "/props"
	require.Len(t, linesOf(t, studio.ok("GET", at+"?format=csv", nil).body), 1+props)
	facts := linesOf(t, studio.ok("GET", "/v1/logs/"+c.order+"/events?format=csv", nil).body)
	require.Greater(t, len(facts), props, "a log's events go on by a number")
	require.Equal(t, fmt.Sprint(len(facts)-2), facts[len(facts)-1][0], "the last index")

	seen, pages := map[string]bool{}, 0
	for next := at + "?format=csv&limit=100"; next != ""; pages++ {
		a := studio.ok("GET", next, nil)
		for _, line := range linesOf(t, a.body)[1:] {
			require.False(t, seen[line[0]])
			seen[line[0]] = true
		}
		next, _, _ = strings.Cut(strings.TrimPrefix(a.header.Get("Link"), "<"), ">")
	}
	require.Equal(t, 3, pages)
	require.Len(t, seen, props)
	require.Equal(t, 400, studio.do("GET", at+"?format=xls", nil).status)
}

func linesOf(t *testing.T, sheet []byte) [][]string {
	t.Helper()
	lines, err := csv.NewReader(bytes.NewReader(sheet)).ReadAll()
	require.NoError(t, err)
	return lines
}
