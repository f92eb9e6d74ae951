package web

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// formMax bounds a form's body: the longest note, every letter of it escaped, and some room.
const formMax = 256 << 10

// readForm reads a form once, whole, and cleans its texts: browsers end lines with CR LF, and the database holds neither
// broken UTF-8 nor NUL.
func readForm(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		if r.Method != http.MethodPost {
			return next(c)
		}
		r.Body = http.MaxBytesReader(c.Response(), r.Body, formMax)
		if err := r.ParseForm(); err != nil {
			var tooLarge *http.MaxBytesError
			if errors.As(err, &tooLarge) {
				return echo.ErrStatusRequestEntityTooLarge
			}
			return echo.ErrBadRequest
		}
		cleanForm(r.PostForm)
		return next(c)
	}
}

func cleanForm(form url.Values) {
	for _, values := range form {
		for i, v := range values {
			v = strings.ReplaceAll(v, "\r\n", "\n")
			values[i] = strings.ReplaceAll(strings.ToValidUTF8(v, "\ufffd"), "\x00", "")
		}
	}
}

// field is one value of a form as it was sent; what the address says does not count.
func field(c echo.Context, name string) string { return c.Request().PostForm.Get(name) }

// typed is one text of a form, without the blanks around it.
func typed(c echo.Context, name string) string { return strings.TrimSpace(field(c, name)) }

// onceField is the hidden field of a form that makes sending it twice the same as sending it once.
const onceField = "once"

// once makes the value of such a field.
func once() string {
	b := make([]byte, 16)
	_, _ = rand.Read(b) // never fails, by its documentation
	return hex.EncodeToString(b)
}

// How long a second click waits for the first one, and how often it looks.
const (
	secondClickWait = 5 * time.Second
	secondClickLook = 100 * time.Millisecond
)

// act does what a form asks for, under the form's own key and in one transaction with it. Sent again, the form finds
// what it made the first time: again is then true and made is empty.
func act[T any](c echo.Context, p *Pages, kind string, effect func(ctx context.Context, tx *ledger.Tx) (T, uuid.UUID, error)) (made T, again bool, err error) {
	ctx, cancel := context.WithTimeout(c.Request().Context(), pageTime)
	defer cancel()
	who, _ := httpapi.Caller(ctx)
	request := ledger.Request{Method: http.MethodPost, Route: c.Request().URL.Path, Key: field(c, onceField), Body: withoutKey(c.Request().PostForm)}
	for began := time.Now(); ; {
		err = p.store.InTx(ctx, who, func(tx *ledger.Tx) (err error) {
			_, again, err = ledger.Idempotent(ctx, tx, request, func() (ledger.Ref, error) {
				m, id, err := effect(ctx, tx)
				made = m
				return ledger.Ref{Kind: kind, ID: id}, err
			})
			return err
		})
		if !errors.Is(err, ledger.ErrInFlight) || time.Since(began) > secondClickWait {
			return made, again, err
		}
		select { // the first click is still at work
		case <-ctx.Done():
			return made, false, ctx.Err()
		case <-time.After(secondClickLook):
		}
	}
}

// withoutKey is what a form says apart from its key, in a fixed order.
func withoutKey(form url.Values) []byte {
	rest := url.Values{}
	for name, values := range form {
		if name != onceField {
			rest[name] = values
		}
	}
	return []byte(rest.Encode())
}

// refused says whether an error is something to tell beside the form instead of on a page of its own.
func refused(err error) bool {
	for _, kind := range []error{ledger.ErrInvalid, ledger.ErrState, ledger.ErrForbidden, ledger.ErrConflict, ledger.ErrQuota, ledger.ErrKeyReused, ledger.ErrInFlight} {
		if errors.Is(err, kind) {
			return true
		}
	}
	return false
}

// refusal is what a form that was not taken says of itself: which form it was, why, and what had been typed into it.
type refusal struct {
	Form   string // "" where no form was refused
	Why    string
	Status int
	Faults []fieldFault // of single fields, in the form's order
	values url.Values
}

// fieldFault is what is wrong with one field of a form, as a sentence.
type fieldFault struct{ Field, Why string }

// refuseFields makes a refusal of everything that is wrong with a form's fields. The names are those of the fields where they are not the record's own.
func (p *Pages) refuseFields(c echo.Context, form string, faults []*ledger.Invalid, names map[string]string) refusal {
	r, out := p.reader(c), refusal{Form: form, Status: http.StatusUnprocessableEntity, values: c.Request().PostForm}
	for _, f := range faults {
		field, _, _ := strings.Cut(f.Field, "[")
		if name, other := names[field]; other {
			field = name
		}
		out.Faults = append(out.Faults, fieldFault{field, sentence(r.Or("field."+field, r.Text(words.P("field.other", field))) + " " + r.Again(f.Why))})
	}
	return out
}

// Fault is what is wrong with a field of the form, "" where nothing is.
func (r refusal) Fault(form, field string) string {
	for _, f := range r.Faults {
		if r.Form == form && f.Field == field {
			return f.Why
		}
	}
	return ""
}

// marked are the attributes of a field whose fault stands below it, by fault.
func marked(r refusal, form, field string) template.HTMLAttr {
	if r.Fault(form, field) == "" {
		return ""
	}
	return template.HTMLAttr(` aria-invalid="true" aria-describedby="` + template.HTMLEscapeString(field) + `-fault"`) //nolint:gosec // escaped
}

// fault is the sentence below a field that is wrong, nothing below one that is not.
func fault(r refusal, form, field string) template.HTML {
	why := r.Fault(form, field)
	if why == "" {
		return ""
	}
	return template.HTML(`<p class="fault" id="` + template.HTMLEscapeString(field) + `-fault">` + template.HTMLEscapeString(why) + `</p>`) //nolint:gosec // escaped
}

// refuse makes a refusal of an error that refused says yes to.
func (p *Pages) refuse(c echo.Context, form string, err error) refusal {
	t, r := p.server.Tell(c, err), p.reader(c)
	why := tellIn(r, t.Detail)
	var field *ledger.Invalid
	switch {
	case errors.As(err, &field):
		why = sentence(r.Or("field."+field.Field, r.Text(words.P("field.other", field.Field))) + " " + r.Again(field.Why))
	case errors.Is(err, ledger.ErrKeyReused):
		why = tellIn(r, "This form was sent before, with something else in it. What it did then stands; look below, and send it again if more is to be done.")
	}
	return refusal{Form: form, Why: why, Status: t.Status, values: c.Request().PostForm}
}

// tellIn says in the reader's language what went wrong, as the record or the interface says it, without the name of its kind.
func tellIn(r words.Reader, english string) string {
	for _, kind := range []string{"Wrong state: ", "Not allowed: ", "Conflict: "} {
		english = strings.TrimPrefix(english, kind)
	}
	return sentence(r.Again(strings.TrimSuffix(english, ".")))
}

// Is says whether it was this form.
func (r refusal) Is(form string) bool { return r.Form == form }

// Typed is what had been typed into a field of the form that was refused; another form's fields are empty.
func (r refusal) Typed(form, field string) string {
	if r.Form != form {
		return ""
	}
	return r.values.Get(field)
}

// Kept is what had been typed into a field, also where that was nothing, and else what the field begins with.
func (r refusal) Kept(form, field, first string) string {
	if r.Form != form {
		return first
	}
	return r.values.Get(field)
}

// Chose says whether a choice of the form that was refused had been made.
func (r refusal) Chose(form, field, choice string) bool {
	if r.Form != form {
		return false
	}
	for _, v := range r.values[field] {
		if v == choice {
			return true
		}
	}
	return false
}
