package web

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// permitPage is one permission, or what is asked for, with the figures that speak for it or against it.
type permitPage struct {
	Asked   []askedPermit
	One     *askedPermit
	Decides bool // the reader may decide: the ledger decides again
	Refusal refusal
}

// askedPermit is a permission with what it is about.
type askedPermit struct {
	ledger.Permission
	Order   ledger.WorkOrder
	For     *ledger.Prop // nil where it reaches farther than one
	Figures []ledger.PermissionFigure
}

// Unit is what its worst value is counted in: as it was measured, or before the first inspection as the check's limit has it.
// Where a limit in millimetres may stand in place of a share, millimetres are what is judged.
func (p askedPermit) Unit() string {
	for _, f := range p.Figures {
		if f.Unit != "" {
			return f.Unit
		}
	}
	unit := ""
	for _, l := range catalogue()[p.Check].Limits {
		if l.Kind != spec.AtMost && l.Kind != spec.AtLeast {
			continue
		}
		of := l.Unit
		if of == "" {
			_, of = unitOf(l.Key)
		}
		if unit == "" || unit == "share" && of == "mm" && l.Optional {
			unit = of
		}
	}
	return unit
}

// Limit is what the spec in force allows, as the newest inspections were judged by it; nil before the first.
func (p askedPermit) Limit() *float64 {
	for _, f := range p.Figures {
		if f.Limit != nil {
			return f.Limit
		}
	}
	return nil
}

// Measured is the first of the values that were found, which is of what is worst off; nil before the first.
func (p askedPermit) Measured() *float64 {
	for _, f := range p.Figures {
		if f.Measured != nil {
			return f.Measured
		}
	}
	return nil
}

// permitsMeasured bounds how many of a list are shown with their figures; the others have them on their own pages.
const permitsMeasured = 40

func askedOf(ctx context.Context, tx *ledger.Tx, m ledger.Permission, figures bool) (p askedPermit, err error) {
	p.Permission = m
	if p.Order, err = tx.WorkOrder(ctx, m.WorkOrderID); err != nil {
		return p, err
	}
	if m.Prop != nil {
		prop, err := tx.Prop(ctx, *m.Prop)
		if err != nil {
			return p, err
		}
		p.For = &prop
	}
	if figures {
		p.Figures, err = tx.PermissionFigures(ctx, m)
	}
	return p, err
}

// Covered is how many of the failed findings it would cover.
func (page permitPage) Covered() (n int) {
	for _, f := range page.One.Figures {
		if f.Covered {
			n++
		}
	}
	return n
}

// Failed is how many findings failed.
func (page permitPage) Failed() (n int) {
	for _, f := range page.One.Figures {
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
	list, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (list []askedPermit, err error) {
		asked, err := tx.PermissionsAsked(ctx)
		for i, m := range asked {
			one, err := askedOf(ctx, tx, m, i < permitsMeasured)
			if err != nil {
				return nil, err
			}
			list = append(list, one)
		}
		return list, err
	})
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
		asked, err := askedOf(ctx, tx, one, true)
		page.One = &asked
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
