package post

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	htmltemplate "html/template"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // zones are the same on every machine

	"github.com/google/uuid"
	"go.yaml.in/yaml/v3"

	"proofhouse/internal/ledger"
)

//go:embed words/*.yaml
var wordFiles embed.FS

// languages are what mails can be written in: the name of each file of words.
var languages = func() map[string]map[string]string {
	files, err := wordFiles.ReadDir("words")
	if err != nil {
		panic(err) // embedded
	}
	all := map[string]map[string]string{}
	for _, f := range files {
		text, err := wordFiles.ReadFile("words/" + f.Name())
		if err != nil {
			panic(err)
		}
		words := map[string]string{}
		if err := yaml.Unmarshal(text, &words); err != nil {
			panic(fmt.Errorf("%s: %w", f.Name(), err))
		}
		all[strings.TrimSuffix(f.Name(), ".yaml")] = words
	}
	return all
}()

// linesMax is how many news one mail lists.
const linesMax = 100

// Mail is a mail as it is handed over: plain text and simple HTML, no pictures.
type Mail struct {
	To, Subject string
	Text, HTML  string
	Stop        string // address of one click; "" where there is none to unsubscribe from
}

// writer writes one letter in its reader's language and zone.
type writer struct {
	letter ledger.Letter
	words  map[string]string
	zone   *time.Location
	public string // the service's address, without a slash at its end
}

// Compose writes a letter. public is the address at which people reach the service.
func Compose(l ledger.Letter, public string) (Mail, error) {
	w := writer{letter: l, words: languages["en"], zone: time.UTC, public: strings.TrimRight(public, "/")}
	language, _, _ := strings.Cut(l.Language, "-")
	if words, ok := languages[language]; ok {
		w.words = words
	}
	if zone, err := time.LoadLocation(l.Zone); err == nil && l.Zone != "" {
		w.zone = zone
	}
	switch l.Kind {
	case "news", "digest":
		return w.news()
	case "invitation":
		return w.mail(w.say("invitation.subject", "of", l.Of), w.say("invitation.hello"),
			paragraph{Text: w.say("invitation.text", "of", l.Of, "until", w.moment(l.Until))}, paragraph{Link: w.public + "/join/" + l.Secret}, paragraph{Text: w.say("invitation.else", "of", l.Of)})
	case "reset":
		return w.mail(w.say("reset.subject"), w.hello(), paragraph{Text: w.say("reset.text")}, paragraph{Link: w.public + "/reset/" + l.Secret}, paragraph{Text: w.say("reset.else")})
	case "locked":
		return w.mail(w.say("locked.subject"), w.hello(), paragraph{Text: w.say("locked.text")}, paragraph{Text: w.say("locked.else", "link", w.public+"/account")})
	case "door":
		return w.mail(w.say("door.subject"), w.hello(), paragraph{Text: w.say("door." + l.Why)}, paragraph{Text: w.say("door.else", "link", w.public+"/account")})
	case "hook_disabled":
		return w.mail(w.say("hook_disabled.subject"), w.hello(), paragraph{Text: w.say("hook_disabled."+l.Why, "url", l.URL)},
			paragraph{Text: w.say("hook_disabled.else", "link", w.public+"/account/webhooks")})
	}
	return Mail{}, fmt.Errorf("a mail of the kind %q is not known", l.Kind)
}

// say fills a sentence: pairs are names and values.
func (w writer) say(code string, pairs ...string) string {
	text, ok := w.words[code]
	if !ok {
		return code
	}
	for i := 0; i+1 < len(pairs); i += 2 {
		pairs[i] = "{" + pairs[i] + "}"
	}
	return strings.NewReplacer(pairs...).Replace(text)
}

func (w writer) hello() string { return w.say("hello", "name", w.letter.Name) }

// moment is a time where the reader is, with its zone said.
func (w writer) moment(t time.Time) string { return t.In(w.zone).Format("2006-01-02 15:04 MST") }

// paragraph is a text, or a link on a line of its own.
type paragraph struct {
	Text, Link string
	Small      bool
}

// line is one piece of news.
type line struct{ Text, Link string }

func (w writer) news() (Mail, error) {
	lines := make([]line, 0, min(len(w.letter.News), linesMax))
	for _, n := range w.letter.News[:min(len(w.letter.News), linesMax)] {
		var b ledger.NewsBody
		if err := json.Unmarshal(n.Body, &b); err != nil {
			return Mail{}, fmt.Errorf("news %d: %w", n.Seq, err)
		}
		lines = append(lines, line{w.say("line", "about", w.about(b.Data), "what", w.what(b)), w.address(b.Data)})
	}
	subject, intro := w.say("digest.subject", "day", w.letter.Day), w.say("digest.intro")
	if w.letter.Kind == "news" {
		subject, intro = lines[0].Text, w.say("news.intro")
		if len(w.letter.News) > 1 {
			subject = w.say("news.subject_many", "n", strconv.Itoa(len(w.letter.News)))
		}
	}
	parts := []paragraph{{Text: intro}}
	after := []paragraph{{Text: w.say("choose", "link", w.public+"/account/mail"), Small: true}, {Text: w.say("stop", "link", w.stop()), Small: true}}
	if rest := len(w.letter.News) - len(lines); rest > 0 {
		after = append([]paragraph{{Text: w.say("more", "n", strconv.Itoa(rest), "link", w.public+"/")}}, after...)
	}
	return w.write(subject, w.hello(), parts, lines, after)
}

// about names what news are about, as far as outsiders may know it: the news hold codenames where an order is secret.
func (w writer) about(a ledger.NewsAbout) string {
	var parts []string
	for _, part := range []string{a.WorkOrder, a.Prop} {
		if part != "" {
			parts = append(parts, part)
		}
	}
	if a.Milestone != "" {
		parts = append(parts, w.say("milestone."+a.Milestone))
	}
	if len(parts) == 0 {
		return w.letter.Of
	}
	return strings.Join(parts, " · ")
}

func (w writer) what(b ledger.NewsBody) string {
	effective := b.Data.EffectiveAt
	if t, err := time.Parse(time.RFC3339, effective); err == nil {
		effective = w.moment(t)
	}
	return w.say("what."+b.Type, "effective", effective, "due", b.Data.DueOn)
}

// address is the page that shows most of what news are about.
func (w writer) address(a ledger.NewsAbout) string {
	for _, to := range []struct {
		folder string
		id     *uuid.UUID
	}{{"deliveries", a.DeliveryID}, {"questions", a.QuestionID}, {"props", a.PropID}, {"orders", a.WorkOrderID}} {
		if to.id != nil {
			return w.public + "/" + to.folder + "/" + to.id.String()
		}
	}
	return w.public + "/"
}

func (w writer) stop() string {
	return w.public + "/mail/stop/" + w.letter.Member.String() + "/" + w.letter.Stop
}

func (w writer) mail(subject, hello string, parts ...paragraph) (Mail, error) {
	return w.write(subject, hello, parts, nil, nil)
}

// page is the HTML: tables and pictures there are none, and no style but the reader's own.
var page = htmltemplate.Must(htmltemplate.New("mail").Parse(`<!doctype html>
<html lang="{{.Language}}"><head><meta charset="utf-8"><title>{{.Subject}}</title></head><body>
<p>{{.Hello}}</p>
{{range .Parts}}<p>{{with .Text}}{{.}}{{end}}{{with .Link}}<a href="{{.}}">{{.}}</a>{{end}}</p>
{{end}}{{with .Lines}}<ul>
{{range .}}<li><a href="{{.Link}}">{{.Text}}</a></li>
{{end}}</ul>
{{end}}{{range .After}}<p>{{if .Small}}<small>{{.Text}}</small>{{else}}{{.Text}}{{end}}</p>
{{end}}<p>{{.Bye}}</p>
</body></html>
`))

func (w writer) write(subject, hello string, parts []paragraph, lines []line, after []paragraph) (Mail, error) {
	bye := w.say("bye", "of", w.letter.Of)
	var text strings.Builder
	fmt.Fprintf(&text, "%s\n\n", hello)
	for _, p := range parts {
		fmt.Fprintf(&text, "%s%s\n\n", p.Text, p.Link)
	}
	for _, l := range lines {
		fmt.Fprintf(&text, "- %s\n  %s\n", l.Text, l.Link)
	}
	if len(lines) > 0 {
		text.WriteString("\n")
	}
	for _, p := range after {
		fmt.Fprintf(&text, "%s\n\n", p.Text)
	}
	fmt.Fprintf(&text, "-- \n%s\n", bye)
	var html bytes.Buffer
	language, _, _ := strings.Cut(w.letter.Language, "-")
	if languages[language] == nil {
		language = "en"
	}
	if err := page.Execute(&html, map[string]any{"Language": language, "Subject": subject, "Hello": hello, "Parts": parts, "Lines": lines, "After": after, "Bye": bye}); err != nil {
		return Mail{}, fmt.Errorf("compose: %w", err)
	}
	m := Mail{To: w.letter.Address, Subject: subject, Text: text.String(), HTML: html.String()}
	if w.letter.Kind == "news" || w.letter.Kind == "digest" {
		m.Stop = w.stop()
	}
	return m, nil
}
