package arrows

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Each of the ten troubles names a metric or a log line to know it by; TestDocsNameWhatExists holds the names to the programs.
func TestEachTroubleHasASign(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(filepath.Join("..", "..", "docs", "runbook.md"))
	require.NoError(t, err)
	_, troubles, _ := strings.Cut(string(text), "## The ten likeliest troubles")
	troubles, _, _ = strings.Cut(troubles, "\n## ")
	parts := strings.Split(troubles, "\n### ")[1:]
	require.Len(t, parts, 10)
	sign := regexp.MustCompile("`?proofhouse_\\w+|`\"[^\"`]+\"`")
	for _, part := range parts {
		title, body, _ := strings.Cut(part, "\n")
		require.Regexp(t, sign, body, title)
		require.Contains(t, body, "*Do*", title)
	}
}
