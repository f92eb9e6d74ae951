package desk

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// filesIn are the files of a folder with their content.
func filesIn(t *testing.T, dir string) map[string]string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	out := map[string]string{}
	for _, e := range entries {
		require.True(t, e.Type().IsRegular(), "%s is left over", e.Name())
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		require.NoError(t, err)
		out[e.Name()] = string(data)
	}
	return out
}

// Who stops an inspection keeps what the one before left, report and all, and still compares with it afterwards.
func TestStoppedInspectionLosesNothing(t *testing.T) {
	t.Parallel()
	folder, specPath := delivery(t, "crate")
	out := folder + "-evidence"
	code, _, errs := called(t, Streams{}, "--spec", specPath, folder)
	require.Contains(t, []int{ExitPass, ExitFail}, code, errs)
	before := filesIn(t, out)
	require.Contains(t, before, ReportName)
	require.Contains(t, before, "evidence.json")
	require.NoError(t, os.WriteFile(filepath.Join(out, "mine.txt"), []byte("a note of the vendor's"), 0o644))
	before["mine.txt"] = "a note of the vendor's"

	require.NoError(t, os.WriteFile(filepath.Join(folder, "crate_game.obj"), []byte(box(1.4)), 0o644))
	ctx, stop := context.WithCancel(context.Background())
	stop()
	var said, told text
	require.Equal(t, ExitNotEvaluated, Inspect(ctx, Streams{Out: &said, Err: &told}, self(t), "", []string{"--spec", specPath, folder}))
	require.Contains(t, told.String(), "Stopped before the end")
	require.Contains(t, told.String(), "is of an earlier inspection")
	left := filesIn(t, out)
	delete(left, previousName) // the same evidence once more, to compare with
	require.Equal(t, before, left)

	require.NoError(t, os.MkdirAll(filepath.Join(out, unfinished), 0o755)) // of a process that was killed
	require.NoError(t, os.WriteFile(filepath.Join(out, unfinished, "half.png"), []byte("half"), 0o644))
	code, report, errs := called(t, Streams{}, "--spec", specPath, "--no-pictures", folder)
	require.Equal(t, ExitFail, code, errs)
	require.Contains(t, report, "too large")
	left = filesIn(t, out)
	require.Equal(t, before["evidence.json"], left[previousName])
	require.NotEqual(t, before["evidence.json"], left["evidence.json"])
	require.Equal(t, before["mine.txt"], left["mine.txt"], "only an inspection's own files are replaced")
	for name := range left {
		require.NotEqual(t, ".png", filepath.Ext(name), "an old picture beside a new verdict: %s", name)
	}
}

// Another program's evidence.json is not replaced.
func TestForeignEvidenceStays(t *testing.T) {
	t.Parallel()
	folder, specPath := delivery(t, "crate")
	out := t.TempDir()
	foreign := filepath.Join(out, "evidence.json")
	require.NoError(t, os.WriteFile(foreign, []byte(`{"schema":"other"}`), 0o644))
	code, _, errs := called(t, Streams{}, "--spec", specPath, "--out", out, folder)
	require.Equal(t, ExitNotEvaluated, code)
	require.Contains(t, errs, "not one of ours")
	require.Equal(t, map[string]string{"evidence.json": `{"schema":"other"}`}, filesIn(t, out))
}
