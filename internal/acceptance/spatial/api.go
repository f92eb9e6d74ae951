package spatial

// Miss is the triangle index of an answer that found nothing.
const Miss = -1

// Ray is a half-line with a reach. Dir need not be of unit length; T of a hit is in multiples of it.
type Ray struct {
	Org, Dir [3]float32
	Max      float32 // hits beyond are misses
}

// Hit is what a ray met first.
type Hit struct {
	Tri  int32   // Miss for none
	T    float32 // multiples of Dir
	U, V float32 // barycentric weights of the triangle's second and third vertex
	Back bool    // the ray met the side that winds clockwise
}

// Near is the point of a surface closest to a query point.
type Near struct {
	Tri     int32 // Miss where nothing lies within the bound
	Feature uint8 // 0 face, 1..3 edge opposite to vertex (Feature-1), 4..6 vertex (Feature-4)
	Dist    float32
	Point   [3]float32
}
