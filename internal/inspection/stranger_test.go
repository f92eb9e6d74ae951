package inspection

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A child that a file has taken over may leave anything behind: a link to what it may not read, more than it may write, what
// is no evidence at all. None of it is followed, and none is read whole.
func TestWhatAChildLeavesIsReadAsAStrangers(t *testing.T) {
	t.Parallel()
	secret := filepath.Join(t.TempDir(), "secret.json")
	require.NoError(t, os.WriteFile(secret, []byte(`{"verdict": "pass"}`), 0o600))
	for name, leave := range map[string]func(out string) error{
		"nothing":          func(string) error { return nil },
		"a link out":       func(out string) error { return os.Symlink(secret, filepath.Join(out, evidenceName)) },
		"a link up":        func(out string) error { return os.Symlink("../secret.json", filepath.Join(out, evidenceName)) },
		"a link to itself": func(out string) error { return os.Symlink(evidenceName, filepath.Join(out, evidenceName)) },
		"a folder":         func(out string) error { return os.Mkdir(filepath.Join(out, evidenceName), 0o700) },
		"what is no JSON":  func(out string) error { return os.WriteFile(filepath.Join(out, evidenceName), []byte("pass"), 0o600) },
		"JSON of another shape": func(out string) error {
			return os.WriteFile(filepath.Join(out, evidenceName), []byte(`["pass"]`), 0o600)
		},
		"nested without end": func(out string) error {
			return os.WriteFile(filepath.Join(out, evidenceName), []byte(strings.Repeat("[", 1<<20)), 0o600)
		},
		"far too much": func(out string) error {
			f, err := os.Create(filepath.Join(out, evidenceName))
			if err != nil {
				return err
			}
			defer f.Close()
			return f.Truncate(evidenceMax + 1) // with holes: it takes no disk
		},
	} {
		out := t.TempDir()
		require.NoError(t, leave(out), name)
		e, data, err := ReadEvidence(out)
		require.ErrorIs(t, err, errOwn, name)
		require.Nil(t, e, name)
		require.Nil(t, data, name)
	}
}
