package words

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

	"github.com/stretchr/testify/require"
)

// defines says whether a code words a definition whose English stands in Go: it is in no English file.
func defines(code string) bool { return strings.Contains(code, "/") }

// TestLanguagesAgree: every language has the same codes, and takes the same arguments in the same roles.
func TestLanguagesAgree(t *testing.T) {
	t.Parallel()
	en := English()
	require.Empty(t, en.twice)
	for _, l := range Languages()[1:] {
		require.Empty(t, l.twice, "in two files of %s", l.Name)
		var codes []string
		for _, c := range l.Codes() {
			if !defines(c) {
				codes = append(codes, c)
			}
		}
		require.Empty(t, missingIn(codes, en.Codes()), "in English, not in %s", l.Name)
		require.Empty(t, missingIn(en.Codes(), codes), "in %s, not in English", l.Name)
		for code, ours := range en.templates {
			require.Equal(t, argumentsOf(ours), argumentsOf(l.templates[code]), "%s: arguments in English and in %s", code, l.Name)
			counts := countsOf(l.templates[code])
			for n := range countsOf(ours) {
				delete(counts, n)
			}
			require.Empty(t, counts, "%s: a plural in %s where English has none", code, l.Name)
		}
	}
}

func missingIn(have, want []string) []string {
	var out []string
	for _, c := range want {
		if !slices.Contains(have, c) {
			out = append(out, c)
		}
	}
	return out
}

func argumentsOf(t template) []int {
	var out []int
	for _, s := range t.segments {
		if s.arg > 0 && !slices.Contains(out, s.arg) {
			out = append(out, s.arg)
		}
	}
	slices.Sort(out)
	return out
}

func countsOf(t template) map[int]bool {
	out := map[int]bool{}
	for _, s := range t.segments {
		if s.forms != nil {
			out[s.arg] = true
		}
	}
	return out
}

// sayers are the functions that take a code first and its arguments after it: those of package acceptance (true), and those
// of this one.
var sayers = map[string]bool{
	"say": true, "also": true, "remedy": true, "alsoRemedy": true, "note": true, "unable": true, "exempt": true,
	"P": false, "Said": false, "Say": false,
}

var codeShape = regexp.MustCompile(`^[a-z_]+(\.[a-z0-9_]+)+$`)

var (
	prefixShape = regexp.MustCompile(`^[a-z]+\.[a-z_]+_$`)
	termsShape  = regexp.MustCompile(`^[a-z_]+\.$`)
	quotedShape = regexp.MustCompile(`"([a-z0-9_.]+)"`)
)

// TestCodesInGo reads the whole program: every code that is said stands in the catalogue and is given the arguments that
// its template takes; every code of the catalogue is named somewhere.
func TestCodesInGo(t *testing.T) {
	t.Parallel()
	en := English()
	named := map[string]bool{}
	r := reader{en: en}
	eachGoFile(t, func(path string, file *ast.File, at func(token.Pos) string) {
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.BasicLit:
				if n.Kind == token.STRING {
					s, err := strconv.Unquote(n.Value)
					require.NoError(t, err)
					named[s] = true
				}
			case *ast.CallExpr:
				r.call(n, filepath.Base(filepath.Dir(path)) == "acceptance", at(n.Pos()))
			}
			return true
		})
	})
	eachTemplate(t, func(text string) {
		for _, quoted := range quotedShape.FindAllStringSubmatch(text, -1) {
			named[quoted[1]] = true
		}
	})
	var prefixes []string // of codes whose end is made of a value: "report.verdict_", and of terms: "unit."
	for n := range named {
		if termsShape.MatchString(n) {
			prefixes = append(prefixes, "term."+n)
		}
		if prefixShape.MatchString(n) {
			prefixes = append(prefixes, n)
		}
	}
	for _, code := range en.Codes() {
		if !named[strings.TrimPrefix(code, "term.")] && !named[code] && !slices.ContainsFunc(prefixes, func(p string) bool { return strings.HasPrefix(code, p) }) {
			r.complain("no Go code names %s", code)
		}
	}
	require.Empty(t, r.complaints)
	require.Greater(t, r.calls, 40, "the reader of Go sources found too little to be believed")
}

// reader holds calls against the catalogue and gathers what does not fit.
type reader struct {
	en         *Language
	calls      int
	complaints []string
}

func (r *reader) complain(format string, args ...any) {
	r.complaints = append(r.complaints, fmt.Sprintf(format, args...))
}

func (r *reader) call(call *ast.CallExpr, inAcceptance bool, at string) {
	name := ""
	switch f := call.Fun.(type) {
	case *ast.Ident:
		name = f.Name
	case *ast.SelectorExpr:
		name = f.Sel.Name
	}
	theirs, sayer := sayers[name]
	if len(call.Args) == 0 || !(sayer && (inAcceptance || !theirs)) && name != "Term" {
		return
	}
	lit, ok := call.Args[0].(*ast.BasicLit)
	if !ok || lit.Kind != token.STRING {
		return
	}
	code, err := strconv.Unquote(lit.Value)
	switch {
	case err != nil:
		r.complain("%s: %v", at, err)
		return
	case name == "Term":
		if _, ok := r.en.terms[code]; !ok {
			r.complain("%s: no such term: %s", at, code)
		}
		return
	case !codeShape.MatchString(code):
		r.complain("%s: this is no code of the catalogue: %s", at, code)
		return
	}
	tpl, ok := r.en.templates[code]
	if !ok && strings.Contains(filepath.ToSlash(at), "internal/web/") {
		return // words of the pages, which a test of theirs reads
	}
	if !ok {
		r.complain("%s: %s is not in the catalogue", at, code)
		return
	}
	r.calls++
	if call.Ellipsis != token.NoPos {
		return
	}
	if len(call.Args) != tpl.takes+1 {
		r.complain("%s: %s takes %d arguments and is given %d", at, code, tpl.takes, len(call.Args)-1)
		return
	}
	for n := range countsOf(tpl) {
		// What is plainly another kind of argument cannot have plural forms.
		if made, ok := call.Args[n].(*ast.CallExpr); ok {
			if f, ok := made.Fun.(*ast.SelectorExpr); ok && f.Sel.Name != "Count" {
				r.complain("%s: %s has plural forms for argument %d, which is %s", at, code, n, f.Sel.Name)
			}
		}
	}
}

// eachGoFile calls do for every source of the program that is no test.
func eachGoFile(t *testing.T, do func(path string, file *ast.File, at func(token.Pos) string)) {
	t.Helper()
	root := filepath.Join("..", "..", "..")
	for _, top := range []string{"internal", "cmd"} {
		err := filepath.WalkDir(filepath.Join(root, top), func(p string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(p, ".go") || strings.HasSuffix(p, "_test.go") {
				return err
			}
			data, err := os.ReadFile(p)
			if err != nil || !strings.Contains(string(data), "acceptance") && !strings.Contains(string(data), "words") {
				return err
			}
			set := token.NewFileSet()
			file, err := parser.ParseFile(set, p, data, parser.SkipObjectResolution)
			if err != nil {
				return err
			}
			do(p, file, func(pos token.Pos) string { return set.Position(pos).String() })
			return nil
		})
		require.NoError(t, err)
	}
}

// eachTemplate calls do for the text of every page template of the program.
func eachTemplate(t *testing.T, do func(text string)) {
	t.Helper()
	err := filepath.WalkDir(filepath.Join("..", "..", "..", "internal"), func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(p, ".html") {
			return err
		}
		data, err := os.ReadFile(p)
		do(string(data))
		return err
	})
	require.NoError(t, err)
}
