package spatial

import "math"

// ball is a sphere of the given radius about the origin, closed, wound outward, every vertex on it: rows of latitude,
// cols of longitude. Vertices at the poles are single.
func ball(radius float64, rows, cols int) (pos []float32, tri []uint32) {
	put := func(x, y, z float64) {
		pos = append(pos, float32(radius*x), float32(radius*y), float32(radius*z))
	}
	put(0, 1, 0)
	for i := 1; i < rows; i++ {
		th := math.Pi * float64(i) / float64(rows)
		for j := range cols {
			ph := 2 * math.Pi * float64(j) / float64(cols)
			put(math.Sin(th)*math.Cos(ph), math.Cos(th), -math.Sin(th)*math.Sin(ph))
		}
	}
	put(0, -1, 0)
	at := func(i, j int) uint32 {
		switch i {
		case 0:
			return 0
		case rows:
			return uint32(1 + (rows-1)*cols)
		}
		return uint32(1 + (i-1)*cols + j%cols)
	}
	for i := range rows {
		for j := range cols {
			if i > 0 {
				tri = append(tri, at(i, j), at(i+1, j), at(i, j+1))
			}
			if i < rows-1 {
				tri = append(tri, at(i, j+1), at(i+1, j), at(i+1, j+1))
			}
		}
	}
	return pos, tri
}

// prism is an open tube about the Y axis with n sides inscribed in the given radius, from y = -half to half.
func prism(radius, half float64, n int) (pos []float32, tri []uint32) {
	for i := range n {
		a := 2 * math.Pi * float64(i) / float64(n)
		for _, y := range []float64{-half, half} {
			pos = append(pos, float32(radius*math.Cos(a)), float32(y), float32(-radius*math.Sin(a)))
		}
		j := uint32(2 * i)
		k := uint32(2 * ((i + 1) % n))
		tri = append(tri, j, k, j+1, j+1, k, k+1)
	}
	return pos, tri
}

// slab is a square in the plane y = 0, one metre about the origin, facing up, in 2*n*n triangles.
func slab(n int) (pos []float32, tri []uint32) {
	for i := range n + 1 {
		for j := range n + 1 {
			pos = append(pos, 2*float32(i)/float32(n)-1, 0, 2*float32(j)/float32(n)-1)
		}
	}
	at := func(i, j int) uint32 { return uint32(i*(n+1) + j) }
	for i := range n {
		for j := range n {
			tri = append(tri, at(i, j), at(i, j+1), at(i+1, j), at(i+1, j), at(i, j+1), at(i+1, j+1))
		}
	}
	return pos, tri
}

// buildOf takes a shape as it is returned.
func buildOf(pos []float32, tri []uint32) *Tree { return Build(pos, tri, 2) }
