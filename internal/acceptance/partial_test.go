package acceptance

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/canon"
)

// digestsOf are the digests of all files in a folder.
func digestsOf(t *testing.T, folder string) map[string]string {
	out := map[string]string{}
	entries, err := os.ReadDir(folder)
	require.NoError(t, err)
	for _, e := range entries {
		data, err := os.ReadFile(filepath.Join(folder, e.Name()))
		require.NoError(t, err)
		out[e.Name()] = canon.Digest(data)
	}
	return out
}

func keysOf(t *testing.T, sp *spec.Spec, folder string) map[string]string {
	m, at, err := ManifestOf(Job{Spec: sp, Folder: folder})
	require.NoError(t, err)
	keys, err := FamilyKeys(at, m, digestsOf(t, folder))
	require.NoError(t, err)
	return keys
}

// knownRow is one change of the bollard's delivery: families that must be taken from before, and some that must not.
type knownRow struct {
	change      string
	file        string
	write       func(t *testing.T, path string)
	taken, anew []string
}

// knownRows are the changes tried; the full run adds those that measure surfaces twice.
var knownRows = []knownRow{
	{"nothing", "", nil, Families(), nil},
	{"a map's size and colour", "bollard_base_color.png", func(t *testing.T, p string) { require.NoError(t, os.WriteFile(p, pngOf(t, 512), 0o644)) },
		[]string{"surface", "scene", "names"}, []string{"uv", "budget", "file"}},
	{"the game mesh", "bollard_game.glb", func(t *testing.T, p string) {
		require.NoError(t, glbwrite.WriteFile(p, glbwrite.Scene{Roots: []*glbwrite.Node{
			glbBoxNode("bollard_body", [3]float32{-.209, 0, -.21}, [3]float32{.21, .7, .21}, &glbwrite.Material{Name: "bollard"})}}))
	}, nil, []string{"surface", "scene", "uv", "budget", "names", "file"}},
}

// TestKnownFindingsAreTheSame changes one file after the other: with the families whose keys stayed taken from before, the
// evidence is the same, byte for byte, as measured anew.
func TestKnownFindingsAreTheSame(t *testing.T) {
	t.Parallel()
	sp := specFromFile(t, "bollard.yaml", spec.Final)
	folder := harbourBollard(t)
	before := inspectFolder(t, sp, folder)
	keys := keysOf(t, sp, folder)
	for _, row := range knownRows {
		t.Run(row.change, func(t *testing.T) {
			changed := t.TempDir()
			require.NoError(t, os.CopyFS(changed, os.DirFS(folder)))
			if row.file != "" {
				row.write(t, filepath.Join(changed, row.file))
			}
			known, now := map[string][]Finding{}, keysOf(t, sp, changed)
			for family, findings := range Reusable(before.Evidence) {
				if now[family] == keys[family] {
					known[family] = findings
				}
			}
			for _, f := range row.taken {
				if f != "revision" {
					require.Contains(t, known, f)
				}
			}
			for _, f := range row.anew {
				require.NotContains(t, known, f)
			}
			if row.taken == nil {
				return // everything is measured either way
			}
			fresh := before
			if row.file != "" {
				fresh = inspectFolder(t, sp, changed)
			}
			again, err := Inspect(context.Background(), Job{Spec: sp, Folder: changed, Threads: 1, Known: known})
			require.NoError(t, err)
			require.Equal(t, string(fresh.Canonical), string(again.Canonical))
		})
	}
	// What is known is taken and not measured again: a mark on it comes back.
	known := Reusable(before.Evidence)
	known["surface"][0].Labels = map[string]string{"mark": "of before"}
	again, err := Inspect(context.Background(), Job{Spec: sp, Folder: folder, Only: []string{"surface"}, Known: map[string][]Finding{"surface": known["surface"]}})
	require.NoError(t, err)
	require.Equal(t, "of before", findingOf(t, again.Evidence, known["surface"][0].Check).Labels["mark"])
}

// TestOnlySomeFamilies: the evidence of a part of the checks says so in its headline, and holds findings of those alone.
func TestOnlySomeFamilies(t *testing.T) {
	t.Parallel()
	sp := specFromFile(t, "bollard.yaml", spec.Final)
	r, err := Inspect(context.Background(), Job{Spec: sp, Folder: harbourBollard(t), Only: []string{"uv", "names"}})
	require.NoError(t, err)
	require.Equal(t, []string{"uv", "names"}, r.Evidence.Only)
	require.Contains(t, r.Evidence.Headline, "only uv, names, the rest was not checked; technical: ")
	var families []string
	for _, f := range r.Evidence.Findings {
		if !slices.Contains(families, FamilyOf(f.Check)) {
			families = append(families, FamilyOf(f.Check))
		}
	}
	require.Equal(t, []string{"names", "uv"}, families)
	_, err = Inspect(context.Background(), Job{Spec: sp, Folder: harbourBollard(t), Only: []string{"uvs"}})
	require.ErrorContains(t, err, `no family of checks "uvs"`)
}
