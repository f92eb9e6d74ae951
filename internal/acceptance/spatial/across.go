package spatial

// Across says which triangle lies on the other side of each edge: edge k of triangle i, opposite to its corner k, at
// [3*i+k]. Border and Tangled stand where there is not exactly one that runs along the edge the other way.
//
// place numbers the vertices' places, as Weld does. A triangle with two corners in one place has no edge between them:
// Border.
func Across(tri, place []uint32, places int) []int32 {
	n := len(tri) / 3
	// Half-edges are bucketed by their lesser place: start[p] is where p's begin.
	start := make([]uint32, places+1)
	ends := func(h int) (from, to uint32) {
		i, k := h/3*3, h%3
		return place[tri[i+(k+1)%3]], place[tri[i+(k+2)%3]]
	}
	for h := range 3 * n {
		a, b := ends(h)
		start[min(a, b)]++
	}
	sum := uint32(0)
	for p := range start {
		start[p], sum = sum, sum+start[p]
	}
	order := make([]uint32, 3*n)
	for h := range 3 * n {
		a, b := ends(h)
		p := min(a, b)
		order[start[p]] = uint32(h)
		start[p]++
	}
	out := make([]int32, 3*n)
	begin := uint32(0)
	for p := range places {
		pairUp(order[begin:start[p]], out, ends)
		begin = start[p]
	}
	return out
}

const (
	// Border is an edge with one triangle.
	Border = -1
	// Tangled is an edge with more than two triangles, or with two that wind against each other.
	Tangled = -2
)

// pairUp settles the half-edges of one bucket. Buckets hold about six.
func pairUp(bucket []uint32, out []int32, ends func(h int) (from, to uint32)) {
	for i, h := range bucket {
		a, b := ends(int(h))
		mate, along, against := uint32(0), 0, 0
		for j, g := range bucket {
			c, d := ends(int(g))
			switch {
			case i == j:
			case c == a && d == b:
				along++
			case c == b && d == a:
				against++
				mate = g
			}
		}
		switch {
		case a == b || along == 0 && against == 0:
			out[h] = Border
		case along == 0 && against == 1:
			out[h] = int32(mate / 3)
		default:
			out[h] = Tangled
		}
	}
}
