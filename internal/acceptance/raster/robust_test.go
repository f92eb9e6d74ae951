package raster

import (
	"crypto/sha256"
	"encoding/binary"
	"image"
	"image/color"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func keysDigest(b *Buffer) [32]byte {
	h := sha256.New()
	for _, k := range b.keys {
		h.Write(binary.LittleEndian.AppendUint64(nil, k))
	}
	return [32]byte(h.Sum(nil))
}

// Both ways of sharing the work, by rows and by triangles, give what one goroutine gives.
func TestThreadsDoNotShow(t *testing.T) {
	t.Parallel()
	for _, size := range []int{40, 260} { // 3,120 and 134,680 triangles: below and above the switch
		pos, tri := ball(1, size, size)
		v := Towards(Vec{}, Vec{0.5, 0.4, 1}, 257, 193)
		v.FitPerspective(pos, 0.2, Frame{5, 5, 250, 190})
		var want [32]byte
		for _, threads := range []int{1, 2, 8} {
			var s Screen
			s.Project(&v, pos, threads)
			b := NewBuffer(257, 193, Four)
			require.Zero(t, b.Draw(Job{Screen: &s, Tri: tri, Cull: CullNone}, threads))
			got := keysDigest(b)
			if threads == 1 {
				want = got
			}
			require.Equal(t, want, got, "%d triangles, %d threads", len(tri)/3, threads)
		}
	}
}

// The order of the triangles does not show either, but for their numbers.
func TestOrderDoesNotShow(t *testing.T) {
	t.Parallel()
	pos, tri := ball(1, 30, 30)
	v := Towards(Vec{}, Vec{0, 0, 1}, 64, 64)
	v.FitOrthographic(pos, Frame{2, 2, 62, 62})
	var s Screen
	s.Project(&v, pos, 1)
	forward := NewBuffer(64, 64, One)
	forward.Draw(Job{Screen: &s, Tri: tri}, 1)
	n := len(tri) / 3
	var reversed []uint32
	for i := n - 1; i >= 0; i-- {
		reversed = append(reversed, tri[3*i:3*i+3]...)
	}
	backward := NewBuffer(64, 64, One)
	backward.Draw(Job{Screen: &s, Tri: reversed}, 1)
	for y := range 64 {
		for x := range 64 {
			a, nearA := forward.At(0, x, y)
			b, nearB := backward.At(0, x, y)
			require.Equal(t, nearA, nearB)
			if a != Empty {
				require.Equal(t, a, uint32(n-1)-b)
			}
		}
	}
}

// oddMesh is everything that a mesh must not be.
func oddMesh() (pos []float32, tri []uint32) {
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	pos = []float32{
		0, 0, 0, 1, 0, 0, 0, 1, 0, // a good triangle
		nan, 0, 0, 0, nan, 0, 0, 0, nan,
		inf, 0, 0, 0, -inf, 0, 0, 0, inf,
		3e38, 3e38, 3e38, -3e38, 3e38, 0, 1e30, 0, 0,
		1e-40, 1e-40, 0, 2e-40, 0, 0, 0, 0, 1e-40,
		0, 0, 50, 0, 1, 60, 1, 0, 70, // behind the camera
	}
	tri = []uint32{0, 1, 2, 0, 0, 0, 0, 1, 1}
	for i := uint32(3); i < uint32(len(pos)/3); i++ {
		tri = append(tri, i, 0, 1, i, i, 2)
		if i%3 == 2 {
			tri = append(tri, i-2, i-1, i)
		}
	}
	return pos, append(tri, 0, 1, 99999, math.MaxUint32, 0, 1)
}

func TestOddMeshesDraw(t *testing.T) {
	t.Parallel()
	pos, tri := oddMesh()
	for _, v := range []View{
		LookAt(Vec{0.3, 0.3, 5}, Vec{0.3, 0.3, 0}, 0.3, 64, 48),
		Towards(Vec{}, Vec{0, 0, 1}, 64, 48),
		LookAt(Vec{}, Vec{}, 0.3, 64, 48),
		Towards(Vec{math.NaN(), 0, 0}, Vec{math.NaN(), 0, 0}, 64, 48),
		{W: 64, H: 48},
	} {
		fit := v
		fit.FitPerspective(pos, 0.2, Frame{0, 0, 64, 48})
		fit.FitOrthographic(pos, Frame{0, 0, 64, 48})
		var s Screen
		s.Project(&v, pos, 2)
		b := NewBuffer(64, 48, Four)
		require.Positive(t, b.Draw(Job{Screen: &s, Tri: tri, Cull: CullNone}, 2), "what cannot be drawn is counted")
		b.Draw(Job{Screen: &s, Tri: tri, Cull: CullNone, Keep: func(uint32, [3]float32) bool { return true }}, 2)

		p := &Prop{Pos: pos, Nrm: pos, UV: make([]float32, len(pos)/3*2), Tri: sane(tri, len(pos)/3)}
		p.Pieces = []Piece{{0, len(p.Tri) / 3, everyMap()}}
		rig := NewRig(&v, p.Pos, p.Casters(), 2)
		lit, clay := Shoot(p, v, rig, Wanted{Lit: true, Clay: true, Floor: true}, 2)
		require.Len(t, lit.Pix, 4*64*48)
		require.Len(t, clay.Pix, 4*64*48)
	}
	nothing := NewBuffer(0, 0, One)
	require.Zero(t, nothing.Draw(Job{Screen: &Screen{}}, 4))
}

// sane leaves out indices beyond the vertices: importers do that before pictures are made.
func sane(tri []uint32, vertices int) (out []uint32) {
	for i := 0; i < len(tri); i += 3 {
		if max(tri[i], tri[i+1], tri[i+2]) < uint32(vertices) {
			out = append(out, tri[i:i+3]...)
		}
	}
	return out
}

// everyMap is a material with all maps, a small chequered picture each.
func everyMap() *Material {
	img := image.NewNRGBA(image.Rect(0, 0, 5, 3))
	for i := range 15 {
		img.Set(i%5, i/5, color.NRGBA{uint8(90 + 60*(i%2)), 128, 240, uint8(255 - 40*(i%3))})
	}
	m := Plain(Colour{250, 250, 250}, 0.6)
	m.Metallic = 0.5
	m.Base = Map{Texture: NewTexture(img, true)}
	other := Map{Texture: NewTexture(img, false), M: [6]float64{2, 0, 0.25, 0, 2, 0.5}}
	m.Normal, m.Emissive = other, m.Base
	m.Rough, m.Metal, m.Ambient = Channel{other, 1}, Channel{other, 2}, Channel{other, 0}
	m.Alpha, m.Cutoff, m.TwoSided = Mask, 0.7, true
	return m
}

func TestCanvasTakesAnything(t *testing.T) {
	t.Parallel()
	c := NewCanvas(20, 10, Colour{1, 2, 3})
	nan, inf := math.NaN(), math.Inf(1)
	for _, v := range []float64{nan, inf, -inf, 1e300, -1e300, 1e9} {
		c.Line(v, 0, 5, 5, 1, Colour{}, 1)
		c.Line(0, 0, v, v, 3, Colour{}, 1)
		c.Ring(v, 0, 5, 1, Colour{}, 1)
		c.Disc(0, v, 5, Colour{}, 1)
		c.Text(v, 3, Regular, 12, Left, Colour{}, "x")
		c.FillPath(Polygon([2]float64{0, 0}, [2]float64{v, 4}, [2]float64{4, 4}), Colour{}, 1)
	}
	c.Text(2, 8, Bold, 12, Centre, Colour{}, "\x00\xff→ 漢")
	c.FillPath(&Path{}, Colour{}, 1)
	c.Rect(-5, -5, 100, 1, Colour{9, 9, 9})
	c.Copy(c, 15, 5, 3)
	_, err := c.PNG()
	require.NoError(t, err)
}
