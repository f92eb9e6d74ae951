package web

import (
	"context"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// progress is how far a delivery's inspection is, for the script that watches it.
type progress struct {
	Done bool   `json:"done"`
	Text string `json:"text"`
}

func (p *Pages) progress(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	d, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (run deliveryRun, err error) {
		if run.delivery, err = tx.Delivery(ctx, id); err != nil || run.delivery.Inspection == nil {
			return run, err
		}
		one, err := tx.Inspection(ctx, run.delivery.Inspection.ID)
		run.inspection = &one
		return run, err
	})
	if err != nil {
		return err
	}
	said := d.said(time.Now())
	return c.JSON(http.StatusOK, progress{Done: d.done(), Text: p.reader(c).Text(said)})
}

// deliveryRun is a delivery with its inspection that is to come, under way or done.
type deliveryRun struct {
	delivery   ledger.Delivery
	inspection *ledger.Inspection
}

func (d deliveryRun) done() bool {
	return d.delivery.State != ledger.DSealed || d.inspection != nil && d.inspection.State == ledger.IDone
}

// said is how far it is, in a few words.
func (d deliveryRun) said(now time.Time) words.Phrase {
	switch {
	case d.done():
		return words.P("live.done")
	case d.inspection == nil || d.inspection.StartedAt == nil:
		return words.P("live.queued")
	case d.inspection.Attempts > 1:
		return words.P("live.again", d.inspection.Attempts, lasting(now.Sub(*d.inspection.StartedAt)))
	}
	return words.P("live.running", lasting(now.Sub(*d.inspection.StartedAt)))
}
