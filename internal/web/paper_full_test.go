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

// TestPapersPrinted prints both papers on A4 and on Letter with Chromium, in both languages, reads what stands on each sheet with
// pdftotext and draws the sheets with pdftoppm (Debian's poppler-utils), and reads the QR codes as printed with zbar (zbar-tools).
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
		sheet := filepath.Join(out, name)
		drawn, err := exec.CommandContext(t.Context(), "pdftoppm", "-r", "150", "-png", sheet+"-en-A4.pdf", sheet).CombinedOutput()
		require.NoError(t, err, "pdftoppm, of Debian's poppler-utils: %s", drawn)
		sheets, err := filepath.Glob(sheet + "-[0-9]*.png")
		require.NoError(t, err)
		read, _ := exec.CommandContext(t.Context(), "zbarimg", append([]string{"--quiet", "--raw", "-Sdisable", "-Sqrcode.enable"}, sheets...)...).Output() // sheets without a code make it end with 4
		require.Equal(t, w.base+path, strings.TrimSpace(string(read)), "zbarimg, of Debian's zbar-tools")
	}
}
