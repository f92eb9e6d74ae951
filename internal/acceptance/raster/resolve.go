package raster

// Resolve colours the covered samples of a buffer into a canvas whose upper left corner for it is (atX, atY), mixed with what is
// there in linear light. shade is asked once for each triangle in a pixel, at the middle of its samples, and answers in linear
// light; it is called from several goroutines.
func (b *Buffer) Resolve(c *Canvas, atX, atY, threads int, shade func(id uint32, x, y float64) [3]float32) {
	n := len(b.Offsets)
	layer := b.W * b.H
	parallelTiles(b.W, b.H, 32, threads, func(x0, y0, x1, y1 int) {
		var ids [8]uint32
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				covered := false
				for k := range n {
					key := b.keys[k*layer+y*b.W+x]
					ids[k] = Empty
					if key != 0 {
						ids[k], covered = ^uint32(key), true
					}
				}
				if covered && atX+x >= 0 && atY+y >= 0 && atX+x < c.W && atY+y < c.H {
					c.Set(atX+x, atY+y, FromLinear(b.mixed(ids[:n], x, y, c.Get(atX+x, atY+y).Linear(), shade)))
				}
			}
		}
	})
}

func (b *Buffer) mixed(ids []uint32, x, y int, under [3]float32, shade func(id uint32, x, y float64) [3]float32) (out [3]float32) {
	if id := ids[0]; len(ids) == 4 && id == ids[1] && id == ids[2] && id == ids[3] {
		return shade(id, float64(x)+0.5, float64(y)+0.5)
	}
	share := 1 / float32(len(ids))
	for k, id := range ids {
		col, count := under, 1
		if id != Empty {
			sx, sy, seen := 0, 0, false
			count = 0
			for m, other := range ids {
				if other == id {
					seen = seen || m < k
					count++
					sx, sy = sx+int(b.Offsets[m].X), sy+int(b.Offsets[m].Y)
				}
			}
			if seen {
				continue
			}
			col = shade(id, float64(x)+float64(sx)/float64(count*subUnit), float64(y)+float64(sy)/float64(count*subUnit))
		}
		for i := range out {
			out[i] += float32(col[i] * (float32(count) * share))
		}
	}
	return out
}
