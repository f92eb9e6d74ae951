package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// reviewPage is what waits for a reviewer's eyes, as a contact sheet: every prop in the same light, one decision for many.
type reviewPage struct {
	Show    string // "ready" or "issues"
	Query   string // the filter as an address has it, with its question mark
	Batch   *ledger.Batch
	Items   []ledger.ReviewItem
	Waiting waiting
	Saved   []ledger.SavedNote
	Refusal refusal
	Missed  uuid.UUID // the delivery on which a decision for many was refused
	Told    words.Phrase
	Sent    bool // decisions have just been sent
}

// studio says no to vendors, as to somebody for whom there is no such page.
func studio(c echo.Context) error {
	if who, _ := httpapi.Caller(c.Request().Context()); who.Side != ledger.StudioSide {
		return ledger.ErrNotFound
	}
	return nil
}

// reviewFilter reads what a reviewer goes through from the address.
func reviewFilter(c echo.Context) (f ledger.ReviewFilter, show, query string, err error) {
	q := url.Values{}
	show = "ready"
	if c.QueryParam("show") == "issues" {
		show = "issues"
		f.States = []ledger.MilestoneState{ledger.MFailed, ledger.MStuck}
		q.Set("show", show)
	}
	if batch := c.QueryParam("batch"); batch != "" {
		if f.Batch, err = uuid.Parse(batch); err != nil {
			return f, show, "", ledger.ErrNotFound
		}
		f.States = []ledger.MilestoneState{ledger.MReview, ledger.MHeld, ledger.MFailed, ledger.MStuck}
		q.Set("batch", batch)
	}
	if len(q) > 0 {
		query = "?" + q.Encode()
	}
	return f, show, query, nil
}

func (p *Pages) review(c echo.Context) error {
	page := reviewPage{}
	switch {
	case c.QueryParam("sent") != "":
		page.Sent = true
	case c.QueryParam("undone") != "":
		page.Told = words.P("review.told_undone")
	}
	return p.showReview(c, http.StatusOK, page)
}

func (p *Pages) showReview(c echo.Context, status int, page reviewPage) error {
	if err := studio(c); err != nil {
		return err
	}
	f, show, query, err := reviewFilter(c)
	if err != nil {
		return err
	}
	page.Show, page.Query = show, query
	_, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		if f.Batch != uuid.Nil {
			b, err := tx.Batch(ctx, f.Batch)
			if err != nil {
				return none, err
			}
			page.Batch = &b
		}
		if page.Items, err = tx.Review(ctx, f); err != nil {
			return none, err
		}
		if page.Waiting, err = waitingOf(ctx, tx); err != nil {
			return none, err
		}
		page.Saved, err = tx.SavedNotes(ctx)
		return none, err
	})
	if err != nil {
		return err
	}
	switch {
	case page.Sent && len(page.Waiting.Stopped) > 0:
		page.Told = words.P("review.told_sent_some")
	case page.Sent:
		page.Told = words.P("review.told_sent")
	}
	return p.render(c, status, "review", frame{Title: words.P("review.title"), At: "review"}, page)
}

// picked is one prop of the contact sheet as the form has it: the delivery and the inspection that was looked at.
func picked(c echo.Context) (list []ledger.NewPendingSignOff, err error) {
	decision, reason := ledger.Decision(field(c, "decision")), reasonOf(c)
	for _, v := range c.Request().PostForm["pick"] {
		var one ledger.NewPendingSignOff
		if one.Delivery, one.Inspection, err = looked(v); err != nil {
			return nil, err
		}
		one.Decision, one.Reason, one.Wait = decision, reason, true
		// A prop's own decision goes before that for all.
		if own := field(c, "decision-"+one.Delivery.String()); own != "" {
			one.Decision = ledger.Decision(own)
			if text := typed(c, "reason-"+one.Delivery.String()); text != "" {
				one.Reason = text
			}
		}
		if one.Decision == ledger.Accept && one.Reason != "" {
			one.Decision = ledger.AcceptNote
		}
		list = append(list, one)
	}
	return list, nil
}

// looked reads "delivery|inspection".
func looked(v string) (delivery, inspection uuid.UUID, err error) {
	const width = 36
	if len(v) != 2*width+1 || v[width] != '|' {
		return delivery, inspection, ledger.ErrNotFound
	}
	delivery, derr := uuid.Parse(v[:width])
	inspection, ierr := uuid.Parse(v[width+1:])
	if errors.Join(derr, ierr) != nil {
		return delivery, inspection, ledger.ErrNotFound
	}
	return delivery, inspection, nil
}

// Setup is the data of the script.
func (page reviewPage) Setup() map[string]any { return map[string]any{"sheet": true} }

// Chosen says whether a prop was picked in the form that was refused.
func (page reviewPage) Chosen(item ledger.ReviewItem) bool {
	return page.Refusal.Chose("many", "pick", item.Delivery.String()+"|"+item.Inspection.String())
}

// decideMany takes one decision for many, with exceptions. They wait until somebody sends them.
func (p *Pages) decideMany(c echo.Context) error {
	_, _, query, err := reviewFilter(c)
	if err != nil {
		return err
	}
	list, err := picked(c)
	if err != nil {
		return err
	}
	_, _, err = act(c, p, "pending_sign_offs", func(ctx context.Context, tx *ledger.Tx) (none struct{}, id uuid.UUID, err error) {
		if len(list) == 0 {
			return none, id, &ledger.Invalid{Field: "pick", Why: "needs one at least"}
		}
		if err := keepNote(ctx, tx, c); err != nil {
			return none, id, err
		}
		made, err := tx.PrepareSignOffs(ctx, list)
		if err != nil {
			return none, id, err
		}
		return none, made[0].ID, nil
	})
	if err != nil && refused(err) {
		page := reviewPage{Refusal: p.refuse(c, "many", err)}
		var undecided *ledger.Undecided
		if errors.As(err, &undecided) {
			page.Missed = undecided.Delivery
		}
		return p.showReview(c, page.Refusal.Status, page)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/review"+query+"#waiting")
}

// reasonOf is what was typed, and below it the saved note that was picked.
func reasonOf(c echo.Context) string {
	text, saved := typed(c, "reason"), typed(c, "saved")
	switch {
	case saved == "" || text == saved:
		return text
	case text == "":
		return saved
	}
	return text + "\n" + saved
}

// keepNote saves what was typed for other times, where the form asks for it.
func keepNote(ctx context.Context, tx *ledger.Tx, c echo.Context) error {
	if text := typed(c, "reason"); field(c, "keep") != "" && text != "" {
		_, err := tx.SaveNote(ctx, text)
		return err
	}
	return nil
}

// dropNote takes a saved note off the list.
func (p *Pages) dropNote(c echo.Context) error {
	id, err := uuid.Parse(field(c, "note"))
	if err != nil {
		return ledger.ErrNotFound
	}
	if _, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (struct{}, error) {
		return struct{}{}, tx.DropSavedNote(ctx, id)
	}); err != nil && !errors.Is(err, ledger.ErrNotFound) {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/review#saved")
}

// placeAmong is where a delivery stands among what a reviewer goes through, from 1, and which comes next: the first after it
// that nobody has decided on, from the beginning again after the last. 0 and nil where there is none.
func placeAmong(items []ledger.ReviewItem, delivery uuid.UUID) (at int, next *ledger.ReviewItem) {
	i := slices.IndexFunc(items, func(it ledger.ReviewItem) bool { return it.Delivery == delivery })
	for k := 1; k <= len(items); k++ {
		it := &items[(i+k+len(items))%len(items)]
		if it.DecidedBy == "" && it.Delivery != delivery {
			return i + 1, it
		}
	}
	return i + 1, nil
}
