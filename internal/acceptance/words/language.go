package words

import (
	"embed"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"
	"sync"

	"gopkg.in/yaml.v3"
)

//go:embed */*.yaml
var files embed.FS

// Source is the catalogue's files of one language, for whoever must know when its words change.
func Source(lang string) (fs.FS, error) { return fs.Sub(files, lang) }

// Language says phrases in one language.
type Language struct {
	Tag  string // BCP 47: "en", "de"
	Name string // as its speakers write it

	decimal, group string
	plural         func(n int) int
	plurals        int
	months         []string
	dateLayout     string // {d}, {month}, {y}
	shortMonths    []string
	shortLayout    string
	weekdays       []string  // Sunday first
	money          string    // {amount}, {currency}
	fallback       *Language // what is said where this one lacks a code; nil for English
	templates      map[string]template
	terms          map[string]map[string]string // by code, then by form; "" is the plain form
	twice          []string                     // codes that stand in two files
}

// settings is language.yaml.
type settings struct {
	Name    string   `yaml:"name"`
	Decimal string   `yaml:"decimal"`
	Group   string   `yaml:"group"`
	Plural  string   `yaml:"plural"`
	Date    string   `yaml:"date"`
	Months  []string `yaml:"months"`

	ShortDate   string   `yaml:"short_date"`
	ShortMonths []string `yaml:"short_months"`
	Weekdays    []string `yaml:"weekdays"`
	Money       string   `yaml:"money"`
}

// pluralRules by name: how many forms, and which goes with a number. From the Unicode CLDR's plural rules for whole
// numbers (Unicode Technical Standard 35, part 3, "Language plural rules").
var pluralRules = map[string]struct {
	forms int
	of    func(n int) int
}{
	"none":      {1, func(int) int { return 0 }},
	"one-other": {2, func(n int) int { return btoi(n != 1) }},
	"zero-one":  {2, func(n int) int { return btoi(n > 1) }},
	"one-few-many": {3, func(n int) int {
		switch {
		case n == 1:
			return 0
		case n%10 >= 2 && n%10 <= 4 && (n%100 < 12 || n%100 > 14):
			return 1
		}
		return 2
	}},
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

var load = sync.OnceValue(func() map[string]*Language {
	out := map[string]*Language{}
	dirs, err := fs.ReadDir(files, ".")
	if err != nil {
		panic(err) // an embedded file system does not fail
	}
	for _, d := range dirs {
		l, err := read(files, d.Name())
		if err != nil {
			panic(fmt.Sprintf("message catalogue: %v", err)) // a test reads every file
		}
		out[d.Name()] = l
	}
	for tag, l := range out {
		if tag != "en" {
			l.fallback = out["en"]
		}
	}
	return out
})

// read reads one language's files.
func read(tree fs.FS, tag string) (*Language, error) {
	l := &Language{Tag: tag, templates: map[string]template{}, terms: map[string]map[string]string{}}
	var s settings
	data, err := fs.ReadFile(tree, path.Join(tag, "language.yaml"))
	if err != nil {
		return nil, err
	}
	if err := yaml.Unmarshal(data, &s); err != nil {
		return nil, fmt.Errorf("%s/language.yaml: %w", tag, err)
	}
	rule, ok := pluralRules[s.Plural]
	if !ok {
		return nil, fmt.Errorf("%s/language.yaml: no plural rule is called %q", tag, s.Plural)
	}
	if len(s.Months) != 12 || len(s.ShortMonths) != 12 || len(s.Weekdays) != 7 {
		return nil, fmt.Errorf("%s/language.yaml: %d months, %d short, %d days of the week", tag, len(s.Months), len(s.ShortMonths), len(s.Weekdays))
	}
	l.Name, l.decimal, l.group, l.dateLayout, l.months = s.Name, s.Decimal, s.Group, s.Date, s.Months
	l.shortLayout, l.shortMonths, l.weekdays, l.money = s.ShortDate, s.ShortMonths, s.Weekdays, s.Money
	l.plural, l.plurals = rule.of, rule.forms
	return l, l.readFamilies(tree)
}

// readFamilies reads the files of the language's folder.
func (l *Language) readFamilies(tree fs.FS) error {
	names, err := fs.Glob(tree, l.Tag+"/*.yaml")
	if err != nil {
		return err
	}
	for _, name := range names {
		if path.Base(name) == "language.yaml" {
			continue
		}
		if err := l.readFamily(tree, name); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	return nil
}

// Joined returns every language with the codes and terms of further files beside those of the catalogue: for a program that
// has more to say than the checks. The tree has a folder for each language with one file for each family, as this
// package has them; a code that stands twice is an error.
func Joined(tree fs.FS) ([]*Language, error) {
	var out []*Language
	for _, known := range Languages() {
		l := *known
		l.templates, l.terms, l.twice = maps.Clone(known.templates), maps.Clone(known.terms), nil
		if err := l.readFamilies(tree); err != nil {
			return nil, err
		}
		if len(l.twice) > 0 {
			return nil, fmt.Errorf("in two files of %s: %s", l.Tag, strings.Join(l.twice, ", "))
		}
		if len(out) > 0 {
			l.fallback = out[0] // English comes first
		}
		out = append(out, &l)
	}
	return out, nil
}

// readFamily reads one family's file. Every code in it begins with the family's name.
func (l *Language) readFamily(tree fs.FS, name string) error {
	data, err := fs.ReadFile(tree, name)
	if err != nil {
		return err
	}
	var entries map[string]yaml.Node
	if err := yaml.Unmarshal(data, &entries); err != nil {
		return err
	}
	family, _, _ := strings.Cut(path.Base(name), ".") // "uv" of uv.yaml and of uv.checks.yaml
	for code, node := range entries {
		if !strings.HasPrefix(code, family+".") {
			return fmt.Errorf("%s does not begin with %q", code, family+".")
		}
		if family == "term" {
			forms := map[string]string{}
			if node.Kind == yaml.ScalarNode {
				forms[""] = node.Value
			} else if err := node.Decode(&forms); err != nil {
				return fmt.Errorf("%s: %w", code, err)
			} else if plain, ok := forms["plain"]; ok {
				forms[""] = plain
				delete(forms, "plain")
			} else {
				return fmt.Errorf("%s: no form is called plain", code)
			}
			term := strings.TrimPrefix(code, "term.")
			if _, twice := l.terms[term]; twice {
				l.twice = append(l.twice, code)
			}
			l.terms[term] = forms
			continue
		}
		if node.Kind != yaml.ScalarNode {
			return fmt.Errorf("%s: is not text", code)
		}
		if _, twice := l.templates[code]; twice {
			l.twice = append(l.twice, code) // a test names them; a program goes on
		}
		t, err := parse(node.Value, l.plurals)
		if err != nil {
			return fmt.Errorf("%s: %w", code, err)
		}
		l.templates[code] = t
	}
	return nil
}

// English is the language of the evidence's own text, and what is said where another language lacks a code.
func English() *Language { return load()["en"] }

// In returns a language by its tag; "de-AT" and "de_AT.UTF-8" are German. ok is false and the language English where the
// catalogue does not speak it.
func In(tag string) (l *Language, ok bool) {
	base, _, _ := strings.Cut(strings.ToLower(tag), "-")
	base, _, _ = strings.Cut(base, "_")
	base, _, _ = strings.Cut(base, ".")
	if l = load()[base]; l != nil {
		return l, true
	}
	return English(), false
}

// Languages are all that the catalogue speaks, English first, then by tag.
func Languages() []*Language {
	var out []*Language
	for _, l := range load() {
		out = append(out, l)
	}
	slices.SortFunc(out, func(a, b *Language) int {
		if (a.Tag == "en") != (b.Tag == "en") {
			return 1 - 2*btoi(a.Tag == "en")
		}
		return strings.Compare(a.Tag, b.Tag)
	})
	return out
}

// Has says whether the language has words for a code.
func (l *Language) Has(code string) bool {
	_, ok := l.templates[code]
	return ok
}

// Codes are all codes of the language, sorted; terms begin with "term.".
func (l *Language) Codes() []string {
	var out []string
	for c := range l.templates {
		out = append(out, c)
	}
	for c := range l.terms {
		out = append(out, "term."+c)
	}
	slices.Sort(out)
	return out
}
