package web

import (
	"context"
	"fmt"
	"net/http"
	"strconv"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// permission is what the reader may do with a delivery. The ledger decides again, whatever the page shows.
type permission struct {
	Accept, AcceptAsIs, Return bool
	Concede                    bool         // one finding at a time
	Reinspect                  bool         // have it inspected again
	NotAsIs                    words.Phrase // why it cannot be accepted as it is, to somebody who otherwise could
	Private                    bool         // write a note that the vendor does not see
}

// Decide says whether there is any decision to take.
func (m permission) Decide() bool { return m.Accept || m.AcceptAsIs || m.Return }

// permit works out what who may do, from the state of the milestone and the findings of the inspection that counts.
func permit(who ledger.Who, page *deliveryPage, rows []ledger.Finding) permission {
	m := permission{Private: who.Side == ledger.StudioSide}
	if who.Side != ledger.StudioSide || page.Newer != nil || page.Delivery.State != ledger.DSealed || page.Counting() == nil {
		return m
	}
	state := page.Delivery.Milestone
	director := who.Has(ledger.ArtDirector)
	may := func(e ledger.Event) bool { _, ok := ledger.Next(state, e); return ok }
	m.Return = may(ledger.EvReturn) && who.Has(ledger.ArtDirector, ledger.TechnicalArtist)
	m.Reinspect = may(ledger.EvReinspect) && who.Has(ledger.Producer, ledger.ArtDirector, ledger.TechnicalArtist)
	open, unable := stillBlocking(rows, page.concededHere())
	acceptor := director || page.Prop.Tier == "background" && who.Has(ledger.TechnicalArtist)
	m.Accept = acceptor && (may(ledger.EvAccept) || may(ledger.EvAcceptAsIs) && open == 0 && unable == 0)
	if !director || !may(ledger.EvAcceptAsIs) || m.Accept {
		return m
	}
	m.Concede = open > 0
	if m.AcceptAsIs = unable == 0; !m.AcceptAsIs {
		m.NotAsIs = words.P("delivery.not_as_is", unable)
	}
	return m
}

// stillBlocking counts the findings that block and are not conceded: those that failed and those not evaluated.
func stillBlocking(rows []ledger.Finding, conceded []ledger.Concession) (open, unable int) {
	done := map[int]bool{}
	for _, c := range conceded {
		done[c.Ord] = true
	}
	for _, f := range rows {
		switch {
		case !f.Blocks || done[f.Ord]:
		case f.Outcome == string(acceptance.Fail):
			open++
		case f.Outcome == string(acceptance.NotEvaluated):
			unable++
		}
	}
	return open, unable
}

// onDelivery does one form of a delivery's page: back to the page where it is done, the page with what had been typed
// where it is refused.
func onDelivery[T any](c echo.Context, p *Pages, form, kind, at string, effect func(ctx context.Context, tx *ledger.Tx, d ledger.Delivery) (T, uuid.UUID, error)) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	_, _, err = act(c, p, kind, func(ctx context.Context, tx *ledger.Tx) (none T, _ uuid.UUID, err error) {
		d, err := tx.Delivery(ctx, id)
		if err != nil {
			return none, uuid.Nil, err
		}
		return effect(ctx, tx, d)
	})
	if err != nil && refused(err) {
		page, lerr := p.loadDelivery(c)
		if lerr != nil {
			return lerr
		}
		page.Refusal = p.refuse(c, form, err)
		return p.showDelivery(c, page.Refusal.Status, page)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/deliveries/"+id.String()+at)
}

// sameInspection refuses a decision on an inspection that another has taken the place of since the page was read.
func sameInspection(c echo.Context, d ledger.Delivery) error {
	if d.Inspection != nil && d.Inspection.ID.String() != field(c, "inspection") {
		return fmt.Errorf("%w: another inspection has come in since you looked; read it first", ledger.ErrState)
	}
	return nil
}

// decide takes a decision that the vendor is told in ten minutes, as the review does.
func (p *Pages) decide(c echo.Context) error {
	return onDelivery(c, p, "decision", "pending_sign_off", "#decide", func(ctx context.Context, tx *ledger.Tx, d ledger.Delivery) (ledger.PendingSignOff, uuid.UUID, error) {
		if err := sameInspection(c, d); err != nil {
			return ledger.PendingSignOff{}, uuid.Nil, err
		}
		return prepare(ctx, c, tx, d.ID)
	})
}

// prepare takes the decision of a form, with what was drawn and the note to keep for other times.
func prepare(ctx context.Context, c echo.Context, tx *ledger.Tx, delivery uuid.UUID) (q ledger.PendingSignOff, id uuid.UUID, err error) {
	in := ledger.NewPendingSignOff{Wait: field(c, "wait") != ""}
	in.Delivery, in.Decision, in.Reason = delivery, ledger.Decision(field(c, "decision")), reasonOf(c)
	if in.Inspection, err = uuid.Parse(field(c, "inspection")); err != nil {
		return q, id, ledger.ErrNotFound
	}
	switch {
	case in.Decision == ledger.Return:
		in.Cause = ledger.Cause(field(c, "cause"))
	case in.Decision == ledger.Accept && in.Reason != "":
		in.Decision = ledger.AcceptNote
	}
	if in.Decision != ledger.Accept && in.Reason == "" {
		return q, id, &ledger.Invalid{Field: "reason", Why: "is needed for this: say it for the vendor in a sentence"}
	}
	if in.Sketch, err = sketchOf(c, in.Inspection); err != nil {
		return q, id, err
	}
	if err := keepNote(ctx, tx, c); err != nil {
		return q, id, err
	}
	q, err = tx.PrepareSignOff(ctx, in)
	return q, q.ID, err
}

// concede accepts one finding as it is.
func (p *Pages) concede(c echo.Context) error {
	ord, err := strconv.Atoi(field(c, "ord"))
	if err != nil || ord < 0 {
		return ledger.ErrNotFound
	}
	inspection, err := uuid.Parse(field(c, "inspection"))
	if err != nil {
		return ledger.ErrNotFound
	}
	form := concessionForm(ord)
	return onDelivery(c, p, form, "concession", "#"+form, func(ctx context.Context, tx *ledger.Tx, d ledger.Delivery) (none ledger.Concession, _ uuid.UUID, err error) {
		if err := sameInspection(c, d); err != nil {
			return none, uuid.Nil, err
		}
		con, err := tx.GrantConcession(ctx, ledger.NewConcession{Inspection: inspection, Ord: ord, Reason: typed(c, "reason"), Scope: field(c, "scope")})
		return con, con.ID, err
	})
}

// concessionForm names the form under one finding, and its place on the page.
func concessionForm(ord int) string { return "finding-" + strconv.Itoa(ord) }

// note writes a note: on the delivery, in answer to another, or at a place of the surface.
func (p *Pages) note(c echo.Context) error {
	who, _ := httpapi.Caller(c.Request().Context())
	in := ledger.NewNote{Text: typed(c, "text"), Private: who.Side == ledger.StudioSide && field(c, "private") != ""}
	var err error
	if in.ReplyTo, err = replyTo(c); err != nil {
		return err
	}
	form, at := "note", "#notes"
	if in.ReplyTo != uuid.Nil {
		form, at = "reply-"+in.ReplyTo.String(), "#note-"+in.ReplyTo.String()
	}
	if field(c, "back") == "view" {
		at = "/view"
	}
	return onDelivery(c, p, form, "note", at, func(ctx context.Context, tx *ledger.Tx, d ledger.Delivery) (n ledger.Note, _ uuid.UUID, err error) {
		in.Delivery = d.ID
		if in.Pin, err = pinOf(c, d); err != nil {
			return n, n.ID, err
		}
		n, err = tx.AddNote(ctx, in)
		return n, n.ID, err
	})
}

// resolve settles a note of the reader's own side, or opens it again.
func (p *Pages) resolve(c echo.Context) error {
	note, err := uuid.Parse(field(c, "note"))
	if err != nil {
		return ledger.ErrNotFound
	}
	return onDelivery(c, p, "resolution", "note_resolution", "#note-"+note.String(), func(ctx context.Context, tx *ledger.Tx, _ ledger.Delivery) (ledger.Note, uuid.UUID, error) {
		n, err := tx.ResolveNote(ctx, note, field(c, "settled") == "yes", uuid.Nil)
		return n, n.ID, err
	})
}

func (p *Pages) reinspect(c echo.Context) error {
	return onDelivery(c, p, "reinspection", "inspection", "", func(ctx context.Context, tx *ledger.Tx, d ledger.Delivery) (ledger.Inspection, uuid.UUID, error) {
		i, err := tx.Reinspect(ctx, d.ID, typed(c, "reason"))
		return i, i.ID, err
	})
}
