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

	"proofhouse/internal/web/words"
)

var printed = regexp.MustCompile(`%[a-z]`)

// sentences gathers what a package's sources tell people when something is refused.
type sentences struct {
	found map[string]string // with samples set in, to where
}

func (s *sentences) add(text, where string) {
	s.found[strings.TrimSuffix(printed.ReplaceAllString(text, "17"), ".")] = where
}

func literal(e ast.Expr) (string, bool) {
	l, ok := e.(*ast.BasicLit)
	if !ok || l.Kind != token.STRING {
		return "", false
	}
	text, err := strconv.Unquote(l.Value)
	return text, err == nil
}

// refusals are the errors of the ledger whose words are for whoever asked.
var refusals = []string{"ErrState", "ErrForbidden", "ErrConflict"}

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
	require.Equal(t, "braucht 1 bis 5000 Zeichen", de.Again("needs 1 to 5000 characters"))
	require.Equal(t, `enthält "x", was keine Rolle dieser Seite ist (Lieferant)`, de.Again(`"x" is not a role of a vendor`))
}
