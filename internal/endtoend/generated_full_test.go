//go:build full

package endtoend

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// clientChecks is where the independent linter and generator are installed.
var clientChecks = filepath.Join(root, "testdata", "client")

// tool runs a program in testdata/client and returns what it printed.
func tool(t *testing.T, dir string, in []byte, name string, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), name, args...)
	var out, said bytes.Buffer
	cmd.Dir, cmd.Stdin, cmd.Stdout, cmd.Stderr = dir, bytes.NewReader(in), &out, &said
	err := cmd.Run()
	require.NoError(t, err, "%s\n%s%s", name, out.String(), said.String())
	return out.String()
}

// The description has nothing that Redocly's linter (npm @redocly/cli, its strict set) finds wrong.
func TestDescriptionIsLinted(t *testing.T) {
	t.Parallel()
	tool(t, clientChecks, nil, "node_modules/.bin/redocly", "lint", "--config", "redocly.yaml", filepath.Join(root, "openapi", "proofhouse.yaml"))
}

// A client that an independent generator (npm @hey-api/openapi-ts) makes from the description, type-checked by TypeScript,
// plays the whole story against a live service and a real worker; the export it fetches proves itself offline.
func TestGeneratedClientPlaysTheStory(t *testing.T) {
	t.Parallel()
	work := t.TempDir()
	for _, name := range []string{"story.ts", "package.json"} {
		data, err := os.ReadFile(filepath.Join(clientChecks, name))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(work, name), data, 0o644))
	}
	modules := filepath.Join(clientChecks, "node_modules")
	require.NoError(t, os.Symlink(modules, filepath.Join(work, "node_modules")))
	tool(t, work, nil, filepath.Join(modules, ".bin", "openapi-ts"), "-i", filepath.Join(root, "openapi", "proofhouse.yaml"), "-o", "out", "-c", "@hey-api/client-fetch")
	tool(t, work, nil, filepath.Join(modules, ".bin", "tsc"), "--noEmit", "--strict", "--skipLibCheck", "--target", "es2022", "--module", "preserve", "--moduleResolution", "bundler", "--types", "node", "story.ts")
	tool(t, root, nil, "go", "tool", "esbuild", filepath.Join(work, "story.ts"), "--bundle", "--platform=node", "--format=esm", "--target=es2022", "--log-level=warning", "--outfile="+filepath.Join(work, "story.mjs"))

	h := newHarbour(t)
	p := h.serve()
	dir := bollards(t, "lumpy", "good")
	document, err := os.ReadFile(specOfBollards(t))
	require.NoError(t, err)
	export := filepath.Join(work, "export.json")
	given, err := json.Marshal(map[string]any{
		"base": h.base, "email": "ida@gull.example", "password": password, "spec": string(document),
		"bad": filepath.Join(dir, "lumpy"), "good": filepath.Join(dir, "good"), "roles": rolesOfHarbour(t, filepath.Join(dir, "good")), "export": export,
	})
	require.NoError(t, err)
	out := tool(t, work, given, "node", "story.mjs")
	require.Zero(t, p.stop())

	var told struct {
		Receipts []ledger.Receipt `json:"receipts"`
	}
	require.NoError(t, json.Unmarshal([]byte(out), &told))
	bundle, err := os.ReadFile(export)
	require.NoError(t, err)
	report, err := ledger.VerifyBundle(bundle, nil, told.Receipts...)
	require.NoError(t, err)
	require.Empty(t, report.Problems)
}

// rolesOfHarbour says what the files of one of the demo's folders are, by their names.
func rolesOfHarbour(t *testing.T, folder string) map[string]string {
	t.Helper()
	roles := map[string]string{}
	entries, err := os.ReadDir(folder)
	require.NoError(t, err)
	for _, e := range entries {
		switch _, what, _ := strings.Cut(strings.TrimSuffix(e.Name(), filepath.Ext(e.Name())), "_"); {
		case filepath.Ext(e.Name()) == ".png":
			roles[e.Name()] = "map." + what
		case filepath.Ext(e.Name()) == ".glb":
			roles[e.Name()] = what
		}
	}
	require.GreaterOrEqual(t, len(roles), 4)
	return roles
}
