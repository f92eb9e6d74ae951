package web

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// deliveryPage is one delivery with what was found and what was decided.
type deliveryPage struct {
	Delivery    ledger.Delivery
	Prop        ledger.Prop
	Inspection  *ledger.Inspection // the one that counts or runs
	Runs        []ledger.Inspection
	Evidence    *acceptance.Evidence
	Missing     string // why there is no evidence to show
	Stills      []picture
	Details     []picture
	Model       *ledger.EvidenceObject
	Issues      []acceptance.Finding
	Warnings    []acceptance.Finding
	Folded      []acceptance.Finding // explained by a headline finding
	Rest        []acceptance.Finding
	SignOffs    []ledger.SignOff
	MayDecide   bool
	MayAccept   bool
	Refused     string
	Decision    string
	Reason      string
	Studio      bool
	Newer       *ledger.Delivery
	EvidenceURL string
}

// picture is one picture of the evidence with where to fetch it.
type picture struct{ Name, What, URL string }

func (p *Pages) delivery(c echo.Context) error {
	page, err := p.loadDelivery(c)
	if err != nil {
		return err
	}
	return p.showDelivery(c, http.StatusOK, page)
}

func (p *Pages) showDelivery(c echo.Context, status int, page deliveryPage) error {
	f := frame{Title: fmt.Sprintf("%s, delivery %d", page.Prop.Title, page.Delivery.Number)}
	if page.Inspection != nil && page.Inspection.State != ledger.IDone {
		f.Refresh = 3
	}
	return p.render(c, status, "delivery", f, page)
}

func (p *Pages) loadDelivery(c echo.Context) (deliveryPage, error) {
	id, err := idOf(c)
	if err != nil {
		return deliveryPage{}, err
	}
	var objects []ledger.EvidenceObject
	page, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (page deliveryPage, err error) {
		if page.Delivery, err = tx.Delivery(ctx, id); err != nil {
			return page, err
		}
		if page.Prop, err = tx.Prop(ctx, page.Delivery.PropID); err != nil {
			return page, err
		}
		if page.Runs, err = tx.Inspections(ctx, id); err != nil {
			return page, err
		}
		if h := page.Delivery.Inspection; h != nil {
			run, err := tx.Inspection(ctx, h.ID)
			if err != nil {
				return page, err
			}
			page.Inspection = &run
			if objects, err = tx.EvidenceObjects(ctx, h.ID); err != nil {
				return page, err
			}
		}
		if page.SignOffs, err = tx.SignOffs(ctx, id); err != nil {
			return page, err
		}
		later, err := tx.Deliveries(ctx, ledger.DeliveryFilter{Milestone: page.Delivery.MilestoneID}, ledger.Page{Limit: 200})
		for _, d := range later.Items {
			if d.Number > page.Delivery.Number && d.State == ledger.DSealed && (page.Newer == nil || d.Number > page.Newer.Number) {
				page.Newer = &d
			}
		}
		return page, err
	})
	if err != nil {
		return page, err
	}
	p.readEvidence(c.Request().Context(), &page, objects)
	page.permit(c)
	return page, nil
}

// permit works out what the reader may decide. The ledger decides again, whatever the page shows.
func (page *deliveryPage) permit(c echo.Context) {
	who, _ := httpapi.Caller(c.Request().Context())
	page.Studio = who.Side == ledger.StudioSide
	approver := page.Studio && who.Has(ledger.ArtDirector, ledger.TechnicalArtist, ledger.Producer)
	open := page.Newer == nil
	switch page.Delivery.Milestone {
	case ledger.MReview:
		page.MayDecide, page.MayAccept = approver && open, approver && open
	case ledger.MFailed, ledger.MStuck:
		page.MayDecide = approver && open
	}
}

// readEvidence fetches evidence.json, checks its digest and sorts what is in it for a reader.
func (p *Pages) readEvidence(ctx context.Context, page *deliveryPage, objects []ledger.EvidenceObject) {
	if page.Inspection == nil || page.Inspection.State != ledger.IDone {
		return
	}
	base := "/v1/inspections/" + page.Inspection.ID.String()
	page.EvidenceURL = base + "/evidence"
	for _, o := range objects {
		pic := picture{o.Name, o.What, base + "/pictures/" + o.Name}
		switch {
		case o.Name == "evidence.json":
			e, err := fetchEvidence(ctx, p.storage, o)
			if err != nil {
				page.Missing = "The evidence cannot be read at the moment; the verdict below is the recorded one."
				if errors.Is(err, storage.ErrChanged) {
					page.Missing = "The stored evidence does not have the recorded digest. Tell whoever runs this service."
				}
				continue
			}
			page.Evidence = e
		case o.MediaType == "model/gltf-binary":
			page.Model = &o
		case strings.HasPrefix(o.Name, "prop_"):
			page.Stills = append(page.Stills, pic)
		default:
			page.Details = append(page.Details, pic)
		}
	}
	if page.Evidence == nil {
		if page.Missing == "" {
			page.Missing = "This inspection left no evidence: " + page.Inspection.Cause
		}
		return
	}
	for _, f := range page.Evidence.Findings {
		switch {
		case f.FollowsFrom != "" && f.Outcome != acceptance.Pass:
			page.Folded = append(page.Folded, f)
		case f.Blocks && (f.Outcome == acceptance.Fail || f.Outcome == acceptance.NotEvaluated):
			page.Issues = append(page.Issues, f)
		case f.Outcome == acceptance.Warn || f.Outcome == acceptance.Fail || f.Outcome == acceptance.NotEvaluated:
			page.Warnings = append(page.Warnings, f)
		default:
			page.Rest = append(page.Rest, f)
		}
	}
}

// evidenceMax bounds what a page reads of evidence.
const evidenceMax = 16 << 20

func fetchEvidence(ctx context.Context, s *storage.Store, o ledger.EvidenceObject) (*acceptance.Evidence, error) {
	body, _, err := s.Open(ctx, o.ObjectKey)
	if err != nil {
		return nil, err
	}
	defer body.Close()
	data, err := io.ReadAll(io.LimitReader(body, evidenceMax))
	if err != nil {
		return nil, err
	}
	if sum := sha256.Sum256(data); string(sum[:]) != string(o.SHA256) {
		return nil, fmt.Errorf("evidence %s: %w", o.ObjectKey, storage.ErrChanged)
	}
	var e acceptance.Evidence
	if err := json.Unmarshal(data, &e); err != nil {
		return nil, fmt.Errorf("evidence %s: %w", o.ObjectKey, err)
	}
	return &e, nil
}

// decide signs off or returns. A refusal comes back with everything that was typed.
func (p *Pages) decide(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	in := ledger.NewSignOff{Delivery: id, Decision: ledger.Decision(c.FormValue("decision")), Reason: strings.TrimSpace(c.FormValue("reason"))}
	if in.Decision == ledger.Accept && in.Reason != "" {
		in.Decision = ledger.AcceptNote
	}
	looked := c.FormValue("inspection")
	_, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.SignOff, error) {
		d, err := tx.Delivery(ctx, id)
		if err != nil {
			return ledger.SignOff{}, err
		}
		if d.Inspection != nil && d.Inspection.ID.String() != looked {
			return ledger.SignOff{}, fmt.Errorf("%w: a newer inspection has come in since you looked; read it first", ledger.ErrState)
		}
		return tx.SignOff(ctx, in)
	})
	if err != nil && refused(err) {
		page, lerr := p.loadDelivery(c)
		if lerr != nil {
			return lerr
		}
		page.Refused = p.server.Tell(c, err).Detail
		page.Decision, page.Reason = string(in.Decision), in.Reason
		return p.showDelivery(c, http.StatusConflict, page)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/deliveries/"+id.String())
}
