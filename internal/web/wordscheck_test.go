package web

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"text/template/parse"
	"unicode"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	acceptedWords "proofhouse/internal/acceptance/words"
	"proofhouse/internal/web/words"
)

// TestTemplatesHaveNoWords: between the elements of a template, and in attributes that are read to people, stands no letter.
func TestTemplatesHaveNoWords(t *testing.T) {
	t.Parallel()
	for _, name := range templateNames(t) {
		require.Empty(t, literalWords(t, name), name)
	}
	require.Equal(t, []string{"text: Delivery", "alt: a prop", "text: next"}, wordsIn("<p>Delivery {{.N}} <code>worker send</code><img alt='a prop' class=big><b title=\"{{.T}}\">→</b> next"+
		"<script>let x</script>"), "the reader of templates sees what it should")
}

func templateNames(t *testing.T) []string {
	t.Helper()
	entries, err := fs.ReadDir(templateFiles, "templates")
	require.NoError(t, err)
	var out []string
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}

var templateAction = regexp.MustCompile(`(?s){{.*?}}`)

func literalWords(t *testing.T, name string) []string {
	t.Helper()
	data, err := fs.ReadFile(templateFiles, "templates/"+name)
	require.NoError(t, err)
	return wordsIn(string(data))
}

var noScript = regexp.MustCompile(`</?noscript[^>]*>`)

// readAloud are the attributes that people read or hear.
var readAloud = []string{"title", "alt", "placeholder", "aria-label", "aria-description", "data-label", "label"}

func wordsIn(text string) []string {
	text = noScript.ReplaceAllString(templateAction.ReplaceAllString(text, ""), "") // the tokenizer takes what is within for text
	z := html.NewTokenizer(strings.NewReader(text))
	var out []string
	var silent string // an element whose text is for programs
	add := func(where, s string) {
		s = strings.TrimSpace(strings.ReplaceAll(s, "proofhouse", ""))
		if strings.ContainsFunc(s, unicode.IsLetter) {
			out = append(out, where+": "+s)
		}
	}
	for {
		switch kind := z.Next(); kind {
		case html.ErrorToken:
			return out
		case html.TextToken:
			if silent == "" {
				add("text", string(z.Text()))
			}
		case html.StartTagToken, html.SelfClosingTagToken:
			token := z.Token()
			if silent == "" && kind == html.StartTagToken && slices.Contains([]string{"code", "kbd", "pre", "script", "style", "datalist"}, token.Data) {
				silent = token.Data
			}
			for _, a := range token.Attr {
				if slices.Contains(readAloud, a.Key) {
					add(a.Key, a.Val)
				}
			}
		case html.EndTagToken:
			if name, _ := z.TagName(); string(name) == silent {
				silent = ""
			}
		}
	}
}

// said is what templates and handlers say.
type said struct {
	named      map[string]bool
	calls      int
	complaints []string
}

func (s *said) complain(format string, args ...any) {
	s.complaints = append(s.complaints, fmt.Sprintf(format, args...))
}

// takes is how many arguments a code takes; plain says of each whether its place has no plural forms.
func takes(l *words.Language, code string) (n int, plural []int) {
	const many = 12
	args := make([]acceptedWords.Arg, many)
	for i := range args {
		args[i] = acceptedWords.Name("#")
	}
	for at, text := range l.Parts(code, args...) {
		n = max(n, at)
		if at > 0 && text != "#" {
			plural = append(plural, at)
		}
	}
	return n, plural
}

func (s *said) check(at, code string, args int) {
	s.named[code] = true
	l := words.Languages()[0]
	if !l.Has(code) {
		s.complain("%s: %s is not in the catalogue", at, code)
		return
	}
	s.calls++
	if n, _ := takes(l, code); args >= 0 && n != args {
		s.complain("%s: %s takes %d arguments and is given %d", at, code, n, args)
	}
}

// walk reads a template's actions for what they say.
func (s *said) walk(at string, n parse.Node) {
	switch n := n.(type) {
	case *parse.ListNode:
		if n != nil {
			for _, c := range n.Nodes {
				s.walk(at, c)
			}
		}
	case *parse.ActionNode:
		s.walk(at, n.Pipe)
	case *parse.TemplateNode:
		s.walk(at, n.Pipe)
	case *parse.IfNode:
		s.branch(at, &n.BranchNode)
	case *parse.RangeNode:
		s.branch(at, &n.BranchNode)
	case *parse.WithNode:
		s.branch(at, &n.BranchNode)
	case *parse.PipeNode:
		if n != nil {
			for _, c := range n.Cmds {
				s.walk(at, c)
			}
		}
	case *parse.CommandNode:
		s.command(at, n)
	}
}

func (s *said) branch(at string, n *parse.BranchNode) {
	s.walk(at, n.Pipe)
	s.walk(at, n.List)
	s.walk(at, n.ElseList)
}

func (s *said) command(at string, n *parse.CommandNode) {
	f, isFunc := n.Args[0].(*parse.IdentifierNode)
	for i, a := range n.Args {
		lit, ok := a.(*parse.StringNode)
		if ok && isFunc && i == 1 && f.Ident == "say" {
			s.check(at, lit.Text, len(n.Args)-2)
		} else if ok {
			s.named[lit.Text] = true
		}
		s.walk(at, a)
	}
}

var codeOfPage = regexp.MustCompile(`^[a-z_]+\.[a-z0-9_]+$`)

// here is the package's folder: the storage of the tests changes the process's.
var here, _ = os.Getwd()

// readGo reads the handlers.
func (s *said) readGo(t *testing.T) {
	t.Helper()
	sources, err := filepath.Glob(filepath.Join(here, "*.go"))
	require.NoError(t, err)
	require.NotEmpty(t, sources)
	for _, path := range sources {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, path, data, parser.SkipObjectResolution)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.BasicLit:
				if text, err := strconv.Unquote(n.Value); n.Kind == token.STRING && err == nil {
					s.named[text] = true
				}
			case *ast.CallExpr:
				sel, ok := n.Fun.(*ast.SelectorExpr)
				if !ok || len(n.Args) == 0 || sel.Sel.Name != "P" && sel.Sel.Name != "Say" {
					return true
				}
				lit, ok := n.Args[0].(*ast.BasicLit)
				if code, err := "", error(nil); ok && lit.Kind == token.STRING {
					if code, err = strconv.Unquote(lit.Value); err == nil && codeOfPage.MatchString(code) {
						args := len(n.Args) - 1
						if n.Ellipsis != token.NoPos {
							args = -1
						}
						s.check(set.Position(n.Pos()).String(), code, args)
					}
				}
			}
			return true
		})
	}
}

// ofPages are the codes that pages add to the findings' catalogue.
func ofPages(l *words.Language) []string {
	theirs, ok := acceptedWords.In(l.Tag)
	if !ok {
		return l.Codes()
	}
	var out []string
	known := theirs.Codes()
	for _, code := range l.Codes() {
		if _, found := slices.BinarySearch(known, code); !found {
			out = append(out, code)
		}
	}
	return out
}

// TestEveryCodeIsSaid: what templates and handlers say stands in the catalogue and is given as many arguments as it takes,
// and what stands there is said.
func TestEveryCodeIsSaid(t *testing.T) {
	t.Parallel()
	s := &said{named: map[string]bool{}}
	s.readGo(t)
	for _, name := range templateNames(t) {
		data, err := fs.ReadFile(templateFiles, "templates/"+name)
		require.NoError(t, err)
		tree := parse.New(name)
		tree.Mode = parse.SkipFuncCheck
		trees := map[string]*parse.Tree{}
		_, err = tree.Parse(string(data), "{{", "}}", trees)
		require.NoError(t, err)
		for _, tr := range trees {
			s.walk(name, tr.Root)
		}
	}
	var prefixes []string // of codes whose end is made of a value: "work.tab_"
	for n := range s.named {
		if p := strings.TrimSuffix(n, "%s"); len(p) > 3 && (strings.HasSuffix(p, "_") || strings.HasSuffix(p, ".")) && strings.Contains(p, ".") {
			prefixes = append(prefixes, p)
		}
	}
	for _, code := range ofPages(words.Languages()[0]) {
		if strings.HasPrefix(code, "term.") || strings.HasPrefix(code, "told.") {
			continue // values of the record, and what it refuses with: by value
		}
		if !s.named[code] && !slices.ContainsFunc(prefixes, func(p string) bool { return strings.HasPrefix(code, p) }) {
			s.complain("nothing says %s", code)
		}
	}
	require.Empty(t, s.complaints, strings.Join(s.complaints, "\n"))
	require.Greater(t, s.calls, 10, "the reader found too little to be believed")
}

// TestLanguagesAgree: every language has the same codes, which take the same arguments, and no plural where English has none.
func TestLanguagesAgree(t *testing.T) {
	t.Parallel()
	en := words.Languages()[0]
	require.Equal(t, "en", en.Tag)
	require.Greater(t, len(words.Languages()), 1)
	for _, l := range words.Languages()[1:] {
		require.Empty(t, without(ofPages(en), ofPages(l)), "in English, not in %s", l.Name)
		require.Empty(t, without(ofPages(l), ofPages(en)), "in %s, not in English", l.Name)
		for _, code := range ofPages(en) {
			if strings.HasPrefix(code, "term.") {
				continue
			}
			require.Equal(t, argumentsOf(en, code), argumentsOf(l, code), "%s: arguments in English and in %s", code, l.Name)
			_, ours := takes(en, code)
			_, its := takes(l, code)
			for _, at := range its {
				require.Contains(t, ours, at, "%s: a plural in %s where English has none", code, l.Name)
			}
		}
	}
}

func argumentsOf(l *words.Language, code string) []int {
	var out []int
	for at := range l.Parts(code, make([]acceptedWords.Arg, 12)...) {
		if at > 0 && !slices.Contains(out, at) {
			out = append(out, at)
		}
	}
	slices.Sort(out)
	return out
}

func without(list, others []string) []string {
	var out []string
	for _, s := range list {
		if !slices.Contains(others, s) {
			out = append(out, s)
		}
	}
	return out
}
