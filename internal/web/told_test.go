package web

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

var printed = regexp.MustCompile(`%[.0-9]*[a-z]`)

// sentences gathers what a package's sources tell people when something is refused.
type sentences struct {
	found map[string]string // with samples set in, to where
}

func (s *sentences) add(text, where string) {
	s.found[strings.TrimSuffix(strings.ReplaceAll(printed.ReplaceAllString(text, "17"), "%%", "%"), ".")] = where
}

// literal is a text that stands in the source, also as the form that one is printed by.
func literal(e ast.Expr) (string, bool) {
	if call, ok := e.(*ast.CallExpr); ok && len(call.Args) > 0 {
		if sel, ok := call.Fun.(*ast.SelectorExpr); ok && sel.Sel.Name == "Sprintf" {
			e = call.Args[0]
		}
	}
	l, ok := e.(*ast.BasicLit)
	if !ok || l.Kind != token.STRING {
		return "", false
	}
	text, err := strconv.Unquote(l.Value)
	return text, err == nil
}

// refusals are the errors of the ledger whose words are for whoever asked.
var refusals = []string{"ErrState", "ErrForbidden", "ErrConflict", "ErrQuota"}

// saidAt is from which argument on the calls that gather faults have the sentence.
var saidAt = map[string]int{"add": 2, "fault": 1}

func (s *sentences) read(n ast.Node, where string) {
	switch n := n.(type) {
	case *ast.CallExpr:
		var name string
		switch f := n.Fun.(type) {
		case *ast.Ident:
			name = f.Name
		case *ast.SelectorExpr:
			name = f.Sel.Name
		}
		if name == "invalid" && len(n.Args) > 1 {
			if text, ok := literal(n.Args[1]); ok {
				s.add(text, where)
			}
		}
		if name == "allow" && len(n.Args) > 1 { // what it is that needs a role
			if text, ok := literal(n.Args[0]); ok {
				s.add(text, where)
			}
		}
		if at, has := saidAt[name]; has && len(n.Args) > at { // faults of what is ordered, and of lists
			for _, arg := range n.Args[at:] {
				if text, ok := literal(arg); ok && strings.Contains(text, " ") {
					s.add(text, where)
					break
				}
			}
		}
		if name != "Errorf" || len(n.Args) < 2 {
			return
		}
		text, ok := literal(n.Args[0])
		kind := n.Args[1]
		if sel, is := kind.(*ast.SelectorExpr); is {
			kind = sel.Sel
		}
		if id, is := kind.(*ast.Ident); ok && is && slices.Contains(refusals, id.Name) && strings.HasPrefix(text, "%w: ") {
			s.add(strings.TrimPrefix(text, "%w: "), where)
		}
	case *ast.CompositeLit:
		if of, ok := n.Type.(*ast.Ident); ok && of.Name == "BadRow" && len(n.Elts) == 3 {
			if text, ok := literal(n.Elts[2]); ok {
				s.add(text, where)
			}
		}
	case *ast.KeyValueExpr:
		if key, ok := n.Key.(*ast.Ident); ok && key.Name == "Why" {
			if text, ok := literal(n.Value); ok {
				s.add(text, where)
			}
		}
	case *ast.ValueSpec: // the interface's own tables
		if len(n.Values) != 1 {
			return
		}
		c, is := n.Values[0].(*ast.CompositeLit)
		if !is {
			return
		}
		switch name := n.Names[0].Name; {
		case strings.HasPrefix(name, "kind") && len(c.Elts) == 4:
			if text, isText := literal(c.Elts[2]); isText {
				s.add(text, where)
			}
		case name == "byConstraint", name == "pageTodo":
			for _, e := range c.Elts {
				if text, isText := literal(e.(*ast.KeyValueExpr).Value); isText {
					s.add(text, where)
				}
			}
		}
	}
}

// readSpec gathers what package spec says is wrong with a spec.
func (s *sentences) readSpec(n ast.Node, where string) {
	var says []ast.Expr
	switch n := n.(type) {
	case *ast.CallExpr:
		switch f := n.Fun.(type) {
		case *ast.Ident:
			if f.Name == "fault" || f.Name == "whole" {
				says = n.Args
			}
		case *ast.SelectorExpr:
			if f.Sel.Name == "fault" || f.Sel.Name == "Errorf" {
				says = n.Args
			}
		}
	case *ast.KeyValueExpr:
		if key, ok := n.Key.(*ast.Ident); ok && key.Name == "Message" {
			says = []ast.Expr{n.Value}
			if call, ok := n.Value.(*ast.CallExpr); ok {
				says = call.Args
			}
		}
	}
	for _, e := range says {
		if text, ok := literal(e); ok && strings.Contains(text, " ") {
			s.add(text, where)
			return
		}
	}
}

// ofSpecsOwn are errors of ours, no faults of a spec, and one whose hint is a sentence that the sample does not have.
var ofSpecsOwn = []string{"lay a change over a spec: 17", "digest of the spec: 17", "the pattern 17 has the token {17}, which is not known.17 Known are {17}"}

// TestFaultsOfSpecsHaveWords: whatever package spec finds wrong with a spec is known to the catalogue.
func TestFaultsOfSpecsHaveWords(t *testing.T) {
	t.Parallel()
	s := &sentences{map[string]string{}}
	sources, err := filepath.Glob(filepath.Join(here, "../acceptance/spec", "*.go"))
	require.NoError(t, err)
	for _, path := range sources {
		if strings.HasSuffix(path, "_test.go") || strings.HasSuffix(path, "manifest.go") { // a manifest is no spec
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool { s.readSpec(n, filepath.Base(path)); return true })
	}
	require.Greater(t, len(s.found), 25, "the reader of sources found too little to be believed")
	var lacking []string
	for text, where := range s.found {
		if !words.Knows(text) && !slices.Contains(ofSpecsOwn, text) {
			lacking = append(lacking, where+": "+text)
		}
	}
	slices.Sort(lacking)
	require.Empty(t, lacking, "no words in the catalogue (words/en/told.spec.yaml, words/de/told.spec.yaml):\n%s", strings.Join(lacking, "\n"))
}

// ofPrograms are problems that only programs run into.
var ofPrograms = []string{"The Idempotency-Key was used for something else", "is not an id of ours", "17"}

// TestRefusalsHaveWords: whatever the record, the pages or the interface refuse with is known to the catalogue.
func TestRefusalsHaveWords(t *testing.T) {
	t.Parallel()
	s := &sentences{map[string]string{}}
	for _, dir := range []string{".", "../ledger", "../httpapi"} {
		sources, err := filepath.Glob(filepath.Join(here, dir, "*.go"))
		require.NoError(t, err)
		require.NotEmpty(t, sources)
		for _, path := range sources {
			if strings.HasSuffix(path, "_test.go") {
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
			require.NoError(t, err)
			ast.Inspect(file, func(n ast.Node) bool { s.read(n, filepath.Base(path)); return true })
		}
	}
	require.Greater(t, len(s.found), 100, "the reader of sources found too little to be believed")
	var lacking []string
	for text, where := range s.found {
		if !words.Knows(text) && !slices.Contains(ofPrograms, text) {
			lacking = append(lacking, where+": "+text)
		}
	}
	slices.Sort(lacking)
	require.Empty(t, lacking, "no words in the catalogue (words/en/told.yaml, words/de/told.yaml):\n%s", strings.Join(lacking, "\n"))
}

func TestRefusalsAreSaidAgain(t *testing.T) {
	t.Parallel()
	de := reader("de")
	for english, want := range map[string]string{
		"Wrong state: the milestone is accepted, nothing is to be delivered now.": "Jetzt ist nichts zu liefern; der Zustand des Meilensteins ist: abgenommen.",
		"Not allowed: nobody signs off their own delivery.":                       "Niemand nimmt die eigene Lieferung ab.",
		"Not found":                     "Nicht gefunden.",
		"Something that nobody foresaw": "Something that nobody foresaw.",
	} {
		require.Equal(t, want, tellIn(de, english))
		require.Equal(t, sentence(strings.TrimPrefix(strings.TrimPrefix(english, "Wrong state: "), "Not allowed: ")), tellIn(reader("en"), english))
	}
	for english, want := range map[string]string{
		`expected one of background, mid, hero or close_up, found "mit". Did you mean "mid"?`:                             `Erwartet ist eines von background, mid, hero oder close_up, gefunden wurde "mit". Meinten Sie "mid"?`,
		"expected a number above 0 and at most 100000, found true (true or false; write it in quotes if a text is meant)": "Erwartet ist eine Zahl über 0 und höchstens 100000, gefunden wurde true (true oder false; in Anführungszeichen, wenn ein Text gemeint ist).",
		"expected a list of 3, each a number above 0 and at most 1e+06, found a list":                                     "Erwartet ist eine Liste von 3, jeder Eintrag eine Zahl über 0 und höchstens 1e+06, gefunden wurde eine Liste.",
	} {
		require.Equal(t, want, tellIn(de, english))
	}
	for english, want := range map[string]string{
		"preset mid (common practice, no source)":   "Voreinstellung Mittelgrund (gängige Praxis, ohne Quelle)",
		"parent yard-kit@3 line 8":                  "übernommen aus yard-kit@3, Zeile 8",
		`kind card of part "x", by name suffix`:     `Art card des Teils "x", laut Namensendung`,
		"something that a newer program says of it": "something that a newer program says of it",
	} {
		require.Equal(t, want, de.Again(english))
	}
	for text, want := range map[string]string{"4,205": "hat mehr als die 2 Nachkommastellen von EUR", "much": "ist kein Betrag wie 420.55"} {
		_, err := ledger.MinorUnits(text, "EUR")
		require.EqualError(t, err, map[string]string{"4,205": "has more than the 2 decimals of EUR", "much": "is not an amount such as 420.55"}[text])
		require.Equal(t, want, de.Again(err.Error()))
	}
	require.Equal(t, "braucht 1 bis 5000 Zeichen", de.Again("needs 1 to 5000 characters"))
	require.Equal(t, `enthält "x", was keine Rolle dieser Seite ist (Lieferant)`, de.Again(`"x" is not a role of a vendor`))
}

// sameEverywhere is what a source may be that no language changes: standards by number and section, without a word of prose.
var sameEverywhere = regexp.MustCompile(`^(glTF 2\.0(, [0-9.]+)?( \((ISO/IEC 12113|URIs)\))?|FIPS 180-4 \(SHA-256\)|IEEE Std 1003\.1 \(POSIX\), 3\.282 Portable Filename Character Set)$`)

// TestSourcesHaveWords: where a limit or a method comes from is said in every language, or is a name in all of them.
func TestSourcesHaveWords(t *testing.T) {
	t.Parallel()
	for _, c := range acceptance.Catalogue() {
		origins := []string{c.Source}
		for _, l := range c.Limits {
			origins = append(origins, l.Origin)
		}
		for _, o := range origins {
			require.True(t, words.Knows(o) || sameEverywhere.MatchString(o), "no words for the source %q of %s (words/en/told.source.yaml, words/de/told.source.yaml)", o, c.Name)
		}
	}
	require.Equal(t, "Voreinstellung Hauptobjekt (hergeleitet: z² / (nah · 2²⁴); das Vierfache und 0,1 m: gängige Praxis, ohne Quelle)",
		reader("de").Again("preset hero (derived: z² / (near · 2²⁴); four times and 0.1 m are common practice, no source)"))
}
