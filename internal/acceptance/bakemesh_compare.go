package acceptance

import (
	"math"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/spatial"
)

// meshDifference is how a baked mesh differs from the one that ships.
type meshDifference struct {
	missing   []int // triangles of the shipped mesh that the baked one has not
	extra     int   // triangles of the baked one that the shipped has not
	turned    int   // pairs of those that are one face cut along its other diagonal
	normalDeg float64
	shapeMM   float64
	movedMM   float64 // how far a piece was moved at most
	scale     float64 // of the baked mesh against the shipped one
	bent      []int   // shipped triangles with the worst normal and shape, at most one each
}

func (d *meshDifference) scaled() bool { return math.Abs(d.scale-1) > 1e-3 }

// places are the shipped triangles to name.
func (d *meshDifference) places() []int {
	return append(append([]int{}, d.missing[:min(len(d.missing), maxPlaces-2)]...), d.bent...)
}

// compareMeshes pairs triangles by their UVs and looks at what is left over, then at each piece's shape and normals once it is
// put back to its place. Copies that share their UVs are paired in their order.
func compareMeshes(ship, pose *cornerMesh) *meshDifference {
	d := &meshDifference{scale: 1}
	at := map[triKey][]int32{} // looked up only
	for t, key := range pose.tri {
		at[key] = append(at[key], int32(t))
	}
	pair := make([]int32, len(ship.tri))
	used := make([]bool, len(pose.tri))
	for t, key := range ship.tri {
		pair[t] = -1
		if list := at[key]; len(list) > 0 {
			pair[t], at[key] = list[0], list[1:]
			used[list[0]] = true
			continue
		}
		d.missing = append(d.missing, t)
	}
	var extra []int
	for t, u := range used {
		if !u {
			extra = append(extra, t)
		}
	}
	d.extra = len(extra)
	d.turned = turnedQuads(ship, d.missing, pose, extra)
	d.place(ship, pose, pair)
	return d
}

// turnedQuads counts faces that the two meshes cut along different diagonals: two triangles left over in each, on the same
// four corners.
func turnedQuads(ship *cornerMesh, missing []int, pose *cornerMesh, extra []int) int {
	theirs := map[[8]int32]int{} // looked up only
	quads(pose, extra, func(q [8]int32) { theirs[q]++ })
	n := 0
	quads(ship, missing, func(q [8]int32) {
		if theirs[q] > 0 {
			theirs[q]--
			n++
		}
	})
	return n
}

// quads visits pairs of triangles that share an edge, by their four UV corners in rising order.
func quads(m *cornerMesh, list []int, visit func(q [8]int32)) {
	type end [2]int32
	type edge [4]int32
	type half struct {
		t    int
		apex end
	}
	open := map[edge]half{} // looked up only
	for _, t := range list {
		k := m.tri[t]
		c := [3]end{{k[0], k[1]}, {k[2], k[3]}, {k[4], k[5]}}
		for i := range 3 {
			a, b, apex := c[i], c[(i+1)%3], c[(i+2)%3]
			if o, ok := open[edge{b[0], b[1], a[0], a[1]}]; ok {
				visit(sortedQuad(a, b, apex, o.apex))
				continue
			}
			open[edge{a[0], a[1], b[0], b[1]}] = half{t, apex}
		}
	}
}

func sortedQuad(c ...[2]int32) (q [8]int32) {
	for i := range c {
		for j := i; j > 0 && (c[j][0] < c[j-1][0] || c[j][0] == c[j-1][0] && c[j][1] < c[j-1][1]); j-- {
			c[j], c[j-1] = c[j-1], c[j]
		}
	}
	for i := range 4 {
		q[2*i], q[2*i+1] = c[i][0], c[i][1]
	}
	return q
}

// place finds for each connected piece the move that brings it from one mesh to the other, and what is left of difference.
func (d *meshDifference) place(ship, pose *cornerMesh, pair []int32) {
	d.scale = scaleOf(ship, pose, pair)
	worstShape, worstNormal := -1, -1
	for _, piece := range connected(ship, pair) {
		move, ok := moveOf(ship, pose, pair, piece, d.scale)
		if !ok {
			continue
		}
		for _, t := range piece {
			for c := range 3 {
				i, j := 3*t+c, 3*int(pair[t])+c
				to := move.apply(corner(ship.pos, i))
				if mm := 1000 * length(sub(to, corner(pose.pos, j))); mm > d.shapeMM {
					d.shapeMM, worstShape = mm, t
				}
				d.movedMM = max(d.movedMM, 1000*length(sub(corner(pose.pos, j), corner(ship.pos, i))))
				if deg, ok := angleBetween(move.turn(corner(ship.nrm, i)), corner(pose.nrm, j)); ok && deg > d.normalDeg {
					d.normalDeg, worstNormal = deg, t
				}
			}
		}
	}
	for _, t := range [2]int{worstShape, worstNormal} {
		if t >= 0 {
			d.bent = append(d.bent, t)
		}
	}
}

func corner(v []float32, i int) [3]float64 {
	return [3]float64{float64(v[3*i]), float64(v[3*i+1]), float64(v[3*i+2])}
}

func length(v [3]float64) float64 { return math.Sqrt(lenSq(v)) }

// between is the angle between two vectors in degrees; false where one has no length.
func angleBetween(a, b [3]float64) (float64, bool) {
	la, lb := length(a), length(b)
	if !(la > 0) || !(lb > 0) {
		return 0, false
	}
	d := sub(scaled(a, 1/la), scaled(b, 1/lb))
	return 2 * 57.29577951308232 * detmath.Asin(min(length(d)/2, 1)), true
}

// scaleOf is the ratio of the lengths of paired edges.
func scaleOf(ship, pose *cornerMesh, pair []int32) float64 {
	var a, b float64
	for t, p := range pair {
		if p < 0 {
			continue
		}
		for c := range 3 {
			n := (c + 1) % 3
			a += length(sub(corner(ship.pos, 3*t+n), corner(ship.pos, 3*t+c)))
			b += length(sub(corner(pose.pos, 3*int(p)+n), corner(pose.pos, 3*int(p)+c)))
		}
	}
	if !(a > 0) || !(b > 0) || math.IsInf(a, 0) || math.IsInf(b, 0) {
		return 1
	}
	return b / a
}

// connected lists paired triangles by pieces that hang together over equal positions in the shipped mesh.
func connected(ship *cornerMesh, pair []int32) [][]int {
	place, places := spatial.Weld(ship.pos, 0)
	parent := make([]int32, places)
	for i := range parent {
		parent[i] = int32(i)
	}
	root := func(i int32) int32 {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	for t, p := range pair {
		for c := 1; p >= 0 && c < 3; c++ {
			a, b := root(int32(place[3*t])), root(int32(place[3*t+c]))
			parent[max(a, b)] = min(a, b)
		}
	}
	number := map[int32]int{} // looked up only
	var out [][]int
	for t, p := range pair {
		if p < 0 {
			continue
		}
		r := root(int32(place[3*t]))
		k, ok := number[r]
		if !ok {
			k = len(out)
			number[r], out = k, append(out, nil)
		}
		out[k] = append(out[k], t)
	}
	return out
}

// move is a turn, a scale and a shift.
type move struct {
	rows  [3][3]float64 // the turn
	scale float64
	from  [3]float64
	to    [3]float64
}

func (m *move) turn(v [3]float64) [3]float64 {
	return [3]float64{dot(m.rows[0], v), dot(m.rows[1], v), dot(m.rows[2], v)}
}

func (m *move) apply(p [3]float64) [3]float64 {
	q := scaled(m.turn(sub(p, m.from)), m.scale)
	return [3]float64{q[0] + m.to[0], q[1] + m.to[1], q[2] + m.to[2]}
}

// moveOf finds the move that brings a piece nearest to its place in the other mesh, by least squares: B. K. P. Horn,
// "Closed-form solution of absolute orientation using unit quaternions", J. Opt. Soc. Am. A 4(4), 1987.
func moveOf(ship, pose *cornerMesh, pair []int32, piece []int, scale float64) (move, bool) {
	var a, b [3]float64
	each := func(visit func(p, q [3]float64)) {
		for _, t := range piece {
			for c := range 3 {
				visit(corner(ship.pos, 3*t+c), corner(pose.pos, 3*int(pair[t])+c))
			}
		}
	}
	each(func(p, q [3]float64) {
		for k := range 3 {
			a[k] += p[k]
			b[k] += q[k]
		}
	})
	n := 1 / float64(3*len(piece))
	m := move{scale: scale, from: scaled(a, n), to: scaled(b, n)}
	var s [3][3]float64
	each(func(p, q [3]float64) {
		p, q = sub(p, m.from), sub(q, m.to)
		for i := range 3 {
			for j := range 3 {
				s[i][j] += float64(p[i] * q[j])
			}
		}
	})
	for i := range 3 {
		for j := range 3 {
			if !finite(s[i][j]) {
				return m, false
			}
		}
	}
	m.rows = rotationOf(s)
	return m, true
}

// rotationOf is Horn's rotation for a sum of products of coordinates: the quaternion is the eigenvector of the largest
// eigenvalue of a symmetric matrix of four, found by Jacobi's rotations.
func rotationOf(s [3][3]float64) [3][3]float64 {
	m := [4][4]float64{
		{s[0][0] + s[1][1] + s[2][2], s[1][2] - s[2][1], s[2][0] - s[0][2], s[0][1] - s[1][0]},
		{s[1][2] - s[2][1], s[0][0] - s[1][1] - s[2][2], s[0][1] + s[1][0], s[2][0] + s[0][2]},
		{s[2][0] - s[0][2], s[0][1] + s[1][0], s[1][1] - s[0][0] - s[2][2], s[1][2] + s[2][1]},
		{s[0][1] - s[1][0], s[2][0] + s[0][2], s[1][2] + s[2][1], s[2][2] - s[0][0] - s[1][1]},
	}
	v := [4][4]float64{{1, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, 1, 0}, {0, 0, 0, 1}}
	const sweeps = 12 // each squares what is left off the diagonal; six do in float64
	for range sweeps {
		for i := range 3 {
			for j := i + 1; j < 4; j++ {
				jacobi(&m, &v, i, j)
			}
		}
	}
	best := 0
	for k := 1; k < 4; k++ {
		if m[k][k] > m[best][best] {
			best = k
		}
	}
	w, x, y, z := v[0][best], v[1][best], v[2][best], v[3][best]
	return [3][3]float64{
		{1 - float64(2*y*y) - float64(2*z*z), float64(2*x*y) - float64(2*w*z), float64(2*x*z) + float64(2*w*y)},
		{float64(2*x*y) + float64(2*w*z), 1 - float64(2*x*x) - float64(2*z*z), float64(2*y*z) - float64(2*w*x)},
		{float64(2*x*z) - float64(2*w*y), float64(2*y*z) + float64(2*w*x), 1 - float64(2*x*x) - float64(2*y*y)},
	}
}

// jacobi turns the plane of axes i and j so that m holds nothing between them, and v along.
func jacobi(m, v *[4][4]float64, i, j int) {
	if m[i][j] == 0 {
		return
	}
	theta := (m[j][j] - m[i][i]) / (2 * m[i][j])
	t := 1 / (math.Abs(theta) + math.Sqrt(float64(theta*theta)+1))
	if theta < 0 {
		t = -t
	}
	c := 1 / math.Sqrt(float64(t*t)+1)
	s := t * c
	for k := range 4 {
		a, b := m[k][i], m[k][j]
		m[k][i], m[k][j] = float64(c*a)-float64(s*b), float64(s*a)+float64(c*b)
	}
	for k := range 4 {
		a, b := m[i][k], m[j][k]
		m[i][k], m[j][k] = float64(c*a)-float64(s*b), float64(s*a)+float64(c*b)
	}
	for k := range 4 {
		a, b := v[k][i], v[k][j]
		v[k][i], v[k][j] = float64(c*a)-float64(s*b), float64(s*a)+float64(c*b)
	}
}
