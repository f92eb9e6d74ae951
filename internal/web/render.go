package web

import (
	"bytes"
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// pageNames are the templates with a page of their own.
var pageNames = []string{"askreset", "proof", "reset", "stopmail", "mail", "webhooks", "webhook", "login", "join", "work", "today", "props", "projects", "project", "figures", "bulkspec", "waitingspecs", "orders", "order", "prop", "spec", "delivery", "view", "deliver", "neworder", "proplist", "oneprop", "payables", "income", "stored", "specdraft", "people", "account", "doors", "access", "problem", "paper", "questions", "question", "references", "pack", "batch", "capacity", "review", "reviewone", "permits"}

// frame is what every page has around it.
type frame struct {
	Title any // words.Phrase, or text
	Who   *ledger.Who
	Here  string // where to come back to after choosing a language
	At    string // the part of the site that the page belongs to: "work", "orders", "people", "account"
}

// copies are one page's template, of which each rendering borrows a copy: a template's functions are bound to it for good,
// and here they speak to one reader.
type copies struct {
	parsed *template.Template // never executed, or it could not be cloned
	free   chan *lent
}

// lent is a template with the reader to whom its functions speak.
type lent struct {
	*template.Template
	reader *words.Reader
}

// copiesKept bounds the copies that wait to be borrowed again. Making one costs a millisecond or two.
const copiesKept = 16

func (p *copies) borrow() (*lent, error) {
	select {
	case b := <-p.free:
		return b, nil
	default:
	}
	t, err := p.parsed.Clone()
	if err != nil {
		return nil, err
	}
	r := &words.Reader{}
	return &lent{t.Funcs(functions(r)), r}, nil
}

func (p *copies) giveBack(b *lent) {
	select {
	case p.free <- b:
	default:
	}
}

func (p *Pages) readTemplates() error {
	for _, name := range pageNames {
		t, err := template.New("frame.html").Funcs(functions(&words.Reader{})).ParseFS(templateFiles, "templates/frame.html", "templates/pieces.html", "templates/talk_pieces.html", "templates/review_pieces.html", "templates/"+name+".html")
		if err != nil {
			return err
		}
		p.pages[name] = &copies{t, make(chan *lent, copiesKept)}
	}
	return nil
}

func (p *Pages) render(c echo.Context, status int, name string, f frame, data any) error {
	if who, ok := httpapi.Caller(c.Request().Context()); ok {
		f.Who = &who
	} else if f.Here = "/login"; c.Request().Method == http.MethodGet && name != "problem" {
		f.Here = c.Request().URL.RequestURI()
	}
	if text, ok := f.Title.(string); ok {
		f.Title = words.Text(text)
	}
	page, err := p.pages[name].borrow()
	if err != nil {
		return fmt.Errorf("web: page %s: %w", name, err)
	}
	defer p.pages[name].giveBack(page)
	*page.reader = p.reader(c)
	var b bytes.Buffer
	if err := page.Execute(&b, map[string]any{"Frame": f, "Page": data}); err != nil {
		return fmt.Errorf("web: page %s: %w", name, err)
	}
	h := c.Response().Header()
	h.Set("Content-Security-Policy", p.policyOf(name))
	h.Set("Content-Language", page.reader.Tag)
	h.Add(echo.HeaderVary, "Accept-Language")
	if c.Request().Method == http.MethodPost && status >= http.StatusBadRequest && name != "proof" { // that one may hold a secret of the form
		// A refused form may be kept, or the back button would lead from the next page to a browser's error.
		h.Set(echo.HeaderCacheControl, "private, no-cache")
	}
	return c.HTMLBlob(status, b.Bytes())
}

// policyOf is the policy of a page. Two have script, the service's own: the 3D view unpacks pictures out of a model, and
// delivering sends files to the storage.
func (p *Pages) policyOf(name string) string {
	switch name {
	case "view", "review", "reviewone":
		return strings.Replace(policy, "img-src 'self'", "img-src 'self' blob:", 1) + "; script-src 'self'; connect-src 'self' blob:"
	case "prop", "delivery":
		return policy + "; script-src 'self'; connect-src 'self'"
	case "deliver", "batch":
		return policy + "; script-src 'self'; worker-src 'self'; connect-src 'self' " + p.storage.LinkOrigin()
	}
	return policy
}
