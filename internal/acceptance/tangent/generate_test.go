package tangent

import (
	"hash/crc32"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/detmath"
)

// oddMesh draws few vertices from a small lattice and joins them at random, so that everything coincides with something.
func oddMesh(r *rand.Rand) (pos, nrm, uv []float32, tri []uint32) {
	n := 6 + r.IntN(30)
	dirs := [][3]float32{{0, 0, 1}, {0, 1, 0}, {1, 0, 0}, {0.6, 0, 0.8}}
	one := r.IntN(2) == 0
	for range n {
		pos = append(pos, float32(r.IntN(4)), float32(r.IntN(4)), float32(r.IntN(2)))
		d := dirs[r.IntN(len(dirs))]
		if one {
			d = dirs[0]
		}
		nrm = append(nrm, d[0], d[1], d[2])
		uv = append(uv, float32(r.IntN(5))/4, float32(r.IntN(5))/4)
	}
	for range 4 * n {
		tri = append(tri, uint32(r.IntN(n)), uint32(r.IntN(n)), uint32(r.IntN(n)))
	}
	return pos, nrm, uv, tri
}

// referenceSum is the checksum of what the reference implementation (npm mikktspace 1.1.1) gives for the first 60 odd meshes,
// in glTF's sign; the test with the tag full asks it anew.
const referenceSum = 0xa5bc0f50

func TestEqualsReferenceAsRecorded(t *testing.T) {
	t.Parallel()
	sum := crc32.NewIEEE()
	for seed := range uint64(60) {
		pos, nrm, uv, tri := oddMesh(rand.New(rand.NewPCG(seed, 5)))
		_, err := sum.Write(bytesOf(Generate(pos, nrm, uv, tri)))
		require.NoError(t, err)
	}
	require.Equal(t, uint32(referenceSum), sum.Sum32())
}

func bytesOf(v []float32) []byte {
	out := make([]byte, 0, 4*len(v))
	for _, x := range v {
		b := math.Float32bits(x + 0)
		out = append(out, byte(b), byte(b>>8), byte(b>>16), byte(b>>24))
	}
	return out
}

// cylinder is one of radius 1 around Y, U running once around it and V from top to bottom.
func cylinder(sides, rings int) (pos, nrm, uv []float32, tri []uint32) {
	for j := range rings + 1 {
		for i := range sides + 1 {
			a := 2 * math.Pi * float64(i%sides) / float64(sides)
			s, c := detmath.Sincos(a)
			pos = append(pos, float32(c), float32(1-float64(j)/float64(rings)), float32(-s))
			nrm = append(nrm, float32(c), 0, float32(-s))
			uv = append(uv, float32(i)/float32(sides), float32(j)/float32(rings))
		}
	}
	for j := range uint32(rings) {
		for i := range uint32(sides) {
			a := j*uint32(sides+1) + i
			b := a + uint32(sides) + 1
			tri = append(tri, a, b, b+1, a, b+1, a+1)
		}
	}
	return pos, nrm, uv, tri
}

// On a cylinder the tangent is the derivative of the circle, and the bitangent, by glTF's convention, points to where V
// falls: up.
func TestCylinder(t *testing.T) {
	t.Parallel()
	pos, nrm, uv, tri := cylinder(64, 3)
	out := Generate(pos, nrm, uv, tri)
	for c, v := range tri {
		n, tan := vec(nrm[3*v:3*v+3]), vec(out[4*c:4*c+3])
		want := vec{n[2], 0, -n[0]}
		require.InDelta(t, 1, want.dot(tan), 2e-3, "corner %d: within half a side's turn at the seam", c)
		require.InDelta(t, 0, tan[1], 1e-6)
		bitangent := vec{n[1]*tan[2] - n[2]*tan[1], n[2]*tan[0] - n[0]*tan[2], n[0]*tan[1] - n[1]*tan[0]}.scale(out[4*c+3])
		require.InDelta(t, 1, bitangent[1], 1e-5, "corner %d", c)
	}
}

// Mirroring U turns the tangent round and the sign over; nothing else.
func TestMirroredUVs(t *testing.T) {
	t.Parallel()
	pos, nrm, uv, tri := cylinder(20, 2)
	straight := Generate(pos, nrm, uv, tri)
	mirrored := slices.Clone(uv)
	for i := 0; i < len(mirrored); i += 2 {
		mirrored[i] = 1 - mirrored[i]
	}
	d := Compare(spreadOut(straight, tri, len(pos)/3), Generate(pos, nrm, mirrored, tri), tri)
	require.Equal(t, len(tri), d.Flipped)
	require.InDelta(t, 180, d.MeanDeg, 0.01)
}

// spreadOut gives vertices the tangent of one of their corners.
func spreadOut(corners []float32, tri []uint32, vertices int) []float32 {
	out := make([]float32, 4*vertices)
	for c, v := range tri {
		copy(out[4*v:4*v+4], corners[4*c:4*c+4])
	}
	return out
}

// Moving a mesh, scaling it, or splitting what can be joined changes no tangent by more than rounding.
func TestLaws(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		sides, rings := rapid.IntRange(3, 24).Draw(t, "sides"), rapid.IntRange(1, 4).Draw(t, "rings")
		pos, nrm, uv, tri := cylinder(sides, rings)
		want := Generate(pos, nrm, uv, tri)
		var p, n, q []float32
		size := float32(rapid.SampledFrom([]float64{0.01, 1, 40}).Draw(t, "size"))
		corners := make([]uint32, len(tri))
		for c, v := range tri {
			corners[c] = uint32(c)
			p = append(p, pos[3*v]*size+3, pos[3*v+1]*size-1, pos[3*v+2]*size)
			n, q = append(n, nrm[3*v:3*v+3]...), append(q, uv[2*v:2*v+2]...)
		}
		got := Generate(p, n, q, corners)
		for i := range got {
			// A float32 near 3 is known to 2^-22; the shortest side here is 0.01 · 2 sin(π/24) long.
			require.InDelta(t, want[i], got[i], 1e-3)
		}
	})
}

// What cannot have a tangent gets one all the same, and nothing that is not a number comes of it.
func TestOddInput(t *testing.T) {
	t.Parallel()
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	up := []float32{0, 0, 1, 0, 0, 1, 0, 0, 1}
	flat := []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}
	for _, c := range []struct {
		name    string
		pos, uv []float32
		tri     []uint32
		want    []float32 // of every corner, nil: only that there is one
	}{
		{"no triangles", flat, []float32{0, 0, 1, 0, 0, 1}, nil, nil},
		{"no area", []float32{0, 0, 0, 0, 0, 0, 1, 0, 0}, []float32{0, 0, 1, 0, 0, 1}, []uint32{0, 1, 2}, []float32{1, 0, 0, 1}},
		{"one vertex thrice", flat, []float32{0, 0, 1, 0, 0, 1}, []uint32{1, 1, 1}, []float32{1, 0, 0, 1}},
		{"no UV area", flat, []float32{0.5, 0.5, 0.5, 0.5, 0.5, 0.5}, []uint32{0, 1, 2}, []float32{1, 0, 0, 1}},
		{"UVs on a line", flat, []float32{0, 0, 0.5, 0.5, 1, 1}, []uint32{0, 1, 2}, []float32{1, 0, 0, 1}},
		{"a copy without area beside a sound one", flat, []float32{0, 0, 0, 1, 1, 0}, []uint32{0, 1, 2, 0, 0, 1}, nil},
		{"a position that is no number", []float32{nan, 0, 0, 1, 0, 0, 0, 1, 0}, []float32{0, 0, 1, 0, 0, 1}, []uint32{0, 1, 2}, nil},
		{"an endless position", []float32{inf, 0, 0, 1, 0, 0, 0, 1, 0}, []float32{0, 0, 1, 0, 0, 1}, []uint32{0, 1, 2}, nil},
		{"a UV that is no number", flat, []float32{nan, 0, 1, 0, 0, 1}, []uint32{0, 1, 2}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			out := Generate(c.pos, up, c.uv, c.tri)
			require.Len(t, out, 4*len(c.tri))
			for i := 0; i < len(out); i += 4 {
				if c.want != nil {
					require.Equal(t, c.want, out[i:i+4])
				}
				require.Contains(t, []float32{-1, 1}, out[i+3])
			}
		})
	}
}

func TestCompare(t *testing.T) {
	t.Parallel()
	pos, nrm, uv, tri := cylinder(12, 1)
	ours := Generate(pos, nrm, uv, tri)
	delivered := spreadOut(ours, tri, len(pos)/3)
	d := Compare(delivered, ours, tri)
	require.Equal(t, Difference{Corners: len(tri), MeanDeg: d.MeanDeg, P95Deg: d.P95Deg, MaxDeg: d.MaxDeg, WorstCorner: d.WorstCorner, FlippedCorner: -1}, d)
	require.Less(t, d.MaxDeg, 1e-4)
	delivered[3] = -delivered[3]
	copy(delivered[4:7], []float32{0, 0, 0})
	d = Compare(delivered, ours, tri)
	require.Positive(t, d.Flipped)
	require.Positive(t, d.WithoutLength)
}

func BenchmarkGenerate(b *testing.B) {
	pos, nrm, uv, tri := cylinder(200, 30) // 12,000 triangles
	b.ReportAllocs()
	for b.Loop() {
		if len(Generate(pos, nrm, uv, tri)) != 4*len(tri) {
			b.Fatal("a tangent is missing")
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(tri)/3), "ns/triangle")
}
