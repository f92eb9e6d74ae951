package spatial

// vec is a struct, not an array, because the compiler keeps only structs in registers.
type vec struct{ x, y, z float64 }

func (a vec) sub(b vec) vec { return vec{a.x - b.x, a.y - b.y, a.z - b.z} }

// dot rounds each product, so that the compiler may not fuse one into the sum.
func (a vec) dot(b vec) float64 { return float64(a.x*b.x) + float64(a.y*b.y) + float64(a.z*b.z) }

func (a vec) cross(b vec) vec {
	return vec{
		float64(a.y*b.z) - float64(a.z*b.y),
		float64(a.z*b.x) - float64(a.x*b.z),
		float64(a.x*b.y) - float64(a.y*b.x),
	}
}

// along is a + t*d.
func (a vec) along(t float64, d vec) vec {
	return vec{a.x + float64(t*d.x), a.y + float64(t*d.y), a.z + float64(t*d.z)}
}

// times rounds each product: see dot.
func (a vec) times(s float64) vec { return vec{float64(a.x * s), float64(a.y * s), float64(a.z * s)} }

func vecOf(p [3]float32) vec { return vec{float64(p[0]), float64(p[1]), float64(p[2])} }

func (a vec) narrow(scale float64) [3]float32 {
	return [3]float32{float32(a.x * scale), float32(a.y * scale), float32(a.z * scale)}
}

func abs32(x float32) float32 {
	if x < 0 {
		return -x
	}
	return x
}

// finite holds for anything but NaN and the infinities.
func finite(x float32) bool { return x-x == 0 }
