package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// waiting is what a reviewer has decided and the vendor does not know yet, and what could not be sent.
type waiting struct {
	Live    []ledger.PendingSignOff
	Stopped []ledger.PendingSignOff
	ByHand  int // of the live ones, those that are sent by hand only
}

// Next is the decision that is sent next by itself, or nil.
func (w waiting) Next() *ledger.PendingSignOff {
	for i := range w.Live {
		if w.Live[i].SendAt != nil {
			return &w.Live[i]
		}
	}
	return nil
}

// Last is what was decided last, or nil.
func (w waiting) Last() *ledger.PendingSignOff {
	if len(w.Live) == 0 {
		return nil
	}
	return &w.Live[len(w.Live)-1]
}

func waitingOf(ctx context.Context, tx *ledger.Tx) (waiting, error) {
	all, err := tx.PendingSignOffs(ctx)
	var w waiting
	for _, q := range all {
		switch {
		case q.Stopped != "":
			w.Stopped = append(w.Stopped, q)
			continue
		case q.SendAt == nil:
			w.ByHand++
		}
		w.Live = append(w.Live, q)
	}
	return w, err
}

// ownPending reads the ids of decisions that a form is about.
func ownPending(c echo.Context) (ids []uuid.UUID, err error) {
	for _, v := range c.Request().PostForm["pending"] {
		id, err := uuid.Parse(v)
		if err != nil {
			return nil, ledger.ErrNotFound
		}
		ids = append(ids, id)
	}
	return ids, nil
}

// sendPending sends decisions before their time. What cannot be sent any more is kept and told on the review's page.
func (p *Pages) sendPending(c echo.Context) error {
	ids, err := ownPending(c)
	if err != nil {
		return err
	}
	_, _, query, err := reviewFilter(c)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(c.Request().Context(), pageTime)
	defer cancel()
	who, _ := httpapi.Caller(ctx)
	kept := false
	for _, id := range ids {
		_, stopped, err := p.store.SendPending(ctx, who, id)
		if err != nil && stopped == "" && !errors.Is(err, ledger.ErrNotFound) { // what is gone was sent by the sender, or by a click before
			return err
		}
		kept = kept || stopped != ""
	}
	if delivery, err := uuid.Parse(field(c, "delivery")); err == nil && field(c, "back") == "delivery" && !kept {
		return c.Redirect(http.StatusSeeOther, "/deliveries/"+delivery.String()+"#decisions")
	}
	sep := "?"
	if query != "" {
		sep = "&"
	}
	return c.Redirect(http.StatusSeeOther, "/review"+query+sep+"sent=1#waiting")
}

// undoPending takes decisions back. One is opened again with what had been typed; several lead back to the sheet. Loaded anew, the
// page that a taken-back decision opened stays what it is: the form says itself what had been decided.
func (p *Pages) undoPending(c echo.Context) error {
	ids, err := ownPending(c)
	if err != nil {
		return err
	}
	undone, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (undone []ledger.PendingSignOff, err error) {
		for _, id := range ids {
			q, err := tx.PendingSignOff(ctx, id)
			if err == nil {
				err = tx.UndoSignOff(ctx, id)
			}
			if errors.Is(err, ledger.ErrNotFound) {
				continue // sent meanwhile, or taken back by a click before
			}
			if err != nil {
				return nil, err
			}
			undone = append(undone, q)
		}
		return undone, nil
	})
	if err != nil {
		return err
	}
	switch {
	case len(ids) == 1 && len(undone) == 0:
		return p.undoneBefore(c)
	case len(undone) != 1 || field(c, "away") != "":
		return c.Redirect(http.StatusSeeOther, "/review?undone=1")
	}
	q := undone[0]
	return p.openAgain(c, q.DeliveryID, url.Values{"decision": {string(q.Decision)}, "reason": {q.Reason}, "cause": {string(q.Cause)}, "sketch": {undoing{q, ""}.Sketch()}})
}

// undoneBefore answers for a decision that does not wait any more: taken back by a click before, its delivery is open again with
// the words that the form brought; sent, or decided by somebody else, that is told.
func (p *Pages) undoneBefore(c echo.Context) error {
	delivery, err := uuid.Parse(field(c, "delivery"))
	if err == nil {
		c.SetParamNames("id")
		c.SetParamValues(delivery.String())
		base, err := p.loadDelivery(c)
		if err != nil {
			return err
		}
		other, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (*ledger.PendingSignOff, error) {
			return tx.PendingOn(ctx, base.Delivery.MilestoneID)
		})
		if err != nil {
			return err
		}
		if base.May.Decide() && other == nil {
			return p.openAgain(c, delivery, c.Request().PostForm)
		}
	}
	return p.showReview(c, http.StatusConflict, reviewPage{Told: words.P("review.told_too_late")})
}

// openAgain shows a delivery with what had been decided on it, in the form and taken back: on the page that it was decided on.
func (p *Pages) openAgain(c echo.Context, delivery uuid.UUID, form url.Values) error {
	c.SetParamNames("id")
	c.SetParamValues(delivery.String())
	r, told := refusal{Form: "decision", values: form}, words.P("review.told_undone")
	if field(c, "back") != "delivery" {
		return p.showOne(c, http.StatusOK, r, told)
	}
	page, err := p.loadDelivery(c)
	if err != nil {
		return err
	}
	page.Refusal, page.Told = r, told
	return p.showDelivery(c, http.StatusOK, page)
}

// undoing is a decision that waits, as the forms that take it back or send it have it. Back is "delivery" on a delivery's page.
type undoing struct {
	ledger.PendingSignOff
	Back string
}

func undoingOf(q any, back string) (undoing, error) {
	switch q := q.(type) {
	case ledger.PendingSignOff:
		return undoing{q, back}, nil
	case *ledger.PendingSignOff:
		return undoing{*q, back}, nil
	}
	return undoing{}, fmt.Errorf("web: %T is no decision that waits", q)
}

// Sketch is what was drawn, as the form that it was drawn in has it; "" where nothing was.
func (u undoing) Sketch() string {
	if u.PendingSignOff.Sketch == nil {
		return ""
	}
	strokes, err := json.Marshal(u.PendingSignOff.Sketch.Strokes)
	if err != nil {
		return ""
	}
	return string(strokes)
}
