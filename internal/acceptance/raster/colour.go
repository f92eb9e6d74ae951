package raster

import "image/color"

// Colour is an opaque sRGB colour.
type Colour struct{ R, G, B uint8 }

// RGBA makes Colour a color.Color.
func (c Colour) RGBA() (r, g, b, a uint32) { return color.NRGBA{c.R, c.G, c.B, 255}.RGBA() }

// Linear is the colour in linear light.
func (c Colour) Linear() [3]float32 {
	return [3]float32{linearOf[c.R], linearOf[c.G], linearOf[c.B]}
}

// FromLinear encodes a colour in linear light.
func FromLinear(v [3]float32) Colour { return Colour{Encode(v[0]), Encode(v[1]), Encode(v[2])} }

// oklab is a colour in OKLab: L lightness from 0 to 1, a towards red from green, b towards yellow from blue. Equal
// distances in it look about equally large.
type oklab struct{ l, a, b float64 }

// linear turns OKLab into linear sRGB: Ottosson, "A perceptual color space for image processing", 2020, the matrices
// printed there.
func (c oklab) linear() [3]float32 {
	l := c.l + float64(0.3963377774*c.a) + float64(0.2158037573*c.b)
	m := c.l - float64(0.1055613458*c.a) - float64(0.0638541728*c.b)
	s := c.l - float64(0.0894841775*c.a) - float64(1.2914855480*c.b)
	l, m, s = l*l*l, m*m*m, s*s*s
	return [3]float32{
		float32(float64(4.0767416621*l) - float64(3.3077115913*m) + float64(0.2309699292*s)),
		float32(float64(-1.2684380046*l) + float64(2.6097574011*m) - float64(0.3413193965*s)),
		float32(float64(-0.0041960863*l) - float64(0.7034186147*m) + float64(1.7076147010*s)),
	}
}

// Scale is a colour scale with equal steps in OKLab along each of its straight stretches.
type Scale struct {
	stops []oklab
}

// Signed is for values with a middle that means "as it should be": pale grey in the middle, blue below and orange
// above. Blue against orange stays apart for all common forms of colour blindness, because it differs along the
// axis from blue to yellow; both ends darken alike, so that size can be read without hue.
var Signed = Scale{stops: []oklab{
	{0.33, -0.02, -0.125},
	{0.56, -0.035, -0.115},
	{0.77, -0.025, -0.060},
	{0.92, 0.000, 0.003},
	{0.80, 0.035, 0.090},
	{0.62, 0.095, 0.110},
	{0.42, 0.115, 0.075},
}}

// Rising is for sizes from nothing to much: lightness falls evenly from pale yellow over green-blue to deep violet.
var Rising = Scale{stops: []oklab{
	{0.93, -0.020, 0.090},
	{0.78, -0.070, 0.045},
	{0.63, -0.065, -0.030},
	{0.48, -0.010, -0.100},
	{0.33, 0.055, -0.105},
}}

// At is the colour at t from 0 to 1, clamped; NaN is the middle.
func (s Scale) At(t float64) Colour { return FromLinear(s.LinearAt(t)) }

// LinearAt is the colour at t in linear light.
func (s Scale) LinearAt(t float64) [3]float32 {
	if t != t {
		t = 0.5
	}
	t = float64(clamp01(t) * float64(len(s.stops)-1))
	i := min(int(t), len(s.stops)-2)
	f := t - float64(i)
	a, b := s.stops[i], s.stops[i+1]
	return oklab{mix(a.l, b.l, f), mix(a.a, b.a, f), mix(a.b, b.b, f)}.linear()
}
