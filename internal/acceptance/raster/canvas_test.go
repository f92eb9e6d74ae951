package raster

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// inkOn is the area of black on a white canvas, in pixels.
func inkOn(c *Canvas) float64 {
	sum := 0.0
	for i := 0; i < len(c.Pix); i += 4 {
		sum += 1 - float64(c.Pix[i])/255
	}
	return sum
}

// Areas of filled outlines against the shoelace formula and pi r²; a pixel's cover is kept in 1/255, so the bound is
// half of that for every pixel on the outline.
func TestFilledAreas(t *testing.T) {
	t.Parallel()
	blank := func() *Canvas { return NewCanvas(100, 80, Colour{255, 255, 255}) }
	black := Colour{}

	c := blank()
	c.FillPath(Polygon([2]float64{10.25, 10.5}, [2]float64{60.5, 10.5}, [2]float64{60.5, 40.75}, [2]float64{10.25, 40.75}), black, 1)
	require.InDelta(t, 50.25*30.25, inkOn(c), 0.5*162/255)

	c = blank()
	c.FillPath(Polygon([2]float64{10, 10}, [2]float64{70, 23}, [2]float64{31, 61}), black, 1)
	require.InDelta(t, math.Abs(60*51-21*13)/2, inkOn(c), 0.5)

	c = blank() // a frame: the inner square turns the other way
	ring := Polygon([2]float64{10, 10}, [2]float64{50, 10}, [2]float64{50, 50}, [2]float64{10, 50})
	ring.Add([][2]float64{{20, 20}, {20, 40}, {40, 40}, {40, 20}})
	c.FillPath(ring, black, 1)
	require.InDelta(t, 1200, inkOn(c), 1e-9)

	c = blank()
	c.Disc(50.3, 40.2, 25, black, 1)
	require.InDelta(t, math.Pi*625, inkOn(c), 2)

	c = blank()
	c.Ring(50, 40, 25, 4, black, 1)
	require.InDelta(t, math.Pi*(27*27-23*23), inkOn(c), 2)

	for _, end := range [][2]float64{{80, 40}, {80, 70}, {30, 70}, {20, 71}} {
		c = blank()
		c.Line(20, 15, end[0], end[1], 3, black, 1)
		l := math.Sqrt((end[0]-20)*(end[0]-20) + (end[1]-15)*(end[1]-15))
		require.InDelta(t, 3*l+math.Pi*1.5*1.5, inkOn(c), 0.02*3*l, "line to %v", end)
	}
}

func TestTypeIsReadable(t *testing.T) {
	t.Parallel()
	require.Greater(t, TextWidth(Bold, 20, "wide"), TextWidth(Bold, 20, "i"))
	require.InDelta(t, 2*TextWidth(Regular, 10, "mm"), TextWidth(Regular, 20, "mm"), 0.5)
	for _, word := range []string{"0123456789", "mm²", "−5 °", "px/m · × ±", "äöüß", "Привет"} {
		c := NewCanvas(200, 40, Colour{255, 255, 255})
		w := c.Text(5, 28, Regular, 18, Left, Colour{}, word)
		require.Positive(t, w)
		require.Greater(t, inkOn(c), float64(len([]rune(word))), word)
	}
	// The letter I in the bold cut is a plain bar: an upright whose ink must be where the picture says it is.
	c := NewCanvas(30, 40, Colour{255, 255, 255})
	c.Text(10, 30, Bold, 32, Left, Colour{}, "l")
	require.Less(t, c.Get(15, 20).R, uint8(40))
	require.Equal(t, Colour{255, 255, 255}, c.Get(15, 34), "nothing below the baseline")
}

func TestDigestIsOfSizeAndPixels(t *testing.T) {
	t.Parallel()
	a, b := NewCanvas(4, 2, Colour{1, 2, 3}), NewCanvas(2, 4, Colour{1, 2, 3})
	require.NotEqual(t, a.Digest(), b.Digest(), "same bytes, other shape")
	// sha256sum of the bytes 04000000 02000000 and eight times 010203ff
	require.Equal(t, "14efe08dc9bc89c7d9f42a7d56f76f9241beca878ed64767f27489532fa1eea9", a.Digest())
}

// What lies inside the box is filled alike with and without the cut, however far the outline reaches beyond it.
func TestClippedOutlinesFillAlike(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.Float64Range(-60, 160)
		var points [][2]float64
		for range rapid.IntRange(3, 7).Draw(t, "corners") {
			points = append(points, [2]float64{at.Draw(t, "x"), at.Draw(t, "y")})
		}
		whole, cut := NewCanvas(100, 100, Colour{}), NewCanvas(100, 100, Colour{})
		p := &Path{}
		p.Add(points)
		whole.FillPath(p, Colour{255, 255, 255}, 1)
		p = &Path{}
		p.Add(ClipPolygon(points, -2, -2, 102, 102))
		cut.FillPath(p, Colour{255, 255, 255}, 1)
		for i := range whole.Pix { // cutting moves corners by up to 1/256 pixel
			if d := int(whole.Pix[i]) - int(cut.Pix[i]); d > 8 || d < -8 {
				t.Fatalf("pixel %d,%d: %d whole, %d cut", i/4%100, i/400, whole.Pix[i], cut.Pix[i])
			}
		}
	})
}
