//go:build full

package web_test

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestPapersPrinted prints both papers on A4 and on Letter with Chromium, and reads their QR codes with zbar (Debian's zbar-tools).
func TestPapersPrinted(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	scripts, out := filepath.Join(root, "testdata", "browser"), filepath.Join(root, "testdata", "out", "papers")
	require.DirExists(t, filepath.Join(scripts, "node_modules"), "run npm ci --ignore-scripts in testdata/browser")
	require.NoError(t, os.RemoveAll(out))
	papers := map[string]string{
		"certificate": "/deliveries/" + w.deliveries["cleat"].String() + "/certificate",
		"issues":      "/deliveries/" + w.deliveries["bollard"].String() + "/issues",
		"many":        "/deliveries/" + w.deliveries["buoy"].String() + "/issues",
	}
	config, err := json.Marshal(map[string]any{"base": w.base, "email": marek, "password": password, "out": out, "papers": papers})
	require.NoError(t, err)
	node := exec.CommandContext(t.Context(), "node", "papers.mjs")
	node.Dir, node.Stdin = scripts, bytes.NewReader(config)
	report, err := node.CombinedOutput()
	t.Logf("%s", report)
	require.NoError(t, err, "the papers in a browser")
	for name, path := range papers {
		read, err := exec.CommandContext(t.Context(), "zbarimg", "--quiet", "--raw", filepath.Join(out, name+"-qr.png")).Output()
		require.NoError(t, err, "zbarimg, of Debian's zbar-tools")
		require.Equal(t, w.base+path, strings.TrimSpace(string(read)))
	}
}
