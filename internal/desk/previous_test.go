package desk

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
)

// The evidence of an earlier state of a folder is kept to compare with; the same state looked at twice is not compared
// with itself.
func TestEarlierEvidence(t *testing.T) {
	t.Parallel()
	folder, out := t.TempDir(), t.TempDir()
	game := filepath.Join(folder, "crate_game.glb")
	require.NoError(t, os.WriteFile(game, []byte("first"), 0o644))
	leave := func(headline string) []byte {
		data, err := json.Marshal(acceptance.Evidence{Schema: "proofhouse/evidence/1", Headline: headline,
			Inputs: []acceptance.Input{{Path: "crate_game.glb", Role: "game", Bytes: 5}}})
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(out, "evidence.json"), data, 0o644))
		return data
	}
	got := func(named string) []byte {
		data, err := earlierEvidence(named, folder, out)
		require.NoError(t, err)
		return data
	}
	later := func(name string, by time.Duration) {
		at := time.Now().Add(by)
		require.NoError(t, os.Chtimes(name, at, at))
	}
	require.Nil(t, got(""), "a first inspection has nothing to compare with")
	later(game, -time.Hour)
	first := leave("first")
	require.Nil(t, got(""), "the same state again")

	later(game, time.Hour)
	require.Equal(t, first, got(""), "a file was saved since")
	leave("second") // of the changed state
	later(game, -time.Hour)
	require.Equal(t, first, got(""), "that state again is compared with the first still")

	texture := filepath.Join(folder, "crate_normal.png")
	require.NoError(t, os.WriteFile(texture, []byte("x"), 0o644))
	later(texture, time.Hour)
	require.Contains(t, string(got("")), "second", "a file came")

	named := filepath.Join(t.TempDir(), "old.json")
	require.NoError(t, os.WriteFile(named, []byte("{}"), 0o644))
	require.Equal(t, "{}", string(got(named)), "the call's own word wins")
	_, err := earlierEvidence(filepath.Join(out, "none.json"), folder, out)
	require.ErrorContains(t, err, "cannot be read")
}
