package surface

import "math"

// The shapes the tests measure; sines and logs of the standard library are fine here, outside the engine.

// sphere is a latitude-longitude sphere with its vertices on the radius (metres).
func sphere(radius float64, rings int, centre vec) Mesh {
	return lathe(rings, 2*rings, func(s, phi float64) vec {
		theta := math.Pi * s
		return add(centre, vec{radius * math.Sin(theta) * math.Cos(phi), -radius * math.Cos(theta), radius * math.Sin(theta) * math.Sin(phi)})
	})
}

// lathe closes a surface of revolution; s runs from 0 to 1 from the lower pole to the upper, phi around +Y.
func lathe(rings, around int, f func(s, phi float64) vec) Mesh {
	var m Mesh
	put := func(p vec) {
		q := narrow(p)
		m.Pos = append(m.Pos, q[0], q[1], q[2])
	}
	put(f(0, 0))
	for i := 1; i < rings; i++ {
		for j := range around {
			put(f(float64(i)/float64(rings), 2*math.Pi*float64(j)/float64(around)))
		}
	}
	put(f(1, 0))
	last := uint32(len(m.Pos)/3 - 1)
	id := func(i, j int) uint32 { return uint32(1 + (i-1)*around + j%around) }
	for j := range around {
		m.Tri = append(m.Tri, 0, id(1, j), id(1, j+1))
	}
	for i := 1; i+1 < rings; i++ {
		for j := range around {
			a, b, c, d := id(i, j), id(i, j+1), id(i+1, j+1), id(i+1, j)
			m.Tri = append(m.Tri, a, d, c, a, c, b)
		}
	}
	for j := range around {
		m.Tri = append(m.Tri, last, id(rings-1, j+1), id(rings-1, j))
	}
	return m
}

// block is a box with split corners, as exported with hard edges.
func block(lo, hi vec) Mesh {
	var m Mesh
	for axis := range 3 {
		for _, top := range []bool{false, true} {
			u, v := (axis+1)%3, (axis+2)%3
			var q [4]vec
			for k := range 4 {
				q[k][axis] = lo[axis]
				if top {
					q[k][axis] = hi[axis]
				}
				q[k][u], q[k][v] = lo[u], lo[v]
				if k == 1 || k == 2 {
					q[k][u] = hi[u]
				}
				if k >= 2 {
					q[k][v] = hi[v]
				}
			}
			first := uint32(len(m.Pos) / 3)
			for _, c := range q {
				n := narrow(c)
				m.Pos = append(m.Pos, n[0], n[1], n[2])
			}
			if top {
				m.Tri = append(m.Tri, first, first+1, first+2, first, first+2, first+3)
			} else {
				m.Tri = append(m.Tri, first, first+2, first+1, first, first+3, first+2)
			}
		}
	}
	return m
}

// prism is an upright n-sided drum, its corners on the radius.
func prism(n int, radius, height float64) Mesh {
	var m Mesh
	put := func(p vec) uint32 {
		q := narrow(p)
		m.Pos = append(m.Pos, q[0], q[1], q[2])
		return uint32(len(m.Pos)/3 - 1)
	}
	below, above := put(vec{}), put(vec{0, height, 0})
	var ring [2][]uint32
	for k := range n {
		phi := 2 * math.Pi * float64(k) / float64(n)
		for e := range 2 {
			ring[e] = append(ring[e], put(vec{radius * math.Cos(phi), height * float64(e), radius * math.Sin(phi)}))
		}
	}
	for k := range n {
		l := (k + 1) % n
		a, b, c, d := ring[0][k], ring[0][l], ring[1][l], ring[1][k]
		m.Tri = append(m.Tri, below, a, b, above, c, d, a, d, c, a, c, b)
	}
	return m
}

// sheet is a level grid of n by n squares facing +Y, raised by f.
func sheet(size float64, n int, f func(x, z float64) float64) Mesh {
	var m Mesh
	for i := range n + 1 {
		for j := range n + 1 {
			x, z := size*(float64(i)/float64(n)-0.5), size*(float64(j)/float64(n)-0.5)
			q := narrow(vec{x, f(x, z), z})
			m.Pos = append(m.Pos, q[0], q[1], q[2])
		}
	}
	for i := range n {
		for j := range n {
			a := uint32(i*(n+1) + j)
			b, c, d := a+1, a+uint32(n)+2, a+uint32(n)+1
			m.Tri = append(m.Tri, a, b, c, a, c, d)
		}
	}
	return m
}

// join puts meshes side by side as one.
func join(all ...Mesh) Mesh {
	var m Mesh
	for _, o := range all {
		first := uint32(len(m.Pos) / 3)
		m.Pos = append(m.Pos, o.Pos...)
		m.UV = append(m.UV, o.UV...)
		for _, v := range o.Tri {
			m.Tri = append(m.Tri, first+v)
		}
	}
	return m
}

func flip(m Mesh) Mesh {
	out := Mesh{Pos: m.Pos, UV: m.UV}
	for i := 0; i < len(m.Tri); i += 3 {
		out.Tri = append(out.Tri, m.Tri[i], m.Tri[i+2], m.Tri[i+1])
	}
	return out
}

func moved(m Mesh, f func(vec) vec) Mesh {
	out := Mesh{UV: m.UV, Tri: m.Tri, Pos: make([]float32, 0, len(m.Pos))}
	for v := range len(m.Pos) / 3 {
		q := narrow(f(at(m.Pos, uint32(v))))
		out.Pos = append(out.Pos, q[0], q[1], q[2])
	}
	return out
}

// post is a mooring post: a lathe with ribs and grain, for the benchmarks.
func post(triangles int, detail float64) Mesh {
	around := int(math.Sqrt(float64(triangles) / 2 / 1.3))
	rings := int(1.3 * float64(around))
	return lathe(rings, around, func(s, phi float64) vec {
		y := 1.5 * s
		r := 0.21 + 0.06*math.Cos(9*s) + 0.02*math.Sin(23*s)
		r *= math.Sqrt(math.Max(0, 1-math.Pow(2*s-1, 16)))
		r += detail * (math.Sin(14*phi)*math.Sin(60*s) + 0.3*math.Sin(171*phi+40*s)*math.Sin(300*s)) * math.Sin(math.Pi*s)
		return vec{r * math.Cos(phi), y, r * math.Sin(phi)}
	})
}
