package mesh

import (
	"math"
	"runtime"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh/glbwrite"
)

// turned puts a triangle's smallest index first and keeps its winding.
func turned(a, b, c uint32) [3]uint32 {
	for a > b || a > c {
		a, b, c = b, c, a
	}
	return [3]uint32{a, b, c}
}

func triangleSet(tri []uint32) map[[3]uint32]int {
	set := map[[3]uint32]int{}
	for i := 0; i < len(tri); i += 3 {
		set[turned(tri[i], tri[i+1], tri[i+2])]++
	}
	return set
}

// Law 1: a strip gives exactly the triangles that drawing it by hand gives: every second one is turned so that all face
// one way, and those with a repeated index are joints.
// Law 2: a fan gives (0, i, i+1) in the order of the strip's rule.
// Law 3: drawn triangles are n - 2, joints included.
func TestStripsAndFansKeepTriangles(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		order := rapid.SliceOfN(rapid.Uint32Range(0, 9), 0, 40).Draw(t, "order")
		at := func(i int) uint32 { return order[i] }
		strip, fan := map[[3]uint32]int{}, map[[3]uint32]int{}
		for i := 0; i+2 < len(order); i++ {
			a, b, c := order[i], order[i+1], order[i+2]
			if i%2 == 1 {
				b, c = c, b
			}
			if a != b && b != c && a != c {
				strip[turned(a, b, c)]++
			}
			a, b, c = order[0], order[i+1], order[i+2]
			if a != b && b != c && a != c {
				fan[turned(a, b, c)]++
			}
		}
		require.Equal(t, strip, triangleSet(toList(5, len(order), at)))
		require.Equal(t, fan, triangleSet(toList(6, len(order), at)))
	})
}

// A strip over a flat grid faces one way all over: the area vectors add up to the grid's.
func TestStripWindingIsEven(t *testing.T) {
	t.Parallel()
	doc, bin := base(), baseBin()
	at(doc, "meshes", 0, "primitives", 0)["mode"] = 5
	// The square as a strip, then a joint, then the square again from its right edge.
	strip := []byte{0, 0, 1, 0, 3, 0, 2, 0, 2, 0, 1, 0}
	copy(bin[128:], strip)
	s, issues := Load(MemSource{"a.glb": glbFile(jsonText(doc), bin)}, "a.glb", Limits{})
	require.Empty(t, codes(issues, false))
	require.Equal(t, 4, s.Prims[0].Drawn)
	require.Equal(t, []uint32{0, 1, 3, 1, 2, 3}, s.Prims[0].Tri, "joints are drawn and not kept")
}

// Law: renumbering vertices renumbers triangles and changes neither area nor bounds.
// Law: moving a node moves the bounds and leaves the area.
// Law: mirroring leaves the area and turns every triangle; twice mirrored is as before.
func TestFlattenLaws(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(t, "n")
		var p glbwrite.Prim
		coordinate := rapid.Float32Range(-3, 3)
		for range n {
			p.Pos = append(p.Pos, coordinate.Draw(t, "x"), coordinate.Draw(t, "y"), coordinate.Draw(t, "z"))
		}
		for range rapid.IntRange(1, 12).Draw(t, "triangles") {
			for range 3 {
				p.Tri = append(p.Tri, rapid.Uint32Range(0, uint32(n-1)).Draw(t, "i"))
			}
		}
		flat := func(p glbwrite.Prim, move, scale [3]float64) Surface {
			data, err := glbwrite.Bytes(glbwrite.Scene{Roots: []*glbwrite.Node{{Mesh: &glbwrite.Mesh{Prims: []glbwrite.Prim{p}}, Translation: move, Scale: scale}}})
			require.NoError(t, err)
			s, issues := Load(MemSource{"a.glb": data}, "a.glb", Limits{})
			require.Empty(t, codes(issues, false))
			return Flatten(s, s.Draws)
		}
		one := [3]float64{1, 1, 1}
		base := flat(p, [3]float64{}, one)
		reversed := glbwrite.Prim{}
		for i := n - 1; i >= 0; i-- {
			reversed.Pos = append(reversed.Pos, p.Pos[3*i:3*i+3]...)
		}
		for _, v := range p.Tri {
			reversed.Tri = append(reversed.Tri, uint32(n-1)-v)
		}
		other := flat(reversed, [3]float64{}, one)
		require.InDelta(t, area(&base), area(&other), 1e-12)
		require.Equal(t, base.Bounds(), other.Bounds())

		moved := flat(p, [3]float64{8, 0, -8}, one)
		require.InDelta(t, area(&base), area(&moved), 1e-4)
		require.InDelta(t, base.Bounds().Min[0]+8, moved.Bounds().Min[0], 1e-6)

		mirrored := flat(p, [3]float64{}, [3]float64{-1, 1, 1})
		require.InDelta(t, area(&base), area(&mirrored), 1e-12)
		for i := 0; i < len(base.Tri); i += 3 {
			require.Equal(t, []uint32{base.Tri[i], base.Tri[i+2], base.Tri[i+1]}, mirrored.Tri[i:i+3])
		}
		twice := flat(p, [3]float64{}, [3]float64{-1, -1, 1})
		require.Equal(t, base.Tri, twice.Tri)
	})
}

// Law: a matrix from translation, quaternion and scale does what rotating by the quaternion does (Hamilton product),
// and normals stay at right angles to a surface under any scale.
func TestTransformsLaws(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		component := rapid.Float64Range(-1, 1)
		var q [4]float64
		for i := range q {
			q[i] = component.Draw(t, "q")
		}
		length := math.Sqrt(q[0]*q[0] + q[1]*q[1] + q[2]*q[2] + q[3]*q[3])
		if length < 0.1 {
			q, length = [4]float64{0, 0, 0, 1}, 1
		}
		for i := range q {
			q[i] /= length
		}
		var s, v [3]float64
		for i := range s {
			s[i] = rapid.SampledFrom([]float64{-2, -1, 0.5, 1, 3}).Draw(t, "s")
			v[i] = component.Draw(t, "v")
		}
		m := compose([3]float64{5, 6, 7}, q, s)
		require.True(t, isTRS(m))
		// v' = v + 2 u × (u × v + w v), u the vector part
		sv := [3]float64{s[0] * v[0], s[1] * v[1], s[2] * v[2]}
		cross := func(a, b [3]float64) [3]float64 {
			return [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
		}
		u := [3]float64{q[0], q[1], q[2]}
		inner := cross(u, sv)
		for i := range inner {
			inner[i] += q[3] * sv[i]
		}
		twice := cross(u, inner)
		var out [3]float32
		transformPoints(out[:], []float32{float32(v[0]), float32(v[1]), float32(v[2])}, m)
		for i := range 3 {
			require.InDelta(t, sv[i]+2*twice[i]+float64(5+i), float64(out[i]), 2e-6)
		}
		// The plane through (1,-1,0) and (0,1,-1) has normal (1,1,1).
		var e, n [6]float32
		rotate := m
		rotate[12], rotate[13], rotate[14] = 0, 0, 0
		transformPoints(e[:], []float32{1, -1, 0, 0, 1, -1}, rotate)
		third := float32(1 / math.Sqrt(3))
		transformNormals(n[:3], []float32{third, third, third}, m)
		for i := 0; i < 6; i += 3 {
			dot := float64(e[i])*float64(n[0]) + float64(e[i+1])*float64(n[1]) + float64(e[i+2])*float64(n[2])
			require.InDelta(t, 0, dot, 1e-5)
		}
		require.InDelta(t, 1, float64(n[0])*float64(n[0])+float64(n[1])*float64(n[1])+float64(n[2])*float64(n[2]), 1e-6)
	})
}

// Law: integers decode by glTF 2.0, section 3.6.2.2, whatever the stride and whether a part is sparse.
func TestAccessorsDecodeTheSame(t *testing.T) {
	t.Parallel()
	plain, issues := Load(MemSource{"a.glb": glbFile(jsonText(base()), baseBin())}, "a.glb", Limits{})
	require.Empty(t, issues)
	for _, f := range validFixtures() {
		s, _ := Load(f.files, f.file, Limits{})
		switch f.name {
		case "sparse positions", "external buffer", "buffer as data URI", "buffer as data URI, other media type":
			require.Equal(t, plain.Prims[0].Pos, s.Prims[0].Pos, f.name)
			require.Equal(t, plain.Prims[0].Tri, s.Prims[0].Tri, f.name)
		case "accessor without a view reads zeros":
			require.Equal(t, make([]float32, 12), s.Prims[0].Pos)
		case "16-bit normalized colours":
			require.InDelta(t, 32768.0/65535, float64(s.Prims[0].Col[0]), 1e-7)
			require.Equal(t, float32(1), s.Prims[0].Col[1])
		case "quantized positions":
			require.Equal(t, []float32{0, 0, 0, 100, 0, 0, 100, 100, 0, 0, 100, 0}, s.Prims[0].Pos)
			require.Equal(t, [3]float32{100, 100, 0}, s.Prims[0].Max)
		}
	}
	d := document{is: newIssues("a"), budget: 1 << 20, accs: []accessor{
		{comp: compByte, norm: true, width: 1, size: 1, stride: 1, count: 3, ok: true, view: -1, tight: []byte{0x80, 0x81, 0x7f}},
		{comp: compShort, norm: true, width: 1, size: 2, stride: 2, count: 2, ok: true, view: -1, tight: []byte{0x00, 0x80, 0xff, 0x7f}},
		{comp: compUByte, norm: true, width: 1, size: 1, stride: 1, count: 2, ok: true, view: -1, tight: []byte{0, 51}},
		{comp: compShort, width: 1, size: 2, stride: 2, count: 1, ok: true, view: -1, tight: []byte{0x00, 0x80}},
	}}
	require.Equal(t, []float32{-1, -1, 1}, d.floats(0))
	require.Equal(t, []float32{-1, 1}, d.floats(1))
	require.Equal(t, []float32{0, 0.2}, d.floats(2))
	require.Equal(t, []float32{-32768}, d.floats(3))
}

// Law: the scene and its issues are the same on one, two and eight threads.
func TestThreadsChangeNothing(t *testing.T) {
	p := sculpt(200_000)
	p.Nrm[300_000] = 9 // something to find
	p.Nrm[3] = 9
	glb, err := glbwrite.Bytes(glbwrite.Scene{Roots: []*glbwrite.Node{{Name: "s", Rotation: [4]float64{0, math.Sqrt(0.5), 0, math.Sqrt(0.5)}, Scale: [3]float64{1, 2, -3}, Mesh: &glbwrite.Mesh{Prims: []glbwrite.Prim{p}}}}})
	require.NoError(t, err)
	was := runtime.GOMAXPROCS(0)
	defer runtime.GOMAXPROCS(was)
	var surfaces []Surface
	var all [][]Issue
	for _, threads := range []int{1, 2, 8} {
		runtime.GOMAXPROCS(threads)
		s, issues := Load(MemSource{"a.glb": glb}, "a.glb", Limits{})
		f := Flatten(s, s.Draws)
		f.Of = nil
		surfaces, all = append(surfaces, f), append(all, issues)
	}
	require.Len(t, all[0], 1)
	require.Equal(t, "data.not_unit", all[0][0].Code)
	for i := range surfaces[1:] {
		require.Equal(t, all[0], all[i+1])
		require.True(t, slices.Equal(surfaces[0].Pos, surfaces[i+1].Pos))
		require.True(t, slices.Equal(surfaces[0].Nrm, surfaces[i+1].Nrm))
		require.True(t, slices.Equal(surfaces[0].Tri, surfaces[i+1].Tri))
	}
}
