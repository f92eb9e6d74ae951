package arrows

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The pages that name tests, metrics and log lines name such as exist: a page that is trusted in an emergency must not
// send anybody to look for what is not there.
func TestDocsNameWhatExists(t *testing.T) {
	t.Parallel()
	root := filepath.Join("..", "..")
	var tests, programs strings.Builder
	for _, dir := range []string{"cmd", "internal"} {
		require.NoError(t, filepath.WalkDir(filepath.Join(root, dir), func(path string, d fs.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, ".gen.go") {
				return err
			}
			text, err := os.ReadFile(path)
			if strings.HasSuffix(path, "_test.go") {
				tests.Write(text)
			} else {
				programs.Write(text)
			}
			return err
		}))
	}
	for _, look := range []struct {
		what string
		find *regexp.Regexp
		in   string
		as   func(name string) string
	}{
		{"test", regexp.MustCompile("`((?:Test|Fuzz)[A-Z]\\w+)`"), tests.String(), func(s string) string { return "\nfunc " + s + "(" }},
		{"metric", regexp.MustCompile(`\b(proofhouse_\w+)`), programs.String(), func(s string) string { return `"` + s + `"` }},
		{"log line", regexp.MustCompile("`\"([^\"`]+)\"`"), programs.String(), func(s string) string { return `"` + s + `"` }},
	} {
		found := 0
		for _, page := range []string{"threat-model.md", "runbook.md", "asvs.md"} {
			text, err := os.ReadFile(filepath.Join(root, "docs", page))
			require.NoError(t, err)
			for _, m := range look.find.FindAllSubmatch(text, -1) {
				found++
				name := strings.Join(strings.Fields(string(m[1])), " ") // a line of the page may end within
				require.True(t, strings.Contains(look.in, look.as(name)), "%s names the %s %q, which is not there", page, look.what, name)
			}
		}
		require.NotZero(t, found, look.what)
	}
}

// Every line of the walk through the standard says what its state is, and by what; what is held names it.
func TestEveryLineOfTheStandardIsAnswered(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(filepath.Join("..", "..", "docs", "asvs.md"))
	require.NoError(t, err)
	seen, states := map[string]bool{}, map[string]int{}
	for _, m := range regexp.MustCompile(`(?m)^\| (\d+\.\d+\.\d+[^|]*) \|([^|]*)\|([^|]*)\|([^|]*)\|$`).FindAllStringSubmatch(string(text), -1) {
		line, state := m[1], strings.TrimSpace(m[3])
		require.False(t, seen[line], "%s twice", line)
		seen[line] = true
		states[state]++
		require.Contains(t, []string{"held", "operator", "open", "–"}, state, line)
		require.NotEmpty(t, strings.TrimSpace(m[4]), line)
	}
	require.Len(t, seen, strings.Count(string(text), "\n| ")-strings.Count(string(text), "\n## "), "every row is read")
	t.Log(states)
}
