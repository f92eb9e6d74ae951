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

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
	minor "proofhouse/internal/money"
)

// table is a spreadsheet: one header line and a line for each row (RFC 4180).
func table(header []string, rows [][]string) (io.Reader, int64) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	_ = w.Write(header) // a bytes.Buffer takes everything
	for _, row := range rows {
		for i, cell := range row {
			row[i] = plainCell(cell)
		}
		_ = w.Write(row)
	}
	w.Flush()
	return &b, int64(b.Len())
}

// Spreadsheet is the same for a page: a header line and rows as CSV, and its length in bytes.
func Spreadsheet(header []string, rows [][]string) (io.Reader, int64) { return table(header, rows) }

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

// plainCell keeps a spreadsheet from taking somebody's title for a formula: a leading =, +, -, @ gets an apostrophe,
// unless the cell is a number.
func plainCell(s string) string {
	if s == "" || !strings.ContainsRune("=+-@\t\r", rune(s[0])) {
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
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Payable, error) { return tx.PayablesOf(ctx, f) })
	if err != nil {
		return nil, err
	}
	if or(r.Params.Format, api.Json) == api.Csv {
		rows := make([][]string, len(list))
		for i, p := range list {
			rows[i] = []string{p.At.UTC().Format(time.RFC3339), p.VendorName, p.OrderCode, p.PropCode, p.Milestone, p.Kind, minor.Decimal(p.AmountMinor, p.Currency), p.Currency, strconv.FormatInt(p.AmountMinor, 10), p.ID.String()}
		}
		body, n := table([]string{"at", "vendor", "work_order", "prop", "milestone", "kind", "amount", "currency", "amount_minor", "payable_id"}, rows)
		return api.ExportPayables200TextcsvResponse{Body: body, ContentLength: n}, nil
	}
	return api.ExportPayables200JSONResponse{Items: each(list, payableOf), Totals: totals(list)}, nil
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
