package web

import (
	"context"
	"net/http"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// peoplePage is who belongs to one's own party and, for a producer, which vendors the studio works with.
type peoplePage struct {
	Party     string
	PartyID   uuid.UUID
	Members   []ledger.Member
	Studio    bool
	MayInvite bool
	MayEngage bool
	Vendors   []ledger.Vendor
	Leadless  []ledger.Vendor // of Vendors, those without people: their first is invited from here
	MoreAfter string
	OwnRoles  []ledger.Role
	Refusal   refusal
	Link      string // of the invitation just made, shown this once
	Invited   *ledger.Invitation
	Mailed    bool // invitations go out by mail too
	Done      words.Phrase
}

var sideRoles = map[ledger.Side][]ledger.Role{
	ledger.StudioSide: {ledger.Producer, ledger.ArtDirector, ledger.TechnicalArtist},
	ledger.VendorSide: {ledger.VendorLead, ledger.VendorArtist},
}

func (p *Pages) people(c echo.Context) error {
	page := peoplePage{}
	switch c.QueryParam("done") {
	case "engaged":
		page.Done = words.P("people.done_engaged")
	case "again":
		page.Done = words.P("people.done_again")
	}
	return p.showPeople(c, http.StatusOK, page)
}

func (p *Pages) showPeople(c echo.Context, status int, page peoplePage) error {
	who, _ := httpapi.Caller(c.Request().Context())
	page.Party, page.PartyID, page.OwnRoles = who.PartyName, who.Party, sideRoles[who.Side]
	page.Mailed = p.server.SendsMail()
	page.Studio = who.Side == ledger.StudioSide
	page.MayInvite, page.MayEngage = who.Has(ledger.Producer, ledger.VendorLead), who.Has(ledger.Producer)
	_, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		if page.Members, err = tx.Members(ctx); err != nil || !page.Studio {
			return none, err
		}
		list, err := tx.Vendors(ctx, ledger.Page{After: c.QueryParam("after"), Limit: 100})
		if page.Vendors, page.MoreAfter = list.Items, list.Next; err != nil || !page.MayEngage {
			return none, err
		}
		page.Leadless, err = leadless(ctx, tx, page.Vendors)
		return none, err
	})
	if err != nil {
		return err
	}
	return p.render(c, status, "people", frame{Title: words.P("people.title"), At: "people"}, page)
}

// leadless are the vendors that have no people of their own yet.
func leadless(ctx context.Context, tx *ledger.Tx, vendors []ledger.Vendor) (without []ledger.Vendor, err error) {
	ids := make([]uuid.UUID, len(vendors))
	for i, v := range vendors {
		ids[i] = v.ID
	}
	peopled, err := tx.Peopled(ctx, ids)
	for _, v := range vendors {
		if !slices.Contains(peopled, v.ID) {
			without = append(without, v)
		}
	}
	return without, err
}

// invite answers with the page itself instead of a redirect: the link is nowhere to be read again.
func (p *Pages) invite(c echo.Context) error {
	form := "colleague"
	if field(c, "into") == "vendor" {
		form = "vendor-lead"
	}
	in := ledger.NewInvitation{Email: typed(c, "email")}
	var err error
	if in.Party, err = uuid.Parse(field(c, "party")); err != nil {
		return ledger.ErrNotFound
	}
	for _, r := range c.Request().PostForm["roles"] {
		in.Roles = append(in.Roles, ledger.Role(r))
	}
	var secret string
	made, again, err := act(c, p, "invitation", func(ctx context.Context, tx *ledger.Tx) (i ledger.Invitation, id uuid.UUID, err error) {
		i, secret, err = tx.Invite(ctx, in)
		return i, i.ID, err
	})
	switch {
	case err != nil && refused(err):
		r := p.refuse(c, form, err)
		return p.showPeople(c, r.Status, peoplePage{Refusal: r})
	case err != nil:
		return err
	case again:
		return c.Redirect(http.StatusSeeOther, "/people?done=again")
	}
	return p.showPeople(c, http.StatusOK, peoplePage{Invited: &made, Link: p.server.PublicURL() + "/join/" + secret})
}

// takeOn makes a vendor that the studio works with from now on.
func (p *Pages) takeOn(c echo.Context) error {
	_, _, err := act(c, p, "vendor", func(ctx context.Context, tx *ledger.Tx) (ledger.Vendor, uuid.UUID, error) {
		v, err := tx.CreateVendor(ctx, ledger.NewVendor{Name: typed(c, "name")})
		return v, v.ID, err
	})
	if err != nil && refused(err) {
		r := p.refuse(c, "vendor", err)
		return p.showPeople(c, r.Status, peoplePage{Refusal: r})
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/people?done=engaged")
}
