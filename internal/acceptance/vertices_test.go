package acceptance

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
)

// distinctSlow is the definition: a set of tuples of numbers, in which -0 is 0.
func distinctSlow(p *mesh.Primitive) int {
	seen := map[string]bool{}
	for _, v := range p.Tri {
		key := fmt.Sprint(tuple(p.Pos, v, 3), tuple(p.Nrm, v, 3), tuple(p.Tan, v, 4), tuple(p.Col, v, 4))
		for _, uv := range p.UV {
			key += fmt.Sprint(tuple(uv, v, 2))
		}
		seen[key] = true
	}
	return len(seen)
}

func tuple(data []float32, v uint32, width int) []float32 {
	if data == nil {
		return nil
	}
	out := make([]float32, width)
	for k := range out {
		out[k] = data[int(v)*width+k] + 0 // -0 + 0 is 0
	}
	return out
}

func TestDistinctVerticesAgreeWithDefinition(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 30).Draw(t, "vertices")
		few := rapid.SampledFrom([]float32{0, float32(negativeZero), 1, 2})
		array := func(name string, width int) []float32 {
			if width > 3 && rapid.Bool().Draw(t, "no "+name) {
				return nil
			}
			return rapid.SliceOfN(few, n*width, n*width).Draw(t, name)
		}
		p := mesh.Primitive{Pos: array("pos", 3), Nrm: array("nrm", 3), Tan: array("tan", 4), Col: array("col", 4),
			UV: [][]float32{array("uv0", 2), array("uv1", 2)}}
		p.Tri = rapid.SliceOfN(rapid.Uint32Range(0, uint32(n-1)), 0, 60).Draw(t, "tri")
		p.Tri = p.Tri[:len(p.Tri)/3*3]
		require.Equal(t, distinctSlow(&p), distinctVertices(&p))

		// Neither the order of vertices nor that of triangles matters.
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		to := rng.Perm(n)
		q := mesh.Primitive{Pos: moveVertices(p.Pos, 3, to), Nrm: moveVertices(p.Nrm, 3, to), Tan: moveVertices(p.Tan, 4, to),
			Col: moveVertices(p.Col, 4, to), UV: [][]float32{moveVertices(p.UV[0], 2, to), moveVertices(p.UV[1], 2, to)}}
		for _, i := range rng.Perm(len(p.Tri) / 3) {
			q.Tri = append(q.Tri, uint32(to[p.Tri[3*i+1]]), uint32(to[p.Tri[3*i+2]]), uint32(to[p.Tri[3*i]]))
		}
		require.Equal(t, distinctVertices(&p), distinctVertices(&q))
	})
}

func moveVertices(data []float32, width int, to []int) []float32 {
	if data == nil {
		return nil
	}
	out := make([]float32, len(data))
	for v, w := range to {
		copy(out[w*width:(w+1)*width], data[v*width:(v+1)*width])
	}
	return out
}

func BenchmarkDistinctVertices(b *testing.B) {
	for _, size := range []struct {
		name          string
		patches, edge int
	}{{"12k", 24, 16}, {"1M", 500, 32}} {
		b.Run(size.name, func(b *testing.B) {
			l := patches(size.patches, size.edge)
			p := mesh.Primitive{Pos: l.pos, UV: [][]float32{l.uv}, Nrm: l.pos, Tri: l.tri}
			b.ReportAllocs()
			for b.Loop() {
				distinctVertices(&p)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(l.tri)/3), "ns/triangle")
		})
	}
}
