package checkdoc

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
)

// TestCommitted: docs/checks.md is what the code makes, and no check goes without a test that names it.
func TestCommitted(t *testing.T) {
	t.Parallel()
	root := filepath.Join("..", "..", "..")
	want, err := Table(root, acceptance.Catalogue())
	require.NoError(t, err)
	have, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(Path)))
	require.NoError(t, err)
	if !bytes.Equal(have, want) {
		t.Errorf("%s is not what the code makes: run go generate ./internal/acceptance/schema and look at the difference", Path)
	}
	for _, c := range acceptance.Catalogue() {
		require.Contains(t, string(want), "### "+c.Name+": ")
	}
	before, _, found := strings.Cut(string(want), "*Held by:* none")
	require.False(t, found, "no test names the check after %q", before[max(0, len(before)-300):])
}
