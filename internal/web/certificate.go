package web

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
	"rsc.io/qr"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// paper is a page to print: the certificate of an accepted delivery, or the report of what an inspection found.
type paper struct {
	deliveryPage
	Certificate bool
	Spec        ledger.SpecHead
	Decision    *ledger.SignOff // the newest, nil before the first
	Receipts    []receiptLine
	Checkpoint  string // the newest signed note that covers one of them
	NotRead     []acceptance.Input
	Unable      []group // checks that could not be made, whether they count or not
	Tally       []tallied
	Address     string // where the record is that the paper is a copy of
	QR          template.HTML
	Now         time.Time
}

// receiptLine is where one fact stands in the order's log.
type receiptLine struct {
	Kind    string
	Receipt ledger.Receipt
	URL     string
}

// tallied is how many findings came out one way.
type tallied struct {
	Outcome string
	N       int
}

// certificate shows what was accepted, by whom, and how to verify it.
func (p *Pages) certificate(c echo.Context) error { return p.paper(c, true) }

// issueReport shows what an inspection found, to hand to whoever mends it.
func (p *Pages) issueReport(c echo.Context) error { return p.paper(c, false) }

func (p *Pages) paper(c echo.Context, certificate bool) error {
	base, err := p.loadDelivery(c)
	if err != nil {
		return err
	}
	page := paper{deliveryPage: base, Certificate: certificate, Now: time.Now()}
	name := "issues"
	if len(page.SignOffs) > 0 { // newest first
		page.Decision = &page.SignOffs[0]
	}
	switch {
	case certificate && (page.Decision == nil || page.Decision.Decision == ledger.Return):
		return fmt.Errorf("%w: the delivery is not accepted, so there is no certificate of it", ledger.ErrState)
	case page.Counting() == nil:
		return fmt.Errorf("%w: no inspection of the delivery is done yet", ledger.ErrState)
	case certificate:
		name = "certificate"
	}
	if err := p.loadProof(c, &page); err != nil {
		return err
	}
	page.weigh()
	page.Address = p.server.PublicURL() + "/deliveries/" + page.Delivery.ID.String() + "/" + name
	if page.QR, err = qrCode(page.Address); err != nil {
		return err
	}
	title := words.P("paper.title_"+name, page.Prop.Title, words.Term("milestone."+page.Delivery.MilestoneKind), words.Name(fmt.Sprint(page.Delivery.Number)))
	return p.render(c, http.StatusOK, "paper", frame{Title: title, At: "work"}, page)
}

// loadProof reads the spec that the inspection judged by and where the facts stand in the log.
func (p *Pages) loadProof(c echo.Context, page *paper) error {
	type fact struct {
		kind string
		id   uuid.UUID
	}
	facts := []fact{{ledger.FactDeliverySealed, page.Delivery.ID}, {ledger.FactInspectionRecorded, page.Inspection.ID}}
	if page.Decision != nil {
		facts = append(facts, fact{ledger.FactSignedOff, page.Decision.ID})
	}
	_, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		rev, err := tx.SpecRevision(ctx, page.Inspection.SpecRevision)
		if err != nil {
			return none, err
		}
		page.Spec = rev.SpecHead
		for _, f := range facts {
			r, err := tx.Receipt(ctx, f.kind, f.id)
			if err != nil {
				return none, err
			}
			page.Receipts = append(page.Receipts, receiptLine{f.kind, r, p.server.PublicURL() + "/v1/receipts/" + f.kind + "/" + f.id.String()})
			if r.Checkpoint != "" {
				page.Checkpoint = r.Checkpoint
			}
		}
		return none, nil
	})
	return err
}

// weigh counts the findings and gathers what the paper must not be silent about.
func (page *paper) weigh() {
	if page.Evidence == nil {
		return
	}
	for _, in := range page.Evidence.Inputs {
		if in.Role == "other" || strings.HasPrefix(in.Role, "source.") {
			page.NotRead = append(page.NotRead, in)
		}
	}
	page.Unable = slices.Clone(page.Found.Unable)
	for _, g := range slices.Concat(page.Found.Rest, page.Found.Folded) {
		if g.Outcome == acceptance.NotEvaluated {
			page.Unable = append(page.Unable, g)
		}
	}
	counts := map[string]int{}
	for _, groups := range [][]group{page.Found.Issues, page.Found.Unable, page.Found.Folded, page.Found.Warnings, page.Found.Rest} {
		for _, g := range groups {
			for _, f := range g.Findings {
				key := string(f.Outcome)
				if f.Concession != nil {
					key = "conceded"
				} else if f.Outcome == acceptance.Fail && !f.Blocks {
					key = string(acceptance.Warn) // as the pages show it
				}
				counts[key]++
			}
		}
	}
	for _, outcome := range []string{"fail", "conceded", "warn", "not_evaluated", "pass", "not_applicable"} {
		if counts[outcome] > 0 {
			page.Tally = append(page.Tally, tallied{outcome, counts[outcome]})
		}
	}
}

// DeliveryNumber is the number as a figure.
func (page paper) DeliveryNumber() float64 { return float64(page.Delivery.Number) }

// Index is the leaf's place, from 0.
func (l receiptLine) Index() float64 { return float64(l.Receipt.Index) }

// Size is how many leaves the log had when the receipt was made.
func (l receiptLine) Size() float64 { return float64(l.Receipt.Size) }

// Problems are the findings that a report of issues is about, in the order in which they are to be mended.
func (page paper) Problems() []group { return slices.Concat(page.Found.Issues, page.Found.Folded) }

// Beside are the first two stills, which tell what the paper is about.
func (page paper) Beside() []picture { return page.Stills[:min(2, len(page.Stills))] }

// qrQuiet is the margin of light modules around a QR code (ISO/IEC 18004:2015, 6.3.8: four modules).
const qrQuiet = 4

// qrCode draws a text as a QR code (ISO/IEC 18004) of error correction level M, one unit a module, as a path that prints sharply.
func qrCode(text string) (template.HTML, error) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return "", fmt.Errorf("web: QR code: %w", err)
	}
	var b strings.Builder
	size := code.Size + 2*qrQuiet
	fmt.Fprintf(&b, `<svg class="qr" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" shape-rendering="crispEdges" aria-hidden="true"><path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="`, size, size, size, size)
	for y := range code.Size {
		for x := 0; x < code.Size; x++ {
			from := x
			for x < code.Size && code.Black(x, y) {
				x++
			}
			if x > from {
				fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", from+qrQuiet, y+qrQuiet, x-from, x-from)
			}
		}
	}
	b.WriteString(`"/></svg>`)
	return template.HTML(b.String()), nil //nolint:gosec // numbers alone
}
