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

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/words"
)

// TestFaultsInEveryLanguage: whatever the readers of files say is wrong, every language has words for.
func TestFaultsInEveryLanguage(t *testing.T) {
	t.Parallel()
	known := map[string]bool{} // the families of codes that languages have
	de, _ := words.In("de")
	for _, code := range de.Codes() {
		if rest, ok := strings.CutPrefix(code, "fault."); ok {
			family, _, _ := strings.Cut(rest, ".")
			known[family] = true
		}
	}
	shape := regexp.MustCompile(`^[a-z_]+\.[a-z_]+[a-z]$`)
	codes := map[string]bool{}
	files, err := filepath.Glob("mesh/*.go")
	require.NoError(t, err)
	for _, path := range files {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
				if s, err := strconv.Unquote(lit.Value); err == nil && shape.MatchString(s) && known[FamilyOf(s)] {
					codes[s] = true
				}
			}
			return true
		})
	}
	require.Greater(t, len(codes), 80, "the reader of sources found too little to be believed")
	for _, l := range words.Languages()[1:] {
		for code := range codes {
			require.True(t, l.Has("fault."+code+"/said"), "%s has no words for %s", l.Name, code)
		}
	}
	f := Finding{}
	f.say(words.Literal, issueWords(mesh.Issue{Code: "json.invalid", Message: "This is no JSON."}))
	require.Equal(t, "This is no JSON.", f.Sentence)
	require.Equal(t, "Kein gültiges JSON. (This is no JSON.)", FindingIn(de, f).Sentence)
}
