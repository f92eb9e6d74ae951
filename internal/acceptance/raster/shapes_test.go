package raster

import "math"

// ball is a sphere of the given radius about the origin, cut into rings and segments: 2·segments·(rings-1) triangles.
func ball(radius float64, rings, segments int) (pos []float32, tri []uint32) {
	pos = append(pos, 0, float32(radius), 0)
	for r := 1; r < rings; r++ {
		sp, cp := math.Sincos(math.Pi * float64(r) / float64(rings))
		for s := range segments {
			st, ct := math.Sincos(2 * math.Pi * float64(s) / float64(segments))
			pos = append(pos, float32(radius*sp*ct), float32(radius*cp), float32(-radius*sp*st))
		}
	}
	pos = append(pos, 0, float32(-radius), 0)
	at := func(r, s int) uint32 { return uint32(1 + (r-1)*segments + s%segments) }
	last := uint32(len(pos)/3 - 1)
	for s := range segments {
		tri = append(tri, 0, at(1, s), at(1, s+1))
		for r := 1; r+1 < rings; r++ {
			tri = append(tri, at(r, s), at(r+1, s), at(r+1, s+1), at(r, s), at(r+1, s+1), at(r, s+1))
		}
		tri = append(tri, at(rings-1, s), last, at(rings-1, s+1))
	}
	return pos, tri
}
