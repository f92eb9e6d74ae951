package tangent

import (
	"math"
	"slices"

	"proofhouse/internal/acceptance/detmath"
)

// Difference is how far two tangent spaces of one mesh are apart.
type Difference struct {
	Corners        int // compared: those that have a length in both
	MeanDeg        float64
	P95Deg, MaxDeg float64
	Flipped        int // corners whose bitangents run opposite ways
	WorstCorner    int // index into tri of the corner with MaxDeg, -1 for none
	FlippedCorner  int // the first corner that is flipped, -1 for none
	WithoutLength  int // corners that were delivered without a direction
}

// Compare holds delivered tangents (4 a vertex) against generated ones (4 a corner of tri).
func Compare(delivered, generated []float32, tri []uint32) Difference {
	d := Difference{WorstCorner: -1, FlippedCorner: -1}
	all := make([]float32, 0, len(tri))
	sum := 0.0
	for c, v := range tri {
		a, b := delivered[4*int(v):4*int(v)+4], generated[4*c:4*c+4]
		deg, ok := angle(vec(a[:3]), vec(b[:3]))
		if !ok {
			d.WithoutLength++
			continue
		}
		all = append(all, float32(deg))
		sum += deg
		if deg > d.MaxDeg || d.WorstCorner < 0 {
			d.MaxDeg, d.WorstCorner = deg, c
		}
		if a[3]*b[3] < 0 {
			if d.Flipped++; d.FlippedCorner < 0 {
				d.FlippedCorner = c
			}
		}
	}
	if d.Corners = len(all); d.Corners > 0 {
		slices.Sort(all)
		d.MeanDeg, d.P95Deg = sum/float64(d.Corners), float64(all[(len(all)-1)*95/100])
	}
	return d
}

// angle between two vectors in degrees, by the chord between their unit vectors: exact near zero, where an arc cosine is not.
func angle(a, b vec) (deg float64, ok bool) {
	la, lb := length64(a), length64(b)
	if !(la > 0) || !(lb > 0) || math.IsInf(la, 0) || math.IsInf(lb, 0) {
		return 0, false
	}
	var sum float64
	for k := range 3 {
		e := float64(a[k])/la - float64(b[k])/lb
		sum += float64(e * e)
	}
	const degrees = 57.29577951308232
	return 2 * degrees * detmath.Asin(min(math.Sqrt(sum)/2, 1)), true
}

func length64(a vec) float64 {
	x, y, z := float64(a[0]), float64(a[1]), float64(a[2])
	return math.Sqrt(float64(x*x) + float64(y*y) + float64(z*z))
}
