package acceptance

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// planted is a defect put into a clean prop: make returns a prop with n of it, whose check must count n, and must be out of
// limits where n is above the limit.
type planted struct {
	check, metric string
	spec          string
	most          int // the limit
	make          func(t *rapid.T, n int) []madePart
}

// softBall is a closed ball of shared vertices: rings of quads cut in two, fans at the poles.
func softBall(r float64, rings, around int) mesh.Primitive {
	p := mesh.Primitive{Mode: 4, UV: [][]float32{nil}}
	add := func(x, y, z float64) {
		p.Pos = append(p.Pos, float32(r*x), float32(r*y), float32(r*z))
		p.Nrm = append(p.Nrm, float32(x), float32(y), float32(z))
		p.UV[0] = append(p.UV[0], float32(x/2+0.5), float32(y/2+0.5))
	}
	add(0, 1, 0)
	for i := 1; i < rings; i++ {
		polar := math.Pi * float64(i) / float64(rings)
		for j := range around {
			turn := 2 * math.Pi * float64(j) / float64(around)
			add(math.Sin(polar)*math.Cos(turn), math.Cos(polar), math.Sin(polar)*math.Sin(turn))
		}
	}
	add(0, -1, 0)
	at := func(i, j int) uint32 { return uint32(1 + (i-1)*around + j%around) }
	last := uint32(len(p.Pos)/3 - 1)
	for j := range around {
		p.Tri = append(p.Tri, 0, at(1, j+1), at(1, j))
		for i := 1; i < rings-1; i++ {
			p.Tri = append(p.Tri, at(i, j), at(i, j+1), at(i+1, j), at(i, j+1), at(i+1, j+1), at(i+1, j))
		}
		p.Tri = append(p.Tri, at(rings-1, j), at(rings-1, j+1), last)
	}
	return p
}

// placesApart draws n different numbers below size, at least gap apart and gap from the ends.
func placesApart(t *rapid.T, n, size, gap int) []int {
	out := make([]int, n)
	for i := range out {
		lo, hi := gap+i*(size-gap)/n, (i+1)*(size-gap)/n
		out[i] = rapid.IntRange(min(lo, hi-1), hi-1).Draw(t, "where")
	}
	return out
}

// anywhere puts a primitive at a random place, turned about the upright axis, its vertices and triangles in random order.
func anywhere(t *rapid.T, p mesh.Primitive, scale float64) mesh.Primitive {
	turn := rapid.Float64Range(0, 6.28).Draw(t, "turn")
	sin, cos := math.Sin(turn), math.Cos(turn)
	var off [3]float64
	for k := range off {
		off[k] = rapid.Float64Range(-2, 2).Draw(t, "offset")
	}
	n := len(p.Pos) / 3
	order := rapid.Permutation(counting(n)).Draw(t, "vertices")
	out := mesh.Primitive{Mode: p.Mode, Material: p.Material, UV: [][]float32{make([]float32, 2*n)}, Pos: make([]float32, 3*n), Nrm: make([]float32, 3*n)}
	for v := range n {
		w := order[v]
		x, y, z := float64(p.Pos[3*v])*scale, float64(p.Pos[3*v+1])*scale, float64(p.Pos[3*v+2])*scale
		out.Pos[3*w], out.Pos[3*w+1], out.Pos[3*w+2] = float32(cos*x+sin*z+off[0]), float32(y+off[1]), float32(cos*z-sin*x+off[2])
		a, b, c := float64(p.Nrm[3*v]), float64(p.Nrm[3*v+1]), float64(p.Nrm[3*v+2])
		out.Nrm[3*w], out.Nrm[3*w+1], out.Nrm[3*w+2] = float32(cos*a+sin*c), float32(b), float32(cos*c-sin*a)
		copy(out.UV[0][2*w:2*w+2], p.UV[0][2*v:])
	}
	for _, i := range rapid.Permutation(counting(len(p.Tri)/3)).Draw(t, "triangles") {
		k := rapid.IntRange(0, 2).Draw(t, "corner")
		for j := range 3 {
			out.Tri = append(out.Tri, uint32(order[p.Tri[3*i+(j+k)%3]]))
		}
	}
	return out
}

func counting(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return all
}

// plantedDefects: defects at random places, sizes and vertex orders, one below, at and above each limit.
var plantedDefects = []planted{
	{"topology.degenerate", "count", "", 0, func(t *rapid.T, n int) []madePart {
		p := softBall(1, 8, 12)
		for _, i := range placesApart(t, n, len(p.Tri)/3, 0) {
			a := p.Tri[3*i]
			p.Tri = append(p.Tri, a, p.Tri[3*i+1], a)
		}
		return asBody(anywhere(t, p, size(t)))
	}},
	{"topology.duplicate", "count", "", 0, func(t *rapid.T, n int) []madePart {
		p := softBall(1, 8, 12)
		for _, i := range placesApart(t, n, len(p.Tri)/3, 0) {
			p.Tri = append(p.Tri, p.Tri[3*i+1], p.Tri[3*i+2], p.Tri[3*i])
		}
		return asBody(anywhere(t, p, size(t)))
	}},
	{"topology.nonmanifold", "count", "", 0, func(t *rapid.T, n int) []madePart {
		p := softBall(1, 8, 24)
		for _, j := range placesApart(t, n, 24, 2) { // an upright edge between two rings
			a, b := uint32(1+3*24+j), uint32(1+4*24+j)
			p.Pos = append(p.Pos, 1.5*p.Pos[3*a], 1.5*p.Pos[3*a+1], 1.5*p.Pos[3*a+2])
			p.Nrm, p.UV[0] = append(p.Nrm, 0, 1, 0), append(p.UV[0], 0, 0)
			p.Tri = append(p.Tri, a, b, uint32(len(p.Pos)/3-1))
		}
		return asBody(anywhere(t, p, size(t)))
	}},
	{"topology.nonmanifold", "bowtie_vertices", "", 0, func(t *rapid.T, n int) []madePart {
		p := softBall(1, 8, 24)
		for _, j := range placesApart(t, n, 24, 2) {
			a := uint32(1 + 3*24 + j)
			first := uint32(len(p.Pos) / 3)
			for k := range 3 {
				turn := 2.1 * float64(k)
				p.Pos = append(p.Pos, 1.3*p.Pos[3*a]+float32(0.05*math.Cos(turn)), 1.3*p.Pos[3*a+1]+0.05*float32(k), 1.3*p.Pos[3*a+2]+float32(0.05*math.Sin(turn)))
				p.Nrm, p.UV[0] = append(p.Nrm, 0, 1, 0), append(p.UV[0], 0, 0)
			}
			p.Tri = append(p.Tri, a, first, first+1, a, first+1, first+2, a, first+2, first, first, first+2, first+1)
		}
		return asBody(anywhere(t, p, size(t)))
	}},
	{"topology.open_edges", "unplanned_loops", "", 0, func(t *rapid.T, n int) []madePart {
		p := softBall(1, 8, 24)
		var tri []uint32
		gone := map[int]bool{}
		for _, j := range placesApart(t, n, 24, 2) {
			gone[j*14+5] = true // 14 faces a column, and columns apart
		}
		for i := range len(p.Tri) / 3 {
			if !gone[i] {
				tri = append(tri, p.Tri[3*i:3*i+3]...)
			}
		}
		p.Tri = tri
		return asBody(anywhere(t, p, size(t)))
	}},
	{"topology.winding", "count", "", 0, func(t *rapid.T, n int) []madePart {
		p := softBall(1, 8, 24)
		for _, j := range placesApart(t, (n+2)/3, 24, 2) { // three edges a face
			if n == 0 {
				break
			}
			i := 3 * (j*14 + 5)
			p.Tri[i], p.Tri[i+1] = p.Tri[i+1], p.Tri[i]
		}
		return asBody(anywhere(t, p, size(t)))
	}},
	{"topology.winding", "inverted_shells", "", 0, func(t *rapid.T, n int) []madePart {
		var pieces []mesh.Primitive
		for i := range 4 {
			b := softBall(0.4, 5, 8)
			if i < n {
				b = turned(b)
			}
			pieces = append(pieces, shiftBy(b, float32(i), 0, 0))
		}
		return asBody(anywhere(t, piecePrim(pieces...), size(t)))
	}},
	{"topology.loose", "stray_vertices", "", 0, func(t *rapid.T, n int) []madePart {
		p := softBall(1, 8, 12)
		for range n {
			p.Pos, p.Nrm, p.UV[0] = append(p.Pos, rapid.Float32Range(-2, 2).Draw(t, "x"), 0.1, 0.2), append(p.Nrm, 0, 1, 0), append(p.UV[0], 0, 0)
		}
		return asBody(anywhere(t, p, size(t)))
	}},
	{"topology.loose", "unjoined_vertices", "", 0, func(t *rapid.T, n int) []madePart {
		p := softBall(1, 8, 12) // 86 vertices: one is 1.1 %
		for _, i := range placesApart(t, n, len(p.Tri), 0) {
			v := p.Tri[i]
			p.Pos, p.Nrm, p.UV[0] = append(p.Pos, p.Pos[3*v:3*v+3]...), append(p.Nrm, p.Nrm[3*v:3*v+3]...), append(p.UV[0], p.UV[0][2*v:2*v+2]...)
			p.Tri[i] = uint32(len(p.Pos)/3 - 1)
		}
		return asBody(anywhere(t, p, size(t)))
	}},
	{"topology.slivers", "count", "checks:\n  topology.slivers: {max_thin_share: 0}", 0, func(t *rapid.T, n int) []madePart {
		scale := rapid.Float64Range(0.5, 5).Draw(t, "scale")
		px := 3.2383 / 1000 // of a mid prop
		pieces := []mesh.Primitive{unitCube()}
		for i := range n {
			thick := float32(px * 0.9 / scale)
			quad := quadPrim(0, 0, 0, 1, thick, 0, 0, 1, 1)
			quad.Tri = quad.Tri[:3]
			pieces = append(pieces, shiftBy(quad, 0, float32(i)*0.2, 1.5))
		}
		for i := range 2 { // and just thick enough
			quad := quadPrim(0, 0, 0, 1, float32(px*1.1/scale), 0, 0, 1, 1)
			quad.Tri = quad.Tri[:3]
			pieces = append(pieces, shiftBy(quad, 0, float32(i)*0.2, 2))
		}
		return asBody(anywhere(t, piecePrim(pieces...), scale))
	}},
}

func size(t *rapid.T) float64 { return rapid.Float64Range(0.3, 6).Draw(t, "size") }

func asBody(p mesh.Primitive) []madePart {
	return []madePart{{name: "body", prims: []mesh.Primitive{p}}}
}

// Every defect that is counted is counted exactly, none is invented on a clean prop, and the limit lies between.
func TestTopologyPlantedCounts(t *testing.T) {
	t.Parallel()
	specs := make([]*spec.Spec, len(plantedDefects))
	for i, d := range plantedDefects {
		specs[i] = specOf(t, spec.MidGround, d.spec)
	}
	found, controls := 0, 0
	for range 3 {
		rapid.Check(t, func(rt *rapid.T) {
			row := rapid.IntRange(0, len(plantedDefects)-1).Draw(rt, "row")
			d := plantedDefects[row]
			n := rapid.IntRange(0, 3).Draw(rt, "defects")
			if d.metric == "count" && d.check == "topology.winding" {
				n = 3 * (n % 3)
			}
			s := propOf(rt, specs[row], mesh.Material{}, d.make(rt, n)...)
			f := run1(rt, s, d.check)
			require.Equal(rt, float64(n), f.Metrics[d.metric], "%s %s: %s", d.check, d.metric, f.Sentence)
			require.Equal(rt, n > d.most, f.Outcome == Fail || f.Outcome == Warn, "%s: %s", d.check, f.Sentence)
			found += n
			if n == 0 && d.spec == "" {
				controls++
				for _, c := range topologyChecks() {
					g := run1(rt, s, c.Def.Name)
					require.Equal(rt, Pass, g.Outcome, "a clean prop: %s: %s", c.Def.Name, g.Sentence)
				}
			}
		})
	}
	require.Positive(t, controls)
	t.Logf("counted defects: %d planted, all found; %d clean controls through all checks, none invented", found, controls)
}

// Defects that are measured: just inside the limit passes, just outside is found.
func TestTopologyPlantedMeasures(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.MidGround, "")
	px := sp.View.PixelMM() / 1000
	// make is given whether the defect is to lie outside its limit.
	rows := []struct {
		check string
		make  func(rt *rapid.T, bad bool) mesh.Primitive
	}{
		{"topology.self_intersection", func(rt *rapid.T, bad bool) mesh.Primitive {
			// A vertex of a ball pushed inward, to just before or just through the far side, whose faces lie at 0.9 of the radius and more.
			ball := softBall(1, 9, 12)
			v := 3 * rapid.IntRange(0, len(ball.Pos)/3-1).Draw(rt, "vertex")
			for k := range 3 {
				ball.Pos[v+k] *= float32(-either(bad, 0.8, 1.1))
			}
			return anywhere(rt, ball, size(rt))
		}},
		{"topology.z_fighting", func(rt *rapid.T, bad bool) mesh.Primitive {
			// A plate over a box: nearer than the depth step of 0.24 mm, or not. Places up to 5 m are stored to 0.24 µm.
			scale := rapid.Float64Range(0.5, 3).Draw(rt, "scale")
			return anywhere(rt, piecePrim(unitCube(), quadAt(0.3, 0.7, 1+float32(either(bad, 0.252, 0.228)/1000/scale))), scale)
		}},
		{"topology.hidden", func(rt *rapid.T, bad bool) mesh.Primitive {
			edge := float32(math.Sqrt(either(bad, 0.049, 0.051) / (1 - 0.05))) // of a box within a box: its share of the surface near 5 %
			lo, hi := 0.5-edge/2, 0.5+edge/2
			return anywhere(rt, piecePrim(unitCube(), boxPrim(0, [3]float32{lo, lo, lo}, [3]float32{hi, hi, hi})), size(rt))
		}},
		{"topology.see_through", func(rt *rapid.T, bad bool) mesh.Primitive {
			// A square hole in the top: fewer pixels than the five of a mid prop, or more even at the slant of the steepest view.
			lid := holed(float32(px * math.Sqrt(either(bad, 4.9, 7))))
			for i := 0; i < len(lid.Pos); i += 3 { // from the front to the top
				lid.Pos[i+1], lid.Pos[i+2] = 1, 1-lid.Pos[i+1]
			}
			return anywhere(rt, piecePrim(without(unitCube(), 3), lid), 1)
		}},
	}
	found, passed := 0, 0
	for range 2 {
		rapid.Check(t, func(rt *rapid.T) {
			row := rapid.SampledFrom(rows).Draw(rt, "row")
			bad := rapid.Bool().Draw(rt, "outside the limit")
			f := run1(rt, propOf(rt, sp, mesh.Material{}, asBody(row.make(rt, bad))...), row.check)
			require.Equal(rt, bad, f.Outcome == Fail || f.Outcome == Warn, "%s: %s %v", row.check, f.Sentence, f.Metrics)
			if bad {
				require.NotEmpty(rt, f.Where)
				found++
			} else {
				passed++
			}
		})
	}
	t.Logf("measured defects: %d planted and found, %d just inside their limit passed", found, passed)
}

func either(bad bool, inside, outside float64) float64 {
	if bad {
		return outside
	}
	return inside
}
