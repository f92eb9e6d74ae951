//go:build full

package ledger

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/oracle"
)

// The list of common passwords is the package's, whole and in its order, and its licence goes with it.
func TestCommonPasswordsAreThePackages(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(oracle.Modules(t), "@zxcvbn-ts", "language-common")
	text, err := os.ReadFile(filepath.Join(dir, "src", "passwords.json"))
	require.NoError(t, err)
	var words []string
	require.NoError(t, json.Unmarshal(text, &words))
	var whole []byte
	for _, w := range words {
		whole = append(append(whole, w...), '\n')
		if !listed(w) {
			t.Fatalf("%q is not known", w)
		}
	}
	require.True(t, string(whole) == commonPasswords, "internal/ledger/common/passwords.txt is not the package's list")
	licence, err := os.ReadFile(filepath.Join(dir, "LICENSE.txt"))
	require.NoError(t, err)
	here, err := os.ReadFile(filepath.Join("common", "LICENSE"))
	require.NoError(t, err)
	require.Contains(t, string(here), string(licence))
}
