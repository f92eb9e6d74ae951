package arrows

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gopkg.in/yaml.v3"
)

// The alarms ask for metrics that the programs serve, and each leads to an entry of the runbook.
func TestAlarmsNameWhatExists(t *testing.T) {
	t.Parallel()
	root := filepath.Join("..", "..")
	var programs strings.Builder
	for _, dir := range []string{"cmd", "internal"} {
		require.NoError(t, filepath.WalkDir(filepath.Join(root, dir), func(path string, _ fs.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			text, err := os.ReadFile(path)
			programs.Write(text)
			return err
		}))
	}
	runbook, err := os.ReadFile(filepath.Join(root, "docs", "runbook.md"))
	require.NoError(t, err)
	text, err := os.ReadFile(filepath.Join(root, "docs", "alerts.yaml"))
	require.NoError(t, err)
	var doc struct {
		Groups []struct {
			Name  string
			Rules []struct {
				Alert, Expr, For    string
				Labels, Annotations map[string]string
			}
		}
	}
	dec := yaml.NewDecoder(strings.NewReader(string(text)))
	dec.KnownFields(true)
	require.NoError(t, dec.Decode(&doc))
	seen := map[string]bool{}
	for _, r := range doc.Groups[0].Rules {
		require.False(t, seen[r.Alert], r.Alert)
		seen[r.Alert] = true
		metrics := regexp.MustCompile(`proofhouse_\w+`).FindAllString(r.Expr, -1)
		require.NotEmpty(t, metrics, r.Alert)
		for _, m := range metrics {
			require.Contains(t, programs.String(), `"`+strings.TrimSuffix(m, "_bucket")+`"`, r.Alert)
		}
		for _, m := range regexp.MustCompile(`cause=~?"([a-z_|]+)"`).FindAllStringSubmatch(r.Expr, -1) {
			for cause := range strings.SplitSeq(m[1], "|") {
				require.Contains(t, programs.String(), `{"`+cause+`", `, "%s: nothing is counted by this cause", r.Alert)
			}
		}
		require.Equal(t, strings.Count(r.Expr, "("), strings.Count(r.Expr, ")"), r.Alert)
		require.Contains(t, []string{"page", "ticket"}, r.Labels["severity"], r.Alert)
		require.NotEmpty(t, r.Annotations["summary"], r.Alert)
		entry := r.Annotations["runbook"]
		require.True(t, entry == "First look" || strings.Contains(string(runbook), "\n### "+entry+"\n"), "%s leads to %q", r.Alert, entry)
	}
	require.Greater(t, len(seen), 8)
}
