package chart

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// roof is two quads that meet along one edge of a metre at an angle, each with its own vertices. split is the angle
// between the normals at the edge.
func roof(foldDeg, splitDeg float64, seam bool) (pos, nrm, uv []float32, tri []uint32) {
	for side := range 2 {
		sign := float64(1 - 2*side)
		sin, cos := math.Sincos(sign * foldDeg / 2 * math.Pi / 180)
		ns, nc := math.Sincos(sign * splitDeg / 2 * math.Pi / 180)
		for _, c := range [4]Vec{{0, 0}, {1, 0}, {1, 1}, {0, 1}} { // along the edge, away from it
			pos = append(pos, float32(c[0]), float32(-sin*sign*c[1]), float32(cos*sign*c[1]))
			nrm = append(nrm, 0, float32(nc), float32(ns))
			v := sign * c[1] / 4
			if seam && side == 1 {
				v -= 0.1
			}
			uv = append(uv, float32(c[0]/4), float32(0.5+v))
		}
	}
	return pos, nrm, uv, []uint32{0, 2, 1, 0, 3, 2, 4, 5, 6, 4, 6, 7}
}

func creasesOf(pos, nrm, uv []float32, tri []uint32) Creases {
	cos := func(deg float64) float64 { return math.Cos(deg * math.Pi / 180) }
	return FindCreases(pos, nrm, uv, tri, Find(pos, uv, tri).Chart, cos(2), cos(75))
}

func TestCreases(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name        string
		fold, split float64
		seam        bool
		hard, steep int
	}{
		{"flat and soft", 0, 0, false, 0, 0},
		{"hard without a seam", 90, 90, false, 1, 0},
		{"hard with a seam", 90, 90, true, 0, 0},
		{"weighted normals, a degree and a half apart", 30, 1.5, false, 0, 0},
		{"two and a half degrees apart", 30, 2.5, false, 1, 0},
		{"steep and soft", 80, 0, false, 0, 1},
		{"just not steep", 74, 0, false, 0, 0},
		{"steep, soft, with a seam", 80, 0, true, 0, 0},
	} {
		got := creasesOf(roof(c.fold, c.split, c.seam))
		require.Len(t, got.Hard, c.hard, c.name)
		require.Len(t, got.Steep, c.steep, c.name)
		for _, e := range append(got.Hard, got.Steep...) {
			require.InDelta(t, 1, e.Length, 1e-6)
		}
	}
	pos, nrm, uv, tri := roof(90, 90, false)
	for i := range nrm {
		nrm[i] = 0
	}
	require.Empty(t, creasesOf(pos, nrm, uv, tri).Hard, "without normals nothing is known")
}

// Planted just inside and just outside both angles, in any numbering.
func TestCreasesPlanted(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		// Normals are stored in single precision: an angle of 2° is known to about 2⁻²⁴/sin 2°, a ten-thousandth of a degree.
		split := rapid.OneOf(rapid.Float64Range(0, 1.999), rapid.Float64Range(2.001, 120)).Draw(t, "split")
		fold := rapid.OneOf(rapid.Float64Range(0, 74.99), rapid.Float64Range(75.01, 150)).Draw(t, "fold")
		pos, nrm, uv, tri := roof(fold, split, false)
		l := renumbered(layout{pos: pos, uv: uv, tri: tri}, rng)
		// Normals go with positions and UVs, which are different on each side but at the edge: take them by triangle.
		moved := make([]float32, len(l.pos))
		for i := range len(l.pos) / 3 {
			for v := range len(pos) / 3 {
				if pos[3*v] == l.pos[3*i] && pos[3*v+1] == l.pos[3*i+1] && pos[3*v+2] == l.pos[3*i+2] && sameSide(l, tri, i, v) {
					copy(moved[3*i:3*i+3], nrm[3*v:3*v+3])
				}
			}
		}
		got := creasesOf(l.pos, moved, l.uv, l.tri)
		require.Equal(t, split > 2, len(got.Hard) == 1)
		require.Equal(t, split <= 2 && fold > 75, len(got.Steep) == 1)
	})
}

// sameSide says whether vertex i of a renumbered roof belongs to the quad of vertex v: by the middle of its triangles.
func sameSide(l layout, _ []uint32, i, v int) bool {
	mid := float32(0)
	for t := range len(l.tri) / 3 {
		for k := range 3 {
			if int(l.tri[3*t+k]) == i {
				for c := range 3 {
					mid += l.pos[3*l.tri[3*t+c]+2]
				}
			}
		}
	}
	return mid > 0 == (v < 4)
}

func BenchmarkCreases(b *testing.B) {
	l := patches(500, 32)
	nrm := make([]float32, len(l.pos))
	for i := 2; i < len(nrm); i += 3 {
		nrm[i] = 1
	}
	chart := Find(l.pos, l.uv, l.tri).Chart
	b.ReportAllocs()
	for b.Loop() {
		FindCreases(l.pos, nrm, l.uv, l.tri, chart, 0.9994, 0.26)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(l.tri)/3), "ns/triangle")
}
