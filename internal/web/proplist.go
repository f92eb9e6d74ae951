package web

import (
	"context"
	"errors"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
	"golang.org/x/text/encoding/charmap"

	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// propListPage is where a producer orders props from a list.
type propListPage struct {
	Order    ledger.WorkOrder
	List     string
	Looked   bool // the list was looked through, and nothing ordered
	Asked    bool // it was to be ordered, and has something doubtful
	Shown    []listedProp
	Found    int
	Stages   []string // that any of the props has
	SumMinor int64
	Faults   []ledger.BadRow
	More     int // faults beyond those
	Doubts   []ledger.BadRow
	Doubtful int
	Refusal  refusal
	lines    []string // of the list, as typed
}

// listedProp is one prop as the list was understood.
type listedProp struct {
	ledger.NewProp
	Line   int
	Stages []listedStage // for each of the page's stages
}

// listedStage is one stage of it, with what it comes to.
type listedStage struct {
	Kind        string // "" where the prop has none
	ShareBP     int
	AmountMinor int64
	Due         *time.Time
	Doubt       bool
}

const (
	// listFormMax bounds the form with a list: some 5,000 rows of 80 letters, each letter escaped, and room.
	listFormMax = 2 << 20
	// listShown and faultsShown are how many of each the page shows.
	listShown   = 100
	faultsShown = 100
)

// listExample is what the field holds at first: headings and one row of the harbour's.
const listExample = "code,title,tier,price,game_mesh_share,game_mesh_due,final_share,final_due\n" +
	"fender,Tyre fender,background,180.00,60,%s,40,%s\n"

func (p *Pages) propList(c echo.Context) error {
	days := func(n int) string { return time.Now().AddDate(0, 0, n).Format(time.DateOnly) }
	list := strings.Replace(strings.Replace(listExample, "%s", days(14), 1), "%s", days(28), 1)
	return p.showPropList(c, http.StatusOK, propListPage{List: list})
}

func (p *Pages) showPropList(c echo.Context, status int, page propListPage) (err error) {
	if page.Order, err = p.orderFor(c); err != nil {
		return err
	}
	page.Faults, page.More = page.Faults[:min(len(page.Faults), faultsShown)], max(len(page.Faults)-faultsShown, 0)
	return p.render(c, status, "proplist", frame{Title: words.P("proplist.title", page.Order.Code), At: "orders"}, page)
}

// orderFor is the order that a producer adds to.
func (p *Pages) orderFor(c echo.Context) (o ledger.WorkOrder, err error) {
	if err := producer(c); err != nil {
		return o, err
	}
	id, err := idOf(c)
	if err != nil {
		return o, err
	}
	return as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.WorkOrder, error) { return tx.WorkOrder(ctx, id) })
}

// readList reads the form. A file takes the place of what stands in the field, and becomes part of what the form says.
func readList(c echo.Context) (string, error) {
	r := c.Request()
	r.Body = http.MaxBytesReader(c.Response(), r.Body, listFormMax)
	if err := r.ParseMultipartForm(listFormMax); err != nil && !errors.Is(err, http.ErrNotMultipart) {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return "", echo.ErrStatusRequestEntityTooLarge
		}
		return "", echo.ErrBadRequest
	}
	if r.MultipartForm != nil {
		defer func() { _ = r.MultipartForm.RemoveAll() }()
	}
	cleanForm(r.PostForm)
	if file, _, err := r.FormFile("file"); err == nil {
		defer file.Close()
		data, err := io.ReadAll(file)
		if err != nil {
			return "", echo.ErrBadRequest
		}
		if len(data) > 0 {
			r.PostForm.Set("list", strings.ReplaceAll(strings.ReplaceAll(textOf(data), "\r\n", "\n"), "\x00", ""))
		}
	}
	return field(c, "list"), nil
}

// textOf reads a spreadsheet's text: UTF-8, or what older ones write in western Europe, Windows-1252.
func textOf(data []byte) string {
	if !utf8.Valid(data) {
		if text, err := charmap.Windows1252.NewDecoder().Bytes(data); err == nil {
			return string(text)
		}
	}
	return strings.ToValidUTF8(string(data), "\ufffd")
}

// orderProps looks a list through, or orders what it holds: all of it or nothing. What is doubtful is asked about first.
func (p *Pages) orderProps(c echo.Context) error {
	text, err := readList(c)
	if err != nil {
		return err
	}
	page := propListPage{List: text, lines: strings.Split(text, "\n")}
	order, err := p.orderFor(c)
	if err != nil {
		return err
	}
	list := ledger.ReadPropList(strings.NewReader(page.List), order.Currency)
	page.understand(list, time.Now().In(p.reader(c).Zone))
	do := field(c, "do")
	page.Asked = do == "order" && page.Doubtful > 0 && len(list.Faults) == 0
	dry := do != "anyway" && (do != "order" || page.Asked)
	page.Looked = dry
	run := func(ctx context.Context, tx *ledger.Tx) (none struct{}, _ uuid.UUID, err error) {
		_, page.Faults, err = tx.ImportProps(ctx, order.ID, list, dry)
		if err == nil && !dry && len(page.Faults) > 0 {
			err = &ledger.Invalid{Field: "list", Why: "was not taken: nothing is ordered before every row is right"}
		}
		return none, order.ID, err
	}
	if dry {
		_, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (struct{}, error) {
			none, _, err := run(ctx, tx)
			return none, err
		})
	} else {
		_, _, err = act(c, p, "prop_import", run)
	}
	switch {
	case err != nil && refused(err):
		page.Refusal = p.refuse(c, "list", err)
		return p.showPropList(c, page.Refusal.Status, page)
	case err != nil:
		return err
	case page.Asked && len(page.Faults) == 0:
		return p.showPropList(c, http.StatusUnprocessableEntity, page)
	case dry:
		return p.showPropList(c, http.StatusOK, page)
	}
	return c.Redirect(http.StatusSeeOther, "/orders/"+order.ID.String())
}

// understand makes of a list what the page shows of it.
func (page *propListPage) understand(list ledger.PropList, now time.Time) {
	today := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.UTC)
	doubts := list.Doubts(today)
	page.Found, page.Doubtful, page.Doubts = len(list.Props), len(doubts), doubts[:min(len(doubts), faultsShown)]
	for _, p := range list.Props {
		page.SumMinor += p.PriceMinor
		for _, m := range p.Milestones {
			if !slices.Contains(page.Stages, m.Kind) {
				page.Stages = append(page.Stages, m.Kind)
			}
		}
	}
	names := ledger.ListHeadings() // the stages in the order of the work
	slices.SortFunc(page.Stages, func(a, b string) int {
		return slices.Index(names, a+"_share") - slices.Index(names, b+"_share")
	})
	for i, p := range list.Props[:min(len(list.Props), listShown)] {
		one := listedProp{NewProp: p, Line: list.Lines[i], Stages: make([]listedStage, len(page.Stages))}
		for j, amount := range p.Amounts() {
			m := p.Milestones[j]
			one.Stages[slices.Index(page.Stages, m.Kind)] = listedStage{m.Kind, m.ShareBP, amount, m.Due, slices.ContainsFunc(doubts, func(d ledger.BadRow) bool {
				return d.Line == one.Line && d.Column == m.Kind+"_due"
			})}
		}
		page.Shown = append(page.Shown, one)
	}
}

// Line is a line of the list as it was typed, for the fault that is told of it; "" where there is none.
func (page propListPage) Line(n int) string {
	if n < 1 || n > len(page.lines) {
		return ""
	}
	return shortened(page.lines[n-1], 120)
}
