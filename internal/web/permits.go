package web

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// permitPage is one permission, or what is asked for, with the figures that speak for it or against it.
type permitPage struct {
	Asked   []ledger.Permission
	One     *ledger.Permission
	Order   ledger.WorkOrder
	Prop    *ledger.Prop
	Figures []ledger.PermissionFigure
	Decides bool // the reader may decide: the ledger decides again
	Refusal refusal
}

// Covered is how many of the failed findings it would cover.
func (page permitPage) Covered() (n int) {
	for _, f := range page.Figures {
		if f.Covered {
			n++
		}
	}
	return n
}

// Failed is how many findings failed.
func (page permitPage) Failed() (n int) {
	for _, f := range page.Figures {
		if f.Outcome == "fail" {
			n++
		}
	}
	return n
}

func (p *Pages) permits(c echo.Context) error {
	if err := studio(c); err != nil {
		return err
	}
	list, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) ([]ledger.Permission, error) { return tx.PermissionsAsked(ctx) })
	if err != nil {
		return err
	}
	return p.render(c, http.StatusOK, "permits", frame{Title: words.P("permits.title"), At: "review"}, permitPage{Asked: list})
}

func (p *Pages) permitOne(c echo.Context) error { return p.showPermit(c, http.StatusOK, refusal{}) }

func (p *Pages) showPermit(c echo.Context, status int, r refusal) error {
	if err := studio(c); err != nil {
		return err
	}
	id, err := idOf(c)
	if err != nil {
		return err
	}
	who, _ := httpapi.Caller(c.Request().Context())
	page, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (page permitPage, err error) {
		one, err := tx.Permission(ctx, id)
		if err != nil {
			return page, err
		}
		page.One = &one
		if page.Order, err = tx.WorkOrder(ctx, one.WorkOrderID); err != nil {
			return page, err
		}
		if one.Prop != nil {
			prop, err := tx.Prop(ctx, *one.Prop)
			if err != nil {
				return page, err
			}
			page.Prop = &prop
		}
		page.Figures, err = tx.PermissionFigures(ctx, one)
		return page, err
	})
	if err != nil {
		return err
	}
	page.Refusal, page.Decides = r, who.Has(ledger.ArtDirector)
	return p.render(c, status, "permits", frame{Title: words.P("permits.title"), At: "review"}, page)
}

// decidePermit grants, refuses or revokes.
func (p *Pages) decidePermit(c echo.Context) error {
	if err := studio(c); err != nil {
		return err
	}
	id, err := idOf(c)
	if err != nil {
		return err
	}
	_, _, err = act(c, p, "permission_decision", func(ctx context.Context, tx *ledger.Tx) (ledger.Permission, uuid.UUID, error) {
		m, err := tx.DecidePermission(ctx, id, field(c, "event"), typed(c, "reason"))
		return m, m.ID, err
	})
	if err != nil && refused(err) {
		r := p.refuse(c, "decision", err)
		return p.showPermit(c, r.Status, r)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/permits/"+id.String())
}
