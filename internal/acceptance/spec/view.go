package spec

// presetView is the view of each tier: common practice, no source.
var presetView = struct{ distanceM, fovDeg, screenLines ByTier }{
	distanceM:   ByTier{15, 5, 1.5, 0.4},
	fovDeg:      ByTier{50, 50, 50, 50},
	screenLines: ByTier{1440, 1440, 1440, 1440},
}

// PixelMM is the size of one screen pixel at the view's distance, in millimetres:
// 2 · distance · tan(field of view / 2) / screen lines. It is 0 for a view without a screen.
func (v View) PixelMM() float64 {
	if v.ScreenLines <= 0 {
		return 0
	}
	return 2 * v.DistanceM * 1000 * tanDeg(v.FOVDeg/2) / float64(v.ScreenLines)
}

// tanDeg is the tangent of an angle from 0 to 85 degrees by the power series of sine and cosine.
func tanDeg(deg float64) float64 {
	const pi = 3.14159265358979323846
	x := deg * pi / 180
	sin, cos, term := 0.0, 0.0, 1.0
	for n := 1; n < 40; n += 2 {
		cos += term
		term = term * x / float64(n)
		sin += term
		term = -term * x / float64(n+1)
	}
	return sin / cos
}
