package ledger

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"proofhouse/internal/money"
)

// BadRow is one thing that is wrong in a list of props.
type BadRow struct {
	Line   int    // of the file, from 1; 0: the file as a whole
	Column string // its heading, "" for the whole row
	Why    string
}

// PropList is a list of props as read from a spreadsheet: the rows that can be ordered, and every fault of the others.
type PropList struct {
	Props  []NewProp
	Lines  []int // of Props
	Faults []BadRow
}

const (
	listMaxRows   = 5000
	listMaxFaults = 1000
)

// milestoneOrder is the order in which a prop's stages follow each other.
var milestoneOrder = []string{"block_out", "sculpt", "game_mesh", "maps", "final"}

// ReadPropList reads a list of props from CSV (RFC 4180, a comma, a semicolon or a tab between cells, UTF-8 with or without a
// byte order mark). The first line holds headings, in any order: code, title, tier, price in the order's currency; kind, kit,
// pilot where wanted; and for each stage <stage>_share in percent and <stage>_due as a day. It reads on after a fault, so
// that one look shows all of them.
func ReadPropList(r io.Reader, currency string) PropList {
	var list PropList
	text, err := io.ReadAll(r)
	if err != nil {
		list.fault(0, "", "cannot be read: "+err.Error())
		return list
	}
	doc := strings.TrimPrefix(string(text), "\uFEFF")
	in := csv.NewReader(strings.NewReader(doc))
	in.FieldsPerRecord, in.TrimLeadingSpace = -1, true
	first, _, _ := strings.Cut(doc, "\n")
	for _, sign := range ";\t" {
		if strings.Count(first, string(sign)) > strings.Count(first, string(in.Comma)) {
			in.Comma = sign
		}
	}
	heads, err := in.Read()
	if err != nil {
		list.fault(1, "", "has no line of headings")
		return list
	}
	columns, known := list.headings(heads)
	if len(columns) == 0 {
		return list
	}
	seen := map[string]int{}
	for {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			return list
		}
		var bad *csv.ParseError
		if errors.As(err, &bad) {
			if errors.Is(bad.Err, csv.ErrBareQuote) {
				list.fault(bad.Line, "", "has a quotation mark within a cell that begins with none")
			} else {
				list.fault(bad.Line, "", "has a quotation mark that is not closed, or a text behind it")
			}
			if len(list.Faults) >= listMaxFaults {
				return list
			}
			continue
		}
		line, _ := in.FieldPos(0)
		if strings.TrimSpace(strings.Join(cells, "")) == "" {
			continue
		}
		if len(list.Props) >= listMaxRows || len(list.Faults) >= listMaxFaults {
			list.fault(line, "", fmt.Sprintf("the list goes on beyond %d props or %d faults: cut it", listMaxRows, listMaxFaults))
			return list
		}
		row := propRow{list: &list, line: line, cells: cells, heads: len(heads), columns: columns, known: known, currency: currency}
		p, ok := row.prop()
		if before := seen[p.Code]; p.Code != "" && before > 0 {
			list.fault(line, "code", fmt.Sprintf("%q stands in line %d already", p.Code, before))
			ok = false
		}
		seen[p.Code] = line
		if ok {
			list.Props, list.Lines = append(list.Props, p), append(list.Lines, line)
		}
	}
}

func (l *PropList) fault(line int, column, why string) {
	l.Faults = append(l.Faults, BadRow{line, column, why})
}

// ListHeadings are the headings that a list of props may have; the first four it must.
func ListHeadings() []string {
	names := []string{"code", "title", "tier", "price", "kind", "kit", "pilot"}
	for _, m := range milestoneOrder {
		names = append(names, m+"_share", m+"_due")
	}
	return names
}

// headings says where each column is, and whether every heading is one of a list. Rows are read on by those that are.
func (l *PropList) headings(heads []string) (columns map[string]int, known bool) {
	names := ListHeadings()
	columns = map[string]int{}
	var strange []string
	for i, h := range heads {
		h = strings.ToLower(strings.TrimSpace(h))
		switch _, twice := columns[h]; {
		case !slices.Contains(names, h):
			strange = append(strange, fmt.Sprintf("%q", h))
		case twice:
			l.fault(1, h, "stands there twice")
		default:
			columns[h] = i
		}
	}
	if len(strange) > 0 {
		l.fault(1, "", fmt.Sprintf("has headings that are none of a list of props: %s. They are %s", strings.Join(strange, ", "), strings.Join(names, ", ")))
	}
	for _, h := range names[:4] {
		if _, has := columns[h]; !has {
			l.fault(1, h, "is missing")
		}
	}
	return columns, len(strange) == 0
}

// propRow is one line being read.
type propRow struct {
	list     *PropList
	line     int
	cells    []string
	heads    int
	columns  map[string]int
	known    bool // every heading is: what a row lacks, it lacks for no other reason
	currency string
	bad      bool
}

func (r *propRow) cell(column string) string {
	i, has := r.columns[column]
	if !has || i >= len(r.cells) {
		return ""
	}
	return strings.TrimSpace(r.cells[i])
}

func (r *propRow) fault(column, why string) {
	r.bad = true
	r.list.fault(r.line, column, why)
}

func (r *propRow) prop() (NewProp, bool) {
	p := NewProp{Code: r.cell("code"), Title: r.cell("title"), Tier: r.cell("tier"), Kind: r.cell("kind"), Kit: r.cell("kit")}
	if p.Kind == "" {
		p.Kind = "prop"
	}
	if len(r.cells) > r.heads {
		r.fault("", fmt.Sprintf("has %d cells for %d headings", len(r.cells), r.heads))
	}
	if _, has := r.columns["price"]; has {
		var err error
		if p.PriceMinor, err = MinorUnits(r.cell("price"), r.currency); err != nil {
			r.fault("price", err.Error())
		}
	}
	switch v := strings.ToLower(r.cell("pilot")); v {
	case "", "no", "false", "0":
	case "yes", "true", "1":
		p.Pilot = true
	default:
		r.fault("pilot", "is not yes or no")
	}
	for _, kind := range milestoneOrder {
		r.milestone(&p, kind)
	}
	if len(p.Milestones) == 1 && p.Milestones[0].ShareBP == 0 {
		p.Milestones[0].ShareBP = 10000
	}
	shares := r.bad && slices.ContainsFunc(r.list.Faults, func(f BadRow) bool { return f.Line == r.line && strings.HasSuffix(f.Column, "_share") })
	for _, f := range p.Faults() {
		_, has := r.columns[f.Field]
		switch {
		case f.Field == "milestones" && (shares || !r.known):
			// follows from what is said already
		case f.Field == "milestones" && len(p.Milestones) > 0:
			r.fault("", fmt.Sprintf("has shares of %s %% together, not 100 %%", percent(p.Milestones)))
		case f.Field == "milestones":
			r.fault("", "names no stage: a share or a day under one of them at least")
		case has || r.known && !slices.Contains(ListHeadings()[:4], f.Field):
			r.fault(f.Field, f.Why)
		}
	}
	return p, !r.bad && r.known
}

// percent is what shares are together.
func percent(milestones []NewMilestone) string {
	sum := 0
	for _, m := range milestones {
		sum += m.ShareBP
	}
	return strconv.FormatFloat(float64(sum)/100, 'f', -1, 64)
}

// milestone adds a stage where the row says its share or its day.
func (r *propRow) milestone(p *NewProp, kind string) {
	share, due := r.cell(kind+"_share"), r.cell(kind+"_due")
	if share == "" && due == "" {
		return
	}
	m := NewMilestone{Kind: kind}
	if share != "" {
		percent, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(share, "%")), 64)
		bp := math.Round(percent * 100)
		if err != nil || bp < 0 || bp > 10000 || math.Abs(percent*100-bp) > 1e-6 {
			r.fault(kind+"_share", "is not a share in percent with at most two decimals")
			bp = 0
		}
		m.ShareBP = int(bp)
	}
	if due != "" {
		day, err := time.Parse(time.DateOnly, due)
		if err != nil {
			r.fault(kind+"_due", "is not a day as 2026-11-30")
		}
		m.Due = &day
	}
	p.Milestones = append(p.Milestones, m)
}

// MinorUnits reads an amount such as 420.50 in a currency's minor units. A comma counts as the decimal sign where it is
// the only sign; thousands are not grouped.
func MinorUnits(s, currency string) (int64, error) {
	digits := money.Digits(currency)
	if strings.Count(s, ",") == 1 && !strings.Contains(s, ".") {
		s = strings.Replace(s, ",", ".", 1)
	}
	whole, part, _ := strings.Cut(s, ".")
	if len(part) > digits {
		return 0, fmt.Errorf("has more than the %d decimals of %s", digits, currency)
	}
	n, err := strconv.ParseUint(whole+part+strings.Repeat("0", digits-len(part)), 10, 62)
	if err != nil || whole == "" {
		return 0, fmt.Errorf("is not an amount such as 420%s", map[bool]string{true: "", false: "." + strings.Repeat("5", digits)}[digits == 0])
	}
	if n > priceMax {
		return 0, fmt.Errorf("is over %d minor units", int64(priceMax))
	}
	return int64(n), nil
}

// ReadProp reads one prop from cells by the names of a list's headings, by the rules of a row. Its faults have no line.
func ReadProp(cells map[string]string, currency string) PropList {
	names := ListHeadings()
	columns, row := map[string]int{}, make([]string, len(names))
	for i, name := range names {
		columns[name], row[i] = i, cells[name]
	}
	var list PropList
	r := propRow{list: &list, cells: row, heads: len(row), columns: columns, known: true, currency: currency}
	if p, ok := r.prop(); ok {
		list.Props, list.Lines = []NewProp{p}, []int{0}
	}
	return list
}

// Doubts are what may be ordered so and seldom is meant: days that are over by today, and a stage that is due before the one
// that it builds on.
func (l PropList) Doubts(today time.Time) (doubts []BadRow) {
	for i, p := range l.Props {
		var before *NewMilestone
		for _, m := range p.Milestones {
			if m.Due == nil {
				continue
			}
			column := m.Kind + "_due"
			if m.Due.Before(today) {
				doubts = append(doubts, BadRow{l.Lines[i], column, fmt.Sprintf("is over already (%s): the prop would be late at once", m.Due.Format(time.DateOnly))})
			}
			if before != nil && m.Due.Before(*before.Due) {
				doubts = append(doubts, BadRow{l.Lines[i], column, fmt.Sprintf("is %s, before %s is due (%s)", m.Due.Format(time.DateOnly), before.Kind, before.Due.Format(time.DateOnly))})
			}
			before = &m
		}
	}
	return doubts
}

// ImportProps orders every prop of a list in one transaction, or none: also codes that the order has already are faults of
// their rows. With dry nothing is ordered. Props are ordered in the order of the list.
func (tx *Tx) ImportProps(ctx context.Context, order uuid.UUID, list PropList, dry bool) ([]Prop, []BadRow, error) {
	if err := tx.allow("ordering props", StudioSide, Producer); err != nil {
		return nil, nil, err
	}
	faults := list.Faults
	codes := make([]string, len(list.Props))
	for i, p := range list.Props {
		codes[i] = p.Code
	}
	rows, err := tx.Query(ctx, `SELECT code FROM ph.prop WHERE studio_id = $1 AND work_order_id = $2 AND code = ANY ($3)`, tx.Who.Party, order, codes)
	if err != nil {
		return nil, nil, fmt.Errorf("codes of work order %s: %w", order, err)
	}
	defer rows.Close()
	for rows.Next() {
		var code string
		if err := rows.Scan(&code); err != nil {
			return nil, nil, fmt.Errorf("codes of work order %s: %w", order, err)
		}
		faults = append(faults, BadRow{list.Lines[slices.Index(codes, code)], "code", fmt.Sprintf("the order has a prop %q already", code)})
	}
	if err := rows.Err(); err != nil {
		return nil, nil, fmt.Errorf("codes of work order %s: %w", order, err)
	}
	slices.SortStableFunc(faults, func(a, b BadRow) int { return a.Line - b.Line })
	if dry || len(faults) > 0 || len(list.Props) == 0 {
		return nil, faults, nil
	}
	props := make([]Prop, 0, len(list.Props))
	for i, p := range list.Props {
		p.WorkOrder = order
		made, err := tx.CreateProp(ctx, p)
		if err != nil {
			return nil, nil, fmt.Errorf("line %d: %w", list.Lines[i], err)
		}
		props = append(props, made)
	}
	return props, nil, nil
}
