package web_test

import (
	"context"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"proofhouse/internal/ledger"
)

// browser is one person's browser: it keeps cookies and does not follow redirects.
type browser struct {
	w      *world
	client *http.Client

	language string // asked for, "" for none
}

func (w *world) nobody() *browser {
	jar, err := cookiejar.New(nil)
	require.NoError(w.t, err)
	return &browser{w: w, client: &http.Client{Jar: jar, Timeout: time.Minute, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

// logIn is a browser with a session of that person's. The form to log in by has tests of its own.
func (w *world) logIn(email string) *browser {
	w.t.Helper()
	b := w.nobody()
	secret := as(w, email, func(ctx context.Context, tx *ledger.Tx) (string, error) {
		_, secret, err := tx.StartSession(ctx, time.Hour, ledger.From{Via: ledger.ViaPassword})
		return secret, err
	})
	at, err := url.Parse(w.base)
	require.NoError(w.t, err)
	b.client.Jar.SetCookies(at, []*http.Cookie{{Name: "proofhouse_session", Value: secret, Path: "/"}})
	return b
}

func (b *browser) get(path string) *page {
	b.w.t.Helper()
	r, err := http.NewRequestWithContext(b.w.t.Context(), http.MethodGet, b.w.base+path, nil)
	require.NoError(b.w.t, err)
	return b.send(r)
}

func (b *browser) post(path string, form url.Values, headers ...string) *page {
	b.w.t.Helper()
	r, err := http.NewRequestWithContext(b.w.t.Context(), http.MethodPost, b.w.base+path, strings.NewReader(form.Encode()))
	require.NoError(b.w.t, err)
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	return b.send(r)
}

func (b *browser) send(r *http.Request) *page {
	b.w.t.Helper()
	if b.language != "" {
		r.Header.Set("Accept-Language", b.language)
	}
	resp, err := b.client.Do(r)
	require.NoError(b.w.t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(b.w.t, err)
	p := &page{b: b, path: r.URL.Path, posted: r.Method == http.MethodPost, status: resp.StatusCode, header: resp.Header, body: string(body)}
	p.node, err = html.Parse(strings.NewReader(p.body))
	require.NoError(b.w.t, err)
	return p
}

// page is an answer, looked at by meaning: elements by a small selector, and what they say.
type page struct {
	b      *browser
	path   string
	posted bool
	status int
	header http.Header
	body   string
	node   *html.Node
}

// follow goes where a redirect points to.
func (p *page) follow() *page {
	p.b.w.t.Helper()
	require.Equal(p.b.w.t, http.StatusSeeOther, p.status, p.text("main"))
	return p.b.get(p.header.Get("Location"))
}

// all finds elements by a selector of steps ("section.decide input[name=decision]"): each step is a tag, .class, #id or
// [attribute=value], or several of these together, and stands somewhere below the one before.
func (p *page) all(selector string) []*html.Node { return below(p.node, strings.Fields(selector)) }

func below(n *html.Node, steps []string) []*html.Node {
	var out []*html.Node
	seen := map[*html.Node]bool{}
	var walk func(n *html.Node, steps []string)
	walk = func(n *html.Node, steps []string) {
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c, steps)
			if c.Type != html.ElementNode || !fits(c, steps[0]) {
				continue
			}
			if len(steps) > 1 {
				walk(c, steps[1:])
			} else if !seen[c] {
				seen[c] = true
				out = append(out, c)
			}
		}
	}
	walk(n, steps)
	return inOrder(n, seen, out[:0])
}

// inOrder gives the found elements in the order of the document.
func inOrder(n *html.Node, seen map[*html.Node]bool, out []*html.Node) []*html.Node {
	for d := range n.Descendants() {
		if seen[d] {
			out = append(out, d)
		}
	}
	return out
}

func fits(n *html.Node, step string) bool {
	tag := step[:len(step)-len(strings.TrimLeft(step, "abcdefghijklmnopqrstuvwxyz0123456789"))]
	if tag != "" && n.Data != tag {
		return false
	}
	for rest := step[len(tag):]; rest != ""; {
		end := strings.IndexAny(rest[1:], ".#[") + 1
		if end == 0 {
			end = len(rest)
		}
		one := rest[:end]
		rest = rest[end:]
		switch one[0] {
		case '.':
			if !strings.Contains(" "+attr(n, "class")+" ", " "+one[1:]+" ") {
				return false
			}
		case '#':
			if attr(n, "id") != one[1:] {
				return false
			}
		default:
			name, want, has := strings.Cut(strings.Trim(one, "[]"), "=")
			if !hasAttr(n, name) || has && attr(n, name) != want {
				return false
			}
		}
	}
	return true
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func hasAttr(n *html.Node, name string) bool {
	for _, a := range n.Attr {
		if a.Key == name {
			return true
		}
	}
	return false
}

// textOf is what an element says, with single blanks.
func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data + " ")
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// texts is what each of the elements says.
func (p *page) texts(selector string) []string {
	var out []string
	for _, n := range p.all(selector) {
		out = append(out, textOf(n))
	}
	return out
}

// text is what the elements say together.
func (p *page) text(selector string) string { return strings.Join(p.texts(selector), " ") }

// attrs is one attribute of each of the elements.
func (p *page) attrs(selector, name string) []string {
	var out []string
	for _, n := range p.all(selector) {
		out = append(out, attr(n, name))
	}
	return out
}

// has says whether there is such an element.
func (p *page) has(selector string) bool { return len(p.all(selector)) > 0 }

// link is where the first link with this text goes.
func (p *page) link(text string) string {
	p.b.w.t.Helper()
	for _, n := range p.all("a") {
		if textOf(n) == text {
			return attr(n, "href")
		}
	}
	require.Fail(p.b.w.t, "no such link", "%q on %s: %s", text, p.path, p.text("main"))
	return ""
}

// form is what the form with this action would send as it stands; forms is the number of them.
func (p *page) form(action string, values ...string) url.Values {
	p.b.w.t.Helper()
	for _, f := range p.all("form") {
		own := attr(f, "action")
		if own == "" {
			own = p.path
		}
		if own != action || !holds(f, values) {
			continue
		}
		return fieldsOf(f)
	}
	require.Fail(p.b.w.t, "no such form", "%s on %s: %s", action, p.path, p.text("main"))
	return nil
}

// holds says whether the form has fields with these names and values, given in pairs after a "?".
func holds(f *html.Node, pairs []string) bool {
	v := fieldsOf(f)
	for i := 0; i+1 < len(pairs); i += 2 {
		if strings.HasPrefix(pairs[i], "?") && v.Get(pairs[i][1:]) != pairs[i+1] {
			return false
		}
	}
	return true
}

func fieldsOf(f *html.Node) url.Values {
	v := url.Values{}
	for n := range f.Descendants() {
		name := attr(n, "name")
		switch {
		case n.Type != html.ElementNode || name == "":
		case n.Data == "textarea":
			if n.FirstChild != nil {
				v.Add(name, n.FirstChild.Data)
			} else {
				v.Add(name, "")
			}
		case n.Data == "select":
			for o := range n.Descendants() {
				if o.Data == "option" && (hasAttr(o, "selected") || !v.Has(name)) {
					v.Set(name, attr(o, "value"))
				}
			}
		case n.Data == "input" && (attr(n, "type") == "radio" || attr(n, "type") == "checkbox"):
			if hasAttr(n, "checked") {
				v.Add(name, attr(n, "value"))
			}
		case n.Data == "input":
			v.Add(name, attr(n, "value"))
		}
	}
	return v
}

// submit fills fields in and sends the form: names and values in pairs. A name that begins with "?" picks the form.
func (p *page) submit(action string, pairs ...string) *page {
	p.b.w.t.Helper()
	v := p.form(action, pairs...)
	for i := 0; i+1 < len(pairs); i += 2 {
		if !strings.HasPrefix(pairs[i], "?") {
			v.Set(pairs[i], pairs[i+1])
		}
	}
	return p.b.post(action, v)
}

func TestSelectorFindsWhatItSays(t *testing.T) {
	t.Parallel()
	node, err := html.Parse(strings.NewReader(`<main id=m><p class="a b">one</p><section class=s><p class=b>two <i>and</i></p><input name=x value=1></section></main>`))
	require.NoError(t, err)
	p := &page{node: node}
	require.Equal(t, []string{"one", "two and"}, p.texts("p"))
	require.Equal(t, []string{"one", "two and"}, p.texts("#m .b"))
	require.Equal(t, []string{"two and"}, p.texts("section p.b"))
	require.Equal(t, []string{"one"}, p.texts(".a.b"))
	require.Equal(t, []string{"1"}, p.attrs("main .s input[name=x]", "value"))
	require.False(t, p.has("input[name=y]"))
	require.False(t, p.has("section section"))
}
