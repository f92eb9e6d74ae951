package spatial

// Tree is a bounding-volume hierarchy over a triangle surface. It is immutable and safe for concurrent use.
type Tree struct{}

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

// Build makes a tree over tri's triangles. Both slices are kept and must not change. threads below 1 means all cores.
// Triangles with a coordinate that is not finite are left out of every answer.
func Build(pos []float32, tri []uint32, threads int) *Tree { return &Tree{} }

// Hits answers one ray each: the nearest hit, watertight. out must be as long as rays.
func (t *Tree) Hits(rays []Ray, out []Hit, threads int) {}

// Closest answers one point each (three floats a point). Points farther than bound (metres; +Inf for none) are Miss.
// out must hold len(points)/3.
func (t *Tree) Closest(points []float32, bound float32, out []Near, threads int) {}
