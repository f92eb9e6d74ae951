package raster

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// picture draws flat triangles, three corners in pixels each, and writes a letter for the triangle that each pixel's
// middle sees: a for the first, a dot for none.
func picture(w, h int, triangles ...[6]float32) string {
	var xy []float32
	var tri []uint32
	for i, t := range triangles {
		xy = append(xy, t[:]...)
		tri = append(tri, uint32(3*i), uint32(3*i+1), uint32(3*i+2))
	}
	var s Screen
	s.Flat(xy, [2]float64{1, 1}, [2]float64{})
	b := NewBuffer(w, h, One)
	b.Draw(Job{Screen: &s, Tri: tri, Cull: CullNone}, 1)
	return letters(b)
}

func letters(b *Buffer) string {
	var out strings.Builder
	for y := range b.H {
		for x := range b.W {
			if id, _ := b.At(0, x, y); id == Empty {
				out.WriteByte('.')
			} else {
				out.WriteByte('a' + byte(id))
			}
		}
		out.WriteByte('\n')
	}
	return out.String()
}

func rows(lines ...string) string { return strings.Join(lines, "\n") + "\n" }

func TestConventions(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name      string
		triangles [][6]float32
		want      string
	}{
		{"y runs down and a pixel is covered when its middle is", [][6]float32{{1, 1, 1, 4, 4, 1}},
			rows(".....", ".aa..", ".a...", ".....", ".....")},
		{"middles on the right and lower edge belong to the neighbour, on the left and upper edge to the triangle",
			[][6]float32{{0.5, 0.5, 0.5, 2.5, 2.5, 2.5}, {0.5, 0.5, 2.5, 2.5, 2.5, 0.5}},
			rows("bb...", "ab...", ".....", ".....", ".....")},
		{"a shared slanting edge through middles is covered once", [][6]float32{{0, 0, 0, 5, 5, 0}, {5, 0, 0, 5, 5, 5}},
			rows("aaaab", "aaabb", "aabbb", "abbbb", "bbbbb")},
		{"points are rounded to 1/256 pixel: 1/512 above a half is up, a little less is not",
			[][6]float32{{0.5 + 1.0/512, 0, 0.5 + 1.0/512, 1, 2, 0}, {0.5 + 0.9/512, 2, 0.5 + 0.9/512, 3, 2, 2}},
			rows(".....", ".....", "b....", ".....", ".....")},
		{"of equally near triangles the lower number is seen", [][6]float32{{0, 0, 0, 2, 2, 0}, {0, 0, 0, 4, 4, 0}},
			rows("abb..", "bb...", "b....", ".....", ".....")},
		{"a triangle without area is nothing", [][6]float32{{0, 0, 5, 5, 2, 2}, {1, 1, 1, 1, 4, 4}},
			rows(".....", ".....", ".....", ".....", ".....")},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, c.want, picture(5, 5, c.triangles...))
		})
	}
}

// twoPlates are two squares that face +Z: the first at z=0, the second in front of it at z=1 and half as large.
func twoPlates() (pos []float32, tri []uint32) {
	for i, p := range []struct{ half, z float32 }{{2, 0}, {1, 1}} {
		pos = append(pos, -p.half, -p.half, p.z, p.half, -p.half, p.z, p.half, p.half, p.z, -p.half, p.half, p.z)
		f := uint32(4 * i)
		tri = append(tri, f, f+1, f+2, f, f+2, f+3)
	}
	return pos, tri
}

func TestNearerIsSeen(t *testing.T) {
	t.Parallel()
	pos, tri := twoPlates()
	ortho := Towards(Vec{}, Vec{0, 0, 1}, 4, 4)
	ortho.Eye, ortho.Scale = Vec{0, 0, 5}, 1
	persp := LookAt(Vec{0, 0, 5}, Vec{}, 0.4, 4, 4)
	for _, v := range []View{ortho, persp} {
		t.Run(fmt.Sprint("perspective=", v.Perspective), func(t *testing.T) {
			var s Screen
			s.Project(&v, pos, 1)
			b := NewBuffer(4, 4, One)
			require.Zero(t, b.Draw(Job{Screen: &s, Tri: tri}, 1))
			front, nearFront := b.At(0, 2, 2)
			back, nearBack := b.At(0, 0, 0)
			require.Contains(t, []uint32{2, 3}, front)
			require.Contains(t, []uint32{0, 1}, back)
			require.Greater(t, nearFront, nearBack)
			if v.Perspective {
				require.InEpsilon(t, 1.0/4, nearFront, 1e-6, "nearness is 1/distance")
				require.InEpsilon(t, 1.0/5, nearBack, 1e-6)
			} else {
				require.InEpsilon(t, -4, nearFront, 1e-6, "nearness is -distance")
				require.InEpsilon(t, -5, nearBack, 1e-6)
			}
			// Seen from behind, both plates show their backs.
			b.Reset(4, 4, One)
			b.Draw(Job{Screen: &s, Tri: tri, Cull: CullFront}, 1)
			none, _ := b.At(0, 2, 2)
			require.Equal(t, uint32(Empty), none, "counter-clockwise on the screen is the front")
		})
	}
}

func TestAxes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name        string
		back        Vec
		right, down Vec // world directions that run right and down in the picture
	}{
		{"front: the prop's left (+X) is on the right", Vec{0, 0, 1}, Vec{1, 0, 0}, Vec{0, -1, 0}},
		{"left side: the front is on the left", Vec{1, 0, 0}, Vec{0, 0, -1}, Vec{0, -1, 0}},
		{"top: the front is below", Vec{0, 1, 0}, Vec{1, 0, 0}, Vec{0, 0, 1}},
		{"underside: the front is above", Vec{0, -1, 0}, Vec{1, 0, 0}, Vec{0, 0, -1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := Towards(Vec{}, c.back, 10, 10)
			x, y, _, ok := v.Project(c.right)
			require.True(t, ok)
			require.InDelta(t, 6, x, 1e-12)
			require.InDelta(t, 5, y, 1e-12)
			x, y, _, _ = v.Project(c.down)
			require.InDelta(t, 5, x, 1e-12)
			require.InDelta(t, 6, y, 1e-12)
		})
	}
}

// A fan of triangles around any point in a square covers every sample of the square exactly once, at any position
// below the pixel: no gap, nothing twice.
func TestNoGapsNoDoubles(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		coord := rapid.Float32Range(0, 24)
		mid := [2]float32{coord.Draw(t, "x"), coord.Draw(t, "y")}
		var corners [][2]float32
		for _, c := range [][4]float32{{0, 0, 24, 0}, {24, 0, 24, 24}, {24, 24, 0, 24}, {0, 24, 0, 0}} {
			corners = append(corners, [2]float32{c[0], c[1]})
			f := rapid.Float32Range(0, 1).Draw(t, "on the side")
			// A point on the side must round onto the side, which it does: sides are level or upright.
			corners = append(corners, [2]float32{c[0] + (c[2]-c[0])*f, c[1] + (c[3]-c[1])*f})
		}
		var count [24 * 24 * 8]int
		for i, c := range corners {
			n := corners[(i+1)%len(corners)]
			var s Screen
			s.Flat([]float32{mid[0], mid[1], c[0], c[1], n[0], n[1]}, [2]float64{1, 1}, [2]float64{})
			b := NewBuffer(24, 24, Eight)
			b.Draw(Job{Screen: &s, Tri: []uint32{0, 1, 2}, Cull: CullNone}, 1)
			for k := range b.keys {
				if b.keys[k] != 0 {
					count[k]++
				}
			}
		}
		for k, n := range count {
			if n != 1 {
				t.Fatalf("sample %d of pixel %d is covered %d times by the fan around %v", k/(24*24), k%(24*24), n, mid)
			}
		}
	})
}

// The samples that a disc covers, and a ball seen without perspective, are pi r² in number: the classic circle problem, whose
// error grows far slower than the circumference (Gauss; the bound used here is half a pixel along a tenth of it).
func TestAreaOfDiscAndBall(t *testing.T) {
	t.Parallel()
	const r = 300.0
	bound := 0.05 * 2 * math.Pi * r
	var xy []float32
	var tri []uint32
	const n = 4096
	xy = append(xy, 320.3, 319.7)
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / n)
		xy = append(xy, float32(320.3+r*c), float32(319.7+r*s))
		tri = append(tri, 0, uint32(1+i), uint32(1+(i+1)%n))
	}
	var s Screen
	s.Flat(xy, [2]float64{1, 1}, [2]float64{})
	b := NewBuffer(640, 640, One)
	b.Draw(Job{Screen: &s, Tri: tri, Cull: CullNone}, 2)
	require.InDelta(t, math.Pi*r*r, covered(b), bound)

	pos, ballTri := ball(0.3, 700, 1400)
	v := Towards(Vec{}, Vec{0.3, 0.2, 1}, 640, 640)
	v.Scale = 1000
	s.Project(&v, pos, 2)
	b.Reset(640, 640, One)
	b.Draw(Job{Screen: &s, Tri: ballTri}, 2)
	require.InDelta(t, math.Pi*r*r, covered(b), bound)

	// In perspective a ball of radius r at distance d shows as a disc of radius f·r/sqrt(d²-r²) where it is central.
	p := LookAt(Vec{0, 0, 2}, Vec{}, 0.25, 640, 640)
	s.Project(&p, pos, 2)
	b.Reset(640, 640, One)
	b.Draw(Job{Screen: &s, Tri: ballTri}, 2)
	radius := p.Scale * 0.3 / math.Sqrt(4-0.09)
	require.InDelta(t, math.Pi*radius*radius, covered(b), 0.05*2*math.Pi*radius)
}

func covered(b *Buffer) float64 {
	n := 0
	for _, k := range b.keys {
		if k != 0 {
			n++
		}
	}
	return float64(n)
}

// Every view gives back the weights of the point that it projects.
func TestWeightsAreThoseOfThePoint(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		coord := rapid.Float64Range(-1, 1)
		point := func(name string) Vec {
			return Vec{coord.Draw(t, name+" x"), coord.Draw(t, name+" y"), coord.Draw(t, name+" z")}
		}
		a, b, c := point("a"), point("b"), point("c")
		v := LookAt(Vec{1, 2, 6}, point("target"), 0.3, 200, 100)
		if rapid.Bool().Draw(t, "orthographic") {
			v.Perspective = false
			v.Scale = 40
		}
		n := cross(sub(b, a), sub(c, a))
		if math.Abs(dot(unit(n), v.Back)) < 0.05 || length(n) < 0.01 {
			return // seen edge-on, where the weights are not known well
		}
		u, w := rapid.Float64Range(0, 1).Draw(t, "u"), rapid.Float64Range(0, 1).Draw(t, "w")
		if u+w > 1 {
			u, w = 1-u, 1-w
		}
		p := add(add(scale(a, 1-u-w), scale(b, u)), scale(c, w))
		x, y, _, ok := v.Project(p)
		require.True(t, ok)
		got, ok := v.Weights(a, b, c, x, y)
		require.True(t, ok)
		require.InDeltaSlice(t, []float64{1 - u - w, u, w}, got[:], 1e-6)
	})
}

func TestFitsHoldEveryPoint(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 30).Draw(t, "points")
		pos := rapid.SliceOfN(rapid.Float32Range(-3, 3), 3*n, 3*n).Draw(t, "pos")
		back := Vec{rapid.Float64Range(-1, 1).Draw(t, "x"), rapid.Float64Range(-1, 1).Draw(t, "y"), 1}
		f := Frame{30, 20, 300, 180}
		for _, perspective := range []bool{false, true} {
			v := Towards(Vec{}, back, 320, 200)
			slack := 1e-6
			if perspective {
				v.FitPerspective(pos, 0.2, f)
				slack = 45 // the shift that centres the outline may push a far point over the other side's margin
			} else {
				v.FitOrthographic(pos, f)
			}
			x0, y0, x1, y1, ok := v.Outline(pos)
			require.True(t, ok)
			require.GreaterOrEqual(t, x0, f.X0-slack)
			require.GreaterOrEqual(t, y0, f.Y0-slack)
			require.LessOrEqual(t, x1, f.X1+slack)
			require.LessOrEqual(t, y1, f.Y1+slack)
			require.InDelta(t, (f.X0+f.X1)/2, (x0+x1)/2, 1e-6)
			require.InDelta(t, (f.Y0+f.Y1)/2, (y0+y1)/2, 1e-6)
		}
	})
}

func TestSamplePatternsUseEveryRowAndColumn(t *testing.T) {
	t.Parallel()
	for _, p := range [][]Offset{One, Four, Eight} {
		n := int32(len(p))
		var rows, columns [8]bool
		for _, o := range p {
			rows[o.Y*n/256], columns[o.X*n/256] = true, true
		}
		for i := range n {
			require.True(t, rows[i] && columns[i], "pattern of %d, row or column %d", n, i)
		}
	}
}
