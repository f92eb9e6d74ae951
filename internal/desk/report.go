package desk

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	_ "image/png" // sizes of the pictures
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// ReportName is the page that an inspection leaves beside its evidence.
const ReportName = "report.html"

//go:embed report.html
var reportHTML string

//go:embed report.css
var reportCSS string

// reportPage is what report.html shows.
type reportPage struct {
	l *words.Language

	Tag, Dir string // of the language
	CSS      template.CSS
	E        *acceptance.Evidence // said in the language
	Folder   string
	Verdict  string // its class and code: "pass", "fail", "not_evaluated"
	Prop     []reportPicture
	Sections []reportSection
	Revision []acceptance.Finding
	Clear    []acceptance.Finding
	Tally    acceptance.Counted
	Rules    []reportRule
	Open     []acceptance.Question
}

type reportSection struct {
	Title string
	Kind  string // class: what the findings lead to
	Cards []reportCard
}

// reportCard is one finding.
type reportCard struct {
	Number   int
	Title    string
	Check    string
	Target   string
	F        acceptance.Finding
	Measured string
	Limits   []reportLimit
	Places   []string
	More     int // places beyond those listed
	Follows  []string
	Also     []string // further checks that say the very same
	Counts   string   // milestone from which it counts, where it does not yet
	Pictures []reportPicture
}

type reportLimit struct{ What, Key, Value string }

// reportPicture is one picture, carried in the page itself. One that was shown before is only named.
type reportPicture struct {
	ID, What      string
	URI           template.URL
	Width, Height int
	Shown         bool
}

// reportRule is a limit in force.
type reportRule struct {
	Check, Title, Mode string
	Rows               []reportRuleRow
}

type reportRuleRow struct{ Key, What, Value, Origin string }

// WriteReport writes the page of an inspection: one file that needs no other and asks no server, for a reader who knows
// no command line. out is the folder that holds the pictures; sp is the spec as it counted.
func WriteReport(w io.Writer, l *words.Language, e *acceptance.Evidence, sp *spec.Spec, out, folder string, open []acceptance.Question) error {
	b := &reportBuilder{l: l, defs: map[string]spec.Check{}, shown: map[string]string{}}
	for _, c := range sp.Catalogue() {
		b.defs[c.Name] = c
	}
	p := reportPage{
		l: l, Tag: l.Tag, Dir: "ltr", CSS: template.CSS(reportCSS), E: acceptance.In(l, e), Folder: folder,
		Verdict: string(e.Verdict), Tally: acceptance.Tally(e.Findings), Open: questionsIn(l, open),
	}
	if err := b.readPictures(out, p.E.Pictures); err != nil {
		return err
	}
	p.Prop = b.ofProp(p.E)
	for _, s := range acceptance.Sections(p.E) {
		p.Sections = append(p.Sections, b.section(s, p.E))
	}
	for _, f := range p.E.Findings {
		switch {
		case acceptance.FamilyOf(f.Check) == "revision":
			p.Revision = append(p.Revision, f)
		case f.Outcome == acceptance.Pass && f.Labels["limit"] == "" && f.FollowsFrom == "":
			p.Clear = append(p.Clear, f)
		}
	}
	p.Rules = b.rules(sp.At(e.Spec.Milestone), e)
	page, err := template.New(ReportName).Funcs(template.FuncMap{
		"say":    func(code string, args ...words.Arg) string { return l.Say(code, args...) },
		"count":  func(n int) words.Arg { return words.Count(n) },
		"name":   words.Name,
		"share":  words.Share,
		"bytes":  func(n int64) string { return l.Say(words.Literal, words.Bytes(n)) },
		"target": func(f acceptance.Finding) string { return acceptance.TargetWords(l, f) },
		"title":  b.title,
		"cut":    func(s string) string { return s[:min(len(s), 12)] },
	}).Parse(reportHTML)
	if err != nil {
		return fmt.Errorf("read the report's template: %w", err)
	}
	if err := page.Execute(w, p); err != nil {
		return fmt.Errorf("write the report: %w", err)
	}
	return nil
}

// questionsIn are the questions with their sentences in a language.
func questionsIn(l *words.Language, qs []acceptance.Question) []acceptance.Question {
	out := slices.Clone(qs)
	for i := range out {
		out[i].Why = out[i].In(l)
	}
	return out
}

// saveReport writes the page beside the evidence and returns its path.
func saveReport(l *words.Language, e *acceptance.Evidence, sp *spec.Spec, out, folder string, open []acceptance.Question) (string, error) {
	var page bytes.Buffer
	if err := WriteReport(&page, l, e, sp, out, folder, open); err != nil {
		return "", err
	}
	path := filepath.Join(out, ReportName)
	if err := os.WriteFile(path, page.Bytes(), 0o644); err != nil {
		return "", fmt.Errorf("write the report: %w", err)
	}
	return path, nil
}

type reportBuilder struct {
	l        *words.Language
	defs     map[string]spec.Check
	pictures map[string]reportPicture // by file name
	shown    map[string]string        // names that a card has shown already
}

// readPictures takes the pictures into the page. A model for a 3D viewer is no picture and stays beside the page.
func (b *reportBuilder) readPictures(out string, refs []acceptance.PicRef) error {
	b.pictures = map[string]reportPicture{}
	for i, ref := range refs {
		if !strings.HasSuffix(ref.Name, ".png") {
			continue
		}
		data, err := os.ReadFile(filepath.Join(out, filepath.Base(ref.Name)))
		if err != nil {
			return fmt.Errorf("read a picture for the report: %w", err)
		}
		size, _, err := image.DecodeConfig(bytes.NewReader(data))
		if err != nil {
			return fmt.Errorf("read the picture %s for the report: %w", ref.Name, err)
		}
		b.pictures[ref.Name] = reportPicture{
			ID: fmt.Sprintf("picture-%d", i+1), What: ref.What, Width: size.Width, Height: size.Height,
			URI: template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(data)), //nolint:gosec // bytes of our own making
		}
	}
	return nil
}

// ofProp are the pictures that no finding names: the prop itself.
func (b *reportBuilder) ofProp(e *acceptance.Evidence) []reportPicture {
	named := map[string]bool{}
	for _, f := range e.Findings {
		for _, p := range f.Pictures {
			named[p] = true
		}
	}
	var out []reportPicture
	for _, ref := range e.Pictures {
		if pic, ok := b.pictures[ref.Name]; ok && !named[ref.Name] {
			out = append(out, pic)
			b.shown[ref.Name] = pic.ID
		}
	}
	return out
}

func (b *reportBuilder) title(check string) string {
	return b.l.Or(check+"/title", b.defs[check].Title)
}

var sectionKinds = map[string]string{
	"report.issues": "fail", "report.not_evaluated": "not_evaluated", "report.warnings": "warn",
	"report.not_evaluated_soft": "soft", "report.reported_only": "soft",
}

func (b *reportBuilder) section(s acceptance.Section, e *acceptance.Evidence) reportSection {
	out := reportSection{Title: b.l.Say(s.Code), Kind: sectionKinds[s.Code]}
	first := map[string]int{} // what could not run for one and the same reason is one card
	for _, f := range s.Findings {
		if f.Outcome == acceptance.NotEvaluated {
			if i, told := first[f.Sentence]; told {
				out.Cards[i].Also = append(out.Cards[i].Also, b.named(f))
				continue
			}
			first[f.Sentence] = len(out.Cards)
		}
		out.Cards = append(out.Cards, b.card(len(out.Cards)+1, f, e))
	}
	return out
}

// named is a check by its title, with what it is about.
func (b *reportBuilder) named(f acceptance.Finding) string {
	if target := acceptance.TargetWords(b.l, f); target != "" {
		return b.title(f.Check) + " (" + target + ")"
	}
	return b.title(f.Check)
}

// placesShown is how many places a card lists: the rest is in the pictures and the evidence.
const placesShown = 5

func (b *reportBuilder) card(n int, f acceptance.Finding, e *acceptance.Evidence) reportCard {
	c := reportCard{Number: n, Title: b.title(f.Check), Check: f.Check, Target: acceptance.TargetWords(b.l, f), F: f,
		Follows: acceptance.Followers(b.l, e.Findings, f), Counts: f.Labels["counts_from"]}
	if f.Measured != nil {
		c.Measured = acceptance.NumberWords(b.l, f.Measured.Value, f.Measured.Unit)
	}
	def := b.defs[f.Check]
	for _, lim := range def.Limits {
		if v, on := f.Limit[lim.Key]; on {
			c.Limits = append(c.Limits, reportLimit{b.limitWhat(f.Check, lim), lim.Key, acceptance.NumberWords(b.l, v, lim.Unit)})
		}
	}
	for i, p := range f.Where {
		if i == placesShown {
			c.More = len(f.Where) - placesShown
			break
		}
		if where := acceptance.PlaceWords(b.l, p); where != "" {
			c.Places = append(c.Places, where)
		}
	}
	for _, name := range f.Pictures {
		pic, ok := b.pictures[name]
		if !ok {
			continue
		}
		if id, before := b.shown[name]; before {
			pic = reportPicture{ID: id, What: pic.What, Shown: true}
		}
		b.shown[name] = pic.ID
		c.Pictures = append(c.Pictures, pic)
	}
	return c
}

func (b *reportBuilder) limitWhat(check string, lim spec.Limit) string {
	return b.l.Or(check+"/limit/"+lim.Key, lim.What)
}

// rules are the limits in force, of the checks that were made.
func (b *reportBuilder) rules(sp *spec.Spec, e *acceptance.Evidence) []reportRule {
	var out []reportRule
	for _, c := range sp.Catalogue() {
		if len(e.Only) > 0 && !slices.Contains(e.Only, acceptance.FamilyOf(c.Name)) {
			continue
		}
		out = append(out, b.rule(c, sp.Rule(c.Name, nil, nil)))
	}
	return out
}

// rule is one check as it counts, with every limit that is on.
func (b *reportBuilder) rule(c spec.Check, r spec.Rule) reportRule {
	rule := reportRule{Check: c.Name, Title: b.title(c.Name), Mode: b.l.Say("report.mode_" + string(r.Mode))}
	for _, lim := range c.Limits {
		value := ""
		switch {
		case lim.List:
			value = strings.Join(r.Lists[lim.Key], ", ")
		case r.Words[lim.Key] != "":
			value = r.Words[lim.Key]
		default:
			if v, on := r.Num(lim.Key); on {
				value = acceptance.NumberWords(b.l, v, lim.Unit)
			}
		}
		if value != "" {
			rule.Rows = append(rule.Rows, reportRuleRow{lim.Key, b.limitWhat(c.Name, lim), value, r.Origins[lim.Key]})
		}
	}
	return rule
}
