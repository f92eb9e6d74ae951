package raster

import (
	"image"
	"testing"

	"github.com/stretchr/testify/require"
)

// stillLife is a ball over a plate, the ball with every map, the plate plain.
func stillLife() (*Prop, View) {
	pos, tri := ball(0.4, 16, 24)
	p := &Prop{}
	for i := 0; i < len(pos); i += 3 {
		p.Nrm = append(p.Nrm, pos[i]/0.4, pos[i+1]/0.4, pos[i+2]/0.4)
		p.UV = append(p.UV, pos[i]*2, pos[i+1]*2)
		p.Pos = append(p.Pos, pos[i], pos[i+1]+0.6, pos[i+2])
	}
	p.Tri = tri
	m := everyMap()
	m.Alpha = Solid
	first := len(tri) / 3
	base := uint32(len(p.Pos) / 3)
	p.Pos = append(p.Pos, -0.7, 0, -0.7, -0.7, 0, 0.7, 0.7, 0, 0.7, 0.7, 0, -0.7)
	p.Nrm = append(p.Nrm, make([]float32, 12)...)
	p.UV = append(p.UV, make([]float32, 8)...)
	p.Tri = append(p.Tri, base, base+1, base+2, base, base+2, base+3)
	p.Pieces = []Piece{{0, first, m}, {first, first + 2, Plain(Colour{200, 198, 190}, 0.8)}}
	v := Towards(Vec{}, Vec{0.6, 0.5, 1}, 120, 90)
	v.FitPerspective(p.Pos, 0.15, Frame{10, 10, 110, 80})
	return p, v
}

// First half of the digests of the still life.
const (
	goldenLit  = "31237ed18e3bff49"
	goldenClay = "875669f96d11daa8"
)

func TestStillIsTheSameOnAnyNumberOfThreads(t *testing.T) {
	t.Parallel()
	p, v := stillLife()
	var lit, clay string
	for _, threads := range []int{1, 2, 8} {
		rig := NewRig(&v, p.Pos, p.Casters(), threads)
		l, c := Shoot(p, v, rig, Wanted{Lit: true, Clay: true, Floor: true}, threads)
		if threads == 1 {
			lit, clay = l.Digest(), c.Digest()
		}
		require.Equal(t, lit, l.Digest(), "lit, %d threads", threads)
		require.Equal(t, clay, c.Digest(), "clay, %d threads", threads)
	}
	// The same on every processor: these change only when light, lens or material is changed on purpose.
	require.Equal(t, goldenLit, lit[:16])
	require.Equal(t, goldenClay, clay[:16])
}

func TestLightFallsWhereItShould(t *testing.T) {
	t.Parallel()
	p, v := stillLife()
	rig := NewRig(&v, p.Pos, p.Casters(), 1)
	up := Vec{0, 1, 0}
	under, beside := rig.At(Vec{0, 0, 0}, up), rig.At(Vec{-0.65, 0, 0.65}, up)
	require.Less(t, under.flat, 0.6*beside.flat, "below the ball is darker than the plate's free corner")
	require.Less(t, under.open, beside.open)
	key := rig.At(addScaled(Vec{0, 0.6, 0}, rig.key, 0.4), rig.key)
	require.InDelta(t, 1, key.flat, 0.12, "a plane that faces the soft box gets the unit of light")
	away := rig.At(addScaled(Vec{0, 0.6, 0}, rig.key, -0.4), scale(rig.key, -1))
	require.Less(t, away.flat, 0.35*key.flat, "the far side lies in shade")
	require.InDelta(t, 1, rig.OnFloor(Vec{50, 0, 0}), 1e-9, "far away nothing casts")
	require.Less(t, rig.OnFloor(Vec{0, 0, 0}), 0.5)

	// The form in which light is kept serves a bent normal as exactly as summing again, while no lamp sets or rises.
	n := unit(Vec{0.02, 1, 0.01})
	bent := rig.At(Vec{-0.65, 0, 0.65}, n)
	require.InDelta(t, bent.flat, beside.on(n), 0.02)
}

func TestGlassShowsWhatIsBehind(t *testing.T) {
	t.Parallel()
	pos, tri := twoPlates()
	back, pane := Plain(Colour{200, 30, 30}, 1), Plain(Colour{255, 255, 255}, 0.1)
	pane.Alpha, pane.Opacity = Blend, 0.2
	p := &Prop{Pos: pos, Tri: tri, Pieces: []Piece{{0, 2, back}, {2, 4, pane}}}
	v := LookAt(Vec{0, 0, 12}, Vec{}, 0.3, 60, 60)
	require.Len(t, p.Casters(), 6, "glass casts no shadow")
	rig := NewRig(&v, p.Pos, p.Casters(), 1)
	lit, _ := Shoot(p, v, rig, Wanted{Lit: true}, 1)
	through, beside := lit.Get(30, 30), lit.Get(18, 30)
	require.Greater(t, int(through.G), int(beside.G)+15, "the pane adds its own light")
	require.Greater(t, int(through.R), int(through.G)+25, "the red plate shows through it")

	pane.Alpha, pane.Cutoff, pane.Opacity = Mask, 0.5, 1
	pane.Base = Map{Texture: NewTexture(image.NewNRGBA(image.Rect(0, 0, 1, 1)), true)} // clear all over
	p.UV = make([]float32, len(pos)/3*2)
	lit, _ = Shoot(p, v, rig, Wanted{Lit: true}, 1)
	require.InDelta(t, int(beside.R), int(lit.Get(30, 30).R), 14, "below the cutoff the pane is cut out")
}
