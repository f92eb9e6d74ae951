package web

import (
	"net/http"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// Names of the fields that the page of a proof adds to a form.
const (
	proofPassword = "proof_password"
	proofMember   = "proof_member"
)

// proofPage asks again who it is and carries on the form that asked for it, so that nothing of it is typed twice.
type proofPage struct {
	Action   string // the form's own address; "" where there is no form
	Fields   []formField
	Member   uuid.UUID
	Minutes  int
	Provider string // the address to log in at again, in another tab; "" where a password does
	Refused  words.Phrase
	Fresh    bool
}

type formField struct{ Name, Value string }

// refusedProof says why a proof was not taken, by the status of the refusal.
var refusedProof = map[int]string{http.StatusUnprocessableEntity: "proof.wrong", http.StatusTooManyRequests: "proof.too_many"}

// proving lets a form through whose act wants a fresh proof of who sends it: it asks for the password and sends the form
// again with it.
func (p *Pages) proving(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if c.Request().Method != http.MethodPost {
			return next(c)
		}
		form := c.Request().PostForm
		given, member := form.Get(proofPassword), form.Get(proofMember)
		form.Del(proofPassword) // the form's key hashes the rest
		form.Del(proofMember)
		who, _ := httpapi.Caller(c.Request().Context())
		if member != "" && member != who.Member.String() { // the other tab logged in somebody else
			return ledger.ErrForbidden
		}
		if given != "" {
			if err := p.server.Prove(c, given); err != nil {
				why := refusedProof[p.server.Tell(c, err).Status]
				if why == "" {
					return err
				}
				return p.askProof(c, &ledger.StaleProof{Most: p.store.ProofFor()}, words.P(why))
			}
		}
		err := next(c)
		if stale, ok := httpapi.StaleProof(err); ok && !c.Response().Committed {
			return p.askProof(c, stale, words.Phrase{})
		}
		return err
	}
}

func (p *Pages) askProof(c echo.Context, stale *ledger.StaleProof, refused words.Phrase) error {
	who, _ := httpapi.Caller(c.Request().Context())
	page := proofPage{Action: c.Request().URL.RequestURI(), Member: who.Member, Minutes: int(stale.Most.Minutes()), Refused: refused}
	if stale.Provider != uuid.Nil {
		page.Provider = p.server.LogInAddress(stale.Provider) + "?again=1"
	}
	for name, values := range c.Request().PostForm {
		for _, v := range values {
			page.Fields = append(page.Fields, formField{name, v})
		}
	}
	slices.SortStableFunc(page.Fields, func(a, b formField) int { // in one order, those of one name as they came
		if a.Name < b.Name {
			return -1
		} else if a.Name > b.Name {
			return 1
		}
		return 0
	})
	return p.render(c, http.StatusUnauthorized, "proof", frame{Title: words.P("proof.title")}, page)
}

// proved is where a provider leads back to after it was asked for a fresh proof.
func (p *Pages) proved(c echo.Context) error {
	who, _ := httpapi.Caller(c.Request().Context())
	return p.render(c, http.StatusOK, "proof", frame{Title: words.P("proof.title")}, proofPage{Fresh: who.ProofAge <= p.store.ProofFor()})
}
