package acceptance

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// drawnSigns are the signs beyond ASCII that were looked at in pictures: the type draws a box for those that it lacks.
const drawnSigns = "·×≥≤≠−°ø►—…²"

// Pictures are evidence and the same for readers of every language: what is lettered into one has no words, only letters, numbers,
// signs, units and the names that the spec and the files have.
func TestPicturesCarryNoWords(t *testing.T) {
	t.Parallel()
	letter := map[string]bool{"Text": true, "TextOver": true, "heading": true, "label": true, "item": true, "key": true, "wrapText": true, "badge": true}
	word := regexp.MustCompile(`\pL{3,}`)
	files, err := filepath.Glob("pictures*.go")
	require.NoError(t, err)
	looked := 0
	for _, path := range append(files, "mapspicture.go") {
		if matched, _ := filepath.Match("*_test.go", path); matched {
			continue
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, path, nil, 0)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			name := ""
			switch f := call.Fun.(type) {
			case *ast.Ident:
				name = f.Name
			case *ast.SelectorExpr:
				name = f.Sel.Name
			}
			if !letter[name] {
				return true
			}
			looked++
			for _, arg := range call.Args {
				ast.Inspect(arg, func(n ast.Node) bool {
					if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
						text, err := strconv.Unquote(lit.Value)
						require.NoError(t, err)
						for _, r := range text {
							require.True(t, r < 128 || strings.ContainsRune(drawnSigns, r), "%s: the type of pictures has no known sign %q", set.Position(lit.Pos()), r)
						}
						require.Empty(t, word.FindAllString(text, -1), "%s letters %q into a picture", set.Position(lit.Pos()), text)
					}
					return true
				})
			}
			return true
		})
	}
	require.Greater(t, looked, 40)
}
