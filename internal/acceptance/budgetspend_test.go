package acceptance

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// cutBox is a box whose sides are each cut into n × n quads: hard edges and an island for each side.
func cutBox(material, n int, lo, hi [3]float32) mesh.Primitive {
	box := boxPrim(material, lo, hi)
	p := mesh.Primitive{Material: material, Mode: 4, UV: [][]float32{nil}}
	for side := range 6 {
		first := uint32(len(p.Pos) / 3)
		v := box.Tri[6*side : 6*side+6]
		corners := [4]uint32{v[0], v[1], v[2], v[5]}
		mix := func(of []float32, width int, x, y float32) []float32 {
			var out []float32
			for k := range width {
				at := func(c int) float32 { return of[int(corners[c])*width+k] }
				bottom, top := at(0)+x*(at(1)-at(0)), at(3)+x*(at(2)-at(3))
				out = append(out, bottom+y*(top-bottom))
			}
			return out
		}
		for j := range n + 1 {
			for i := range n + 1 {
				x, y := float32(i)/float32(n), float32(j)/float32(n)
				p.Pos = append(p.Pos, mix(box.Pos, 3, x, y)...)
				p.Nrm = append(p.Nrm, box.Nrm[3*corners[0]:3*corners[0]+3]...)
				p.UV[0] = append(p.UV[0], mix(box.UV[0], 2, x, y)...)
			}
		}
		for j := range n {
			for i := range n {
				a := first + uint32(j*(n+1)+i)
				b, c, d := a+1, a+uint32(n+2), a+uint32(n+1)
				p.Tri = append(p.Tri, a, b, c, a, c, d)
			}
		}
	}
	return p
}

func spent(t tester, p mesh.Primitive, text string) Finding {
	b := newProp("crate_a.glb")
	b.material("wood", 1024)
	b.node("crate", identity16, p)
	return run1(t, b.subject(t, specOf(t, spec.Hero, text)), "budget.spend")
}

// A box cut into n × n quads a side comes down to the twelve triangles of a box, whatever its size, and the order of its
// triangles. Closed form: 12n² - 12 can go.
func TestSpendOnABox(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "n")
		size := rapid.Float32Range(0.1, 3).Draw(t, "size")
		p := cutBox(0, n, [3]float32{-size, 0, -size / 2}, [3]float32{size, size, size / 2})
		order := rapid.Permutation(indicesTo(len(p.Tri)/3)).Draw(t, "order")
		var tri []uint32
		for _, i := range order {
			tri = append(tri, p.Tri[3*i:3*i+3]...)
		}
		p.Tri = tri
		f := spent(t, p, "")
		require.Equal(t, float64(12*n*n-12), f.Metrics["removable"], f.Sentence)
		require.Equal(t, n > 1, f.Outcome == Warn)
		require.Zero(t, f.Metrics["facet_mm"], "corners of a box are no curve")
	})
}

// What carries outline, shading or texture stays: a bump over half a pixel, a bend in the UV, a normal that turns.
func TestSpendKeepsWhatShows(t *testing.T) {
	t.Parallel()
	lo, hi := [3]float32{-0.5, 0, -0.5}, [3]float32{0.5, 1, 0.5}
	all := spent(t, cutBox(0, 2, lo, hi), "").Metrics["removable"]
	require.Equal(t, 36.0, all)
	middle := func(p mesh.Primitive) int { // of the side that looks along +X: nine vertices a side, the fifth in its middle
		for side := range 6 {
			if p.Nrm[3*9*side] > 0.5 {
				return 9*side + 4
			}
		}
		return -1
	}
	pixel := specOf(t, spec.Hero, "").View.PixelMM() / 1000
	for name, c := range map[string]struct {
		change func(p *mesh.Primitive, v int)
		stays  bool
	}{
		"a bump of a third of a pixel":        {func(p *mesh.Primitive, v int) { p.Pos[3*v] += float32(pixel / 8) }, false},
		"a bump of two pixels":                {func(p *mesh.Primitive, v int) { p.Pos[3*v] += float32(2 * pixel) }, true},
		"a texture that bends there":          {func(p *mesh.Primitive, v int) { p.UV[0][2*v] += 3.0 / 1024 }, true},
		"a texture off by a third of a texel": {func(p *mesh.Primitive, v int) { p.UV[0][2*v] += 0.3 / 1024 }, false},
		"a shading that turns there":          {func(p *mesh.Primitive, v int) { p.Nrm[3*v], p.Nrm[3*v+1] = 0.9950, 0.0998 }, true},
	} {
		p := cutBox(0, 2, lo, hi)
		c.change(&p, middle(p))
		f := spent(t, p, "")
		require.Equal(t, c.stays, f.Metrics["removable"] < all, "%s: %v", name, f.Metrics)
	}
	// A seam that runs straight through a flat stays, and loses only the points along itself.
	p := cutBox(0, 2, lo, hi)
	for v := 0; v < len(p.Pos); v += 3 {
		if p.Nrm[v] > 0.5 {
			p.UV[0][2*(v/3)] += 2 // the whole side moved in the texture: no seam more than before
		}
	}
	require.Equal(t, all, spent(t, p, "").Metrics["removable"])
}

// A drum of n sides with loops around its waist: the loops can go, all of them, and the rim stays as it is. Closed form.
func TestSpendOnADrum(t *testing.T) {
	t.Parallel()
	for _, loops := range []int{0, 1, 5} {
		n := 24
		p := drumOf(0, n, 0.3, 0.9)
		cut := mesh.Primitive{Mode: 4, UV: [][]float32{nil}}
		add := func(v uint32, y, f float32) uint32 {
			cut.Pos = append(cut.Pos, p.Pos[3*v], y, p.Pos[3*v+2])
			cut.Nrm = append(cut.Nrm, p.Nrm[3*v:3*v+3]...)
			cut.UV[0] = append(cut.UV[0], p.UV[0][2*v], 0.9-0.4*f)
			return uint32(len(cut.Pos)/3 - 1)
		}
		for side := range n {
			a, b := p.Tri[6*side], p.Tri[6*side+1]
			for k := range loops + 1 {
				f0, f1 := float32(k)/float32(loops+1), float32(k+1)/float32(loops+1)
				q := [4]uint32{add(a, 0.9*f0, f0), add(b, 0.9*f0, f0), add(b, 0.9*f1, f1), add(a, 0.9*f1, f1)}
				cut.Tri = append(cut.Tri, q[0], q[1], q[2], q[0], q[2], q[3])
			}
		}
		first := uint32(len(cut.Pos) / 3)
		cut.Pos, cut.Nrm, cut.UV[0] = append(cut.Pos, p.Pos...), append(cut.Nrm, p.Nrm...), append(cut.UV[0], p.UV[0]...)
		for _, v := range p.Tri[6*n:] {
			cut.Tri = append(cut.Tri, first+v)
		}
		f := spent(t, cut, "view: {distance_m: 0.3}")
		require.Equal(t, float64(2*n*loops), f.Metrics["removable"], f.Sentence)
	}
}

// A drum of n sides of radius r shows flats r·(1-cos(π/n)) inside its round: closed form, as handbooks of turning give it.
func TestSpendFacets(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(8, 40).Draw(t, "sides")
		radius := rapid.Float64Range(0.1, 1).Draw(t, "radius")
		f := spent(t, drumOf(0, n, radius, 0.9), "")
		require.InDelta(t, 1000*radius*(1-math.Cos(math.Pi/float64(n))), f.Metrics["facet_mm"], 0.003)
		limit := 1.5 * specOf(t, spec.Hero, "").View.PixelMM()
		if facet := f.Metrics["facet_mm"]; math.Abs(facet-limit) > 0.01 {
			require.Equal(t, facet > limit, f.Outcome == Warn, f.Sentence)
		}
	})
	p := drumOf(0, 12, 0.3, 0.9)
	p.Nrm = nil // shaded flat: it is meant to have twelve sides
	require.Zero(t, spent(t, p, "").Metrics["facet_mm"])
}

func TestSpendDegenerate(t *testing.T) {
	t.Parallel()
	nan := float32(math.NaN())
	for _, p := range []mesh.Primitive{
		{Mode: 4, Pos: make([]float32, 9), Tri: []uint32{0, 1, 2}},
		{Mode: 4, Pos: []float32{nan, 0, 0, 1, 0, 0, 0, 1, 0}, Tri: []uint32{0, 1, 2}},
		{Mode: 4, Pos: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, UV: [][]float32{{nan, 0, 0, 0, 0, 0}}, Nrm: []float32{nan, 0, 0, 0, 0, 0, 0, 0, 0}, Tri: []uint32{0, 1, 2, 0, 1, 2, 2, 1, 0}},
	} {
		require.Equal(t, Pass, spent(t, p, "").Outcome)
	}
}

func BenchmarkSpend(b *testing.B) {
	p := cutBox(0, 32, [3]float32{-0.5, 0, -0.5}, [3]float32{0.5, 1, 0.5})
	pb := newProp("crate_a.glb")
	pb.material("wood", 1024)
	pb.node("crate", identity16, p)
	s := pb.subject(b, specOf(b, spec.Hero, ""))
	b.ReportAllocs()
	for b.Loop() {
		run1(b, s, "budget.spend")
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(p.Tri)/3), "ns/triangle")
}

// Loops beside hard corners keep the averaged directions of a projection straight: with a sculpt they stay, without one
// they are loops like any other.
func TestSpendKeepsWhatGuidesTheBake(t *testing.T) {
	t.Parallel()
	b := newProp("crate_a.glb")
	b.material("wood", 1024)
	b.node("crate", identity16, cutBox(0, 3, [3]float32{-0.5, 0, -0.5}, [3]float32{0.5, 1, 0.5}))
	s := b.subject(t, specOf(t, spec.Hero, ""))
	require.Equal(t, float64(12*9-12), run1(t, s, "budget.spend").Metrics["removable"])
	s.Sculpt = s.LODs[0]
	require.Zero(t, run1(t, s, "budget.spend").Metrics["removable"], "each loop is the one beside a corner")
	s.Spec = specOf(t, spec.Hero, "conventions: {cage: mesh}")
	require.Equal(t, float64(12*9-12), run1(t, s, "budget.spend").Metrics["removable"], "a cage of its own guides the bake")
}
