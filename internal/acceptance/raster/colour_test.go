package raster

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// IEC 61966-2-1:1999, 5.2: the transfer function as printed, with the standard library's power.
func TestSRGBFollowsTheStandard(t *testing.T) {
	t.Parallel()
	formula := func(v float64) float64 {
		if v <= 0.04045 {
			return v / 12.92
		}
		return math.Pow((v+0.055)/1.055, 2.4)
	}
	back := func(l float64) float64 {
		if l <= 0.0031308 {
			return 12.92 * l
		}
		return 1.055*math.Pow(l, 1/2.4) - 0.055
	}
	for i := range 256 {
		require.InDelta(t, formula(float64(i)/255), Linear(uint8(i)), 1e-7, "byte %d", i)
		require.Equal(t, uint8(i), Encode(Linear(uint8(i))), "byte %d there and back", i)
	}
	require.InDelta(t, 0.21404114, decodeSRGB(0.5), 1e-8)
	for i := range 20000 {
		l := float64(i) / 19999
		exact := back(l) * 255
		if frac := math.Abs(exact - math.Floor(exact) - 0.5); frac > 1e-3 { // the two printed branches disagree in the seventh digit
			require.Equal(t, uint8(math.Round(exact)), Encode(float32(l)), "linear %v", l)
		}
	}
	require.Equal(t, uint8(0), Encode(float32(math.NaN())))
	require.Equal(t, uint8(0), Encode(-3))
	require.Equal(t, uint8(255), Encode(7))
}

// toOKLab is the other direction, from the same page of Ottosson 2020, for measuring distances.
func toOKLab(c [3]float64) [3]float64 {
	l := math.Cbrt(0.4122214708*c[0] + 0.5363325363*c[1] + 0.0514459929*c[2])
	m := math.Cbrt(0.2119034982*c[0] + 0.6806995451*c[1] + 0.1073969566*c[2])
	s := math.Cbrt(0.0883024619*c[0] + 0.2817188376*c[1] + 0.6299787005*c[2])
	return [3]float64{
		0.2104542553*l + 0.7936177850*m - 0.0040720468*s,
		1.9779984951*l - 2.4285922050*m + 0.4505937099*s,
		0.0259040371*l + 0.7827717662*m - 0.8086757660*s,
	}
}

func linear64(c [3]float32) [3]float64 {
	return [3]float64{float64(c[0]), float64(c[1]), float64(c[2])}
}

func distance(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

func TestScalesAreEvenAndShowable(t *testing.T) {
	t.Parallel()
	white := oklab{1, 0, 0}.linear()
	for _, v := range white {
		require.InDelta(t, 1, v, 1e-5, "OKLab's white is white")
	}
	for name, s := range map[string]Scale{"signed": Signed, "rising": Rising} {
		const n = 240
		var least, most = math.Inf(1), 0.0
		for i := range n {
			c, next := s.LinearAt(float64(i)/n), s.LinearAt(float64(i+1)/n)
			for _, v := range c {
				require.True(t, v > -0.002 && v < 1.002, "%s at %d/%d lies outside what a screen can show: %v", name, i, n, c)
			}
			d := distance(toOKLab(linear64(c)), toOKLab(linear64(next)))
			least, most = min(least, d), max(most, d)
		}
		require.Less(t, most/least, 2.2, "%s: the largest step is %.1f times the smallest", name, most/least)
	}
	for i := range 100 { // the middle is the lightest, and both arms darken alike
		at := func(t float64) float64 { return toOKLab(linear64(Signed.LinearAt(t)))[0] }
		d := float64(i) / 200
		require.Greater(t, at(0.5+d), at(0.5+d+0.005)-1e-6)
		require.Greater(t, at(0.5-d), at(0.5-d-0.005)-1e-6)
		require.InDelta(t, at(0.5+d), at(0.5-d), 0.12)
	}
}

// The common colour-vision deficiencies at full strength: Machado, Oliveira and Fernandes, "A physiologically-based model
// for simulation of color vision deficiency", IEEE TVCG 15(6), 2009 (matrices from memory).
func TestSignedScaleForTheColourBlind(t *testing.T) {
	t.Parallel()
	for name, m := range map[string][9]float64{
		"protanopia":   {0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998},
		"deuteranopia": {0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.011820, 0.042940, 0.968881},
		"tritanopia":   {1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.303900},
	} {
		t.Run(name, func(t *testing.T) {
			seen := func(at float64) [3]float64 {
				c := linear64(Signed.LinearAt(at))
				var o [3]float64
				for k := range 3 {
					o[k] = min(max(m[3*k]*c[0]+m[3*k+1]*c[1]+m[3*k+2]*c[2], 0), 1)
				}
				return toOKLab(o)
			}
			for _, d := range []float64{0.2, 0.3, 0.4, 0.5} {
				// 0.02 in OKLab is about what one can just tell apart side by side; ask for five times that.
				require.Greater(t, distance(seen(0.5-d), seen(0.5+d)), 0.1, "below and above the middle, %.0f %% of the way out", 200*d)
				require.Greater(t, distance(seen(0.5), seen(0.5+d)), 0.1)
				require.Greater(t, distance(seen(0.5), seen(0.5-d)), 0.1)
			}
		})
	}
}

func TestTexture(t *testing.T) {
	t.Parallel()
	img := image.NewNRGBA(image.Rect(0, 0, 4, 4))
	for i := range 16 {
		v := uint8(255 * ((i + i/4) % 2))
		img.Set(i%4, i/4, color.NRGBA{v, v, v, 255})
	}
	tex := NewTexture(img, true)
	centre := tex.Sample(0.125, 0.125, 0, 0)
	require.InDelta(t, 0, centre[0], 1e-6, "the middle of a black texel")
	far := tex.Sample(0.3, 0.7, 1, 1)
	require.InDelta(t, 0.5, far[0], 0.01, "a chequered board from afar is half the light, not half the byte")
	require.Equal(t, tex.Sample(0.3, 0.2, 0, 0), tex.Sample(7.3, -2.8, 0, 0), "repeats")
	for _, other := range []image.Image{
		image.NewGray(image.Rect(3, 3, 9, 5)), image.NewRGBA64(image.Rect(0, 0, 3, 2)), image.NewYCbCr(image.Rect(0, 0, 8, 8), image.YCbCrSubsampleRatio420),
		image.NewPaletted(image.Rect(0, 0, 2, 2), color.Palette{color.White}), image.NewNRGBA(image.Rect(0, 0, 0, 0)),
	} {
		got := NewTexture(other, true).Sample(math.NaN(), 0.5, math.Inf(1), 0)
		require.False(t, math.IsNaN(float64(got[0])), fmt.Sprintf("%T", other))
	}
}
