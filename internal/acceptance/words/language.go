package words

import (
	"embed"
	"fmt"
	"io/fs"
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
	if len(s.Months) != 12 {
		return nil, fmt.Errorf("%s/language.yaml: %d months", tag, len(s.Months))
	}
	l.Name, l.decimal, l.group, l.dateLayout, l.months = s.Name, s.Decimal, s.Group, s.Date, s.Months
	l.plural, l.plurals = rule.of, rule.forms
	names, err := fs.Glob(tree, tag+"/*.yaml")
	if err != nil {
		return nil, err
	}
	for _, name := range names {
		if path.Base(name) == "language.yaml" {
			continue
		}
		if err := l.readFamily(tree, name); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	return l, nil
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
			l.terms[strings.TrimPrefix(code, "term.")] = forms
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
