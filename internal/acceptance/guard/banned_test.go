package guard

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// banned are the functions of math that give other bits on other processors or at other build settings, and those
// made from them. Their twins are in detmath.
var banned = map[string]bool{
	"Sin": true, "Cos": true, "Tan": true, "Sincos": true, "Asin": true, "Acos": true, "Atan": true, "Atan2": true,
	"Sinh": true, "Cosh": true, "Tanh": true, "Asinh": true, "Acosh": true, "Atanh": true,
	"Exp": true, "Exp2": true, "Expm1": true, "Log": true, "Log2": true, "Log10": true, "Log1p": true,
	"Pow": true, "Hypot": true, "Cbrt": true, "FMA": true, "Gamma": true, "Lgamma": true, "Erf": true, "Erfc": true,
}

// uses lists the banned functions a source file names, as "line: math.Name".
func uses(t *testing.T, name string, src any) []string {
	t.Helper()
	files := token.NewFileSet()
	f, err := parser.ParseFile(files, name, src, 0)
	require.NoError(t, err)
	as := ""
	for _, imp := range f.Imports {
		if path, _ := strconv.Unquote(imp.Path.Value); path == "math" {
			as = "math"
			if imp.Name != nil {
				as = imp.Name.Name
			}
		}
	}
	var found []string
	if as == "." {
		return []string{"math imported into the file's own names"}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		if sel, ok := n.(*ast.SelectorExpr); ok {
			if id, ok := sel.X.(*ast.Ident); ok && as != "" && id.Name == as && banned[sel.Sel.Name] {
				found = append(found, strconv.Itoa(files.Position(sel.Pos()).Line)+": math."+sel.Sel.Name)
			}
		}
		return true
	})
	return found
}

func TestNoFunctionsThatDifferBetweenProcessors(t *testing.T) {
	t.Parallel()
	seen := 0
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		seen++
		for _, u := range uses(t, path, nil) {
			t.Errorf("%s:%s: use the one in internal/acceptance/detmath", path, u)
		}
		return nil
	})
	require.NoError(t, err)
	require.Greater(t, seen, 10, "source files found")
}

func TestTheBanFindsThem(t *testing.T) {
	t.Parallel()
	require.Equal(t, []string{"3: math.Sin"}, uses(t, "a.go", "package a\nimport \"math\"\nvar x = math.Sin(math.Sqrt(2))\n"))
	require.Equal(t, []string{"3: math.FMA"}, uses(t, "a.go", "package a\nimport m \"math\"\nvar x = m.FMA(1, 2, 3)\n"))
	require.Empty(t, uses(t, "a.go", "package a\nimport math \"proofhouse/internal/acceptance/detmath\"\nvar x = math.Sin(2)\n"))
}
