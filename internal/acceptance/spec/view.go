package spec

import "proofhouse/internal/acceptance/detmath"

// presetView is the view of each tier: common practice, no source.
var presetView = struct{ distanceM, fovDeg, screenLines ByTier }{
	distanceM:   ByTier{15, 5, 1.5, 0.4},
	fovDeg:      ByTier{50, 50, 50, 50},
	screenLines: ByTier{1440, 1440, 1440, 1440},
}

// pi to the last bit of a float64.
const pi = 3.14159265358979323846

// PixelMM is the size of one screen pixel at the view's distance, in millimetres:
// 2 · distance · tan(field of view / 2) / screen lines. It is 0 for a view without a screen.
func (v View) PixelMM() float64 {
	if v.ScreenLines <= 0 {
		return 0
	}
	return 2 * v.DistanceM * 1000 * detmath.Tan(v.FOVDeg*(pi/360)) / float64(v.ScreenLines)
}
