package httpapi

import (
	"bytes"
	"context"
	"encoding/csv"
	"io"
	"mime"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
	minor "proofhouse/internal/money"
)

// records writes lines as RFC 4180 has them, ended by CRLF. encoding/csv, told to end lines so, would change the line ends within
// cells too.
type records struct {
	out  io.Writer
	line bytes.Buffer
	csv  *csv.Writer
}

func recordsTo(out io.Writer) *records {
	r := &records{out: out}
	r.csv = csv.NewWriter(&r.line)
	return r
}

func (r *records) write(cells []string) error {
	r.line.Reset()
	_ = r.csv.Write(cells) // a bytes.Buffer takes everything
	r.csv.Flush()
	r.line.Truncate(r.line.Len() - 1)
	r.line.WriteString("\r\n")
	_, err := r.out.Write(r.line.Bytes())
	return err
}

// table is a spreadsheet: one header line and a line for each row (RFC 4180).
func table(header []string, rows [][]string) (io.Reader, int64) {
	var b bytes.Buffer
	w := recordsTo(&b)
	_ = w.write(header) // a bytes.Buffer takes everything
	for _, row := range rows {
		for i, cell := range row {
			row[i] = plainCell(cell)
		}
		_ = w.write(row)
	}
	return &b, int64(b.Len())
}

// asFile gives a spreadsheet a name of its own, or a browser saves "export" without an ending.
func asFile(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		c.Response().Before(func() {
			h := c.Response().Header()
			if strings.HasPrefix(h.Get(echo.HeaderContentType), "text/csv") && h.Get(echo.HeaderContentDisposition) == "" {
				name := path.Base(strings.TrimSuffix(c.Request().URL.Path, "/export"))
				h.Set(echo.HeaderContentDisposition, mime.FormatMediaType("attachment", map[string]string{"filename": name + ".csv"}))
			}
		})
		return next(c)
	}
}

// plainCell keeps a spreadsheet from taking somebody's title for a formula: text that begins with what OWASP's "CSV Injection"
// lists (=, +, -, @, a tab, a line's end, and the wide forms of the four) gets an apostrophe, unless the cell is a number.
func plainCell(s string) string {
	if first, _ := utf8.DecodeRuneInString(s); s == "" || !strings.ContainsRune("=+-@\t\r\n＝＋－＠", first) {
		return s
	}
	if _, err := strconv.ParseFloat(s, 64); err == nil {
		return s
	}
	return "'" + s
}

func (h *handlers) ExportPayables(ctx context.Context, r api.ExportPayablesRequestObject) (api.ExportPayablesResponseObject, error) {
	f := ledger.PayableFilter{Vendor: or(r.Params.VendorId, uuid.Nil)}
	if r.Params.From != nil {
		f.From = r.Params.From.Time
	}
	if r.Params.To != nil {
		f.To = r.Params.To.Time
	}
	if or(r.Params.Format, api.Json) == api.Csv {
		table, err := h.longTable(ctx, []string{"at", "vendor", "work_order", "prop", "milestone", "kind", "amount", "currency", "amount_minor", "payable_id"}, h.payableRows(f))
		if err != nil {
			return nil, err
		}
		return api.ExportPayables200TextcsvResponse{Body: table}, nil
	}
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Payable, error) { return tx.PayablesOf(ctx, f) })
	if err != nil {
		return nil, err
	}
	return api.ExportPayables200JSONResponse{Items: each(list, payableOf), Totals: totals(list)}, nil
}

// payableRows are the rows of everything released in a period.
func (h *handlers) payableRows(f ledger.PayableFilter) Rows {
	return func(ctx context.Context, row func([]string) error) error {
		who, ok := Caller(ctx)
		if !ok {
			return problem(kindUnauthorized, "This needs a session or a token.")
		}
		return h.store.ReadingOnce(ctx, who, func(tx *ledger.Tx) error {
			return tx.EachPayable(ctx, f, func(p ledger.Payable) error {
				return row([]string{p.At.UTC().Format(time.RFC3339), p.VendorName, p.OrderCode, p.PropCode, p.Milestone, p.Kind, minor.Decimal(p.AmountMinor, p.Currency), p.Currency, strconv.FormatInt(p.AmountMinor, 10), p.ID.String()})
			})
		})
	}
}

// totals sums by currency: amounts of two currencies have no sum.
func totals(list []ledger.Payable) []api.Money {
	sums := map[string]int64{}
	for _, p := range list {
		sums[p.Currency] += p.AmountMinor
	}
	out := make([]api.Money, 0, len(sums))
	for c, n := range sums {
		out = append(out, money(n, c))
	}
	slices.SortFunc(out, func(a, b api.Money) int { return strings.Compare(a.Currency, b.Currency) })
	return out
}
