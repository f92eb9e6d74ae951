package mesh

import (
	"fmt"
	"math"
)

// loadNodes reads the scene graph, world transforms and draws (glTF 2.0, section 3.5).
func (d *document) loadNodes() {
	identity := [16]float64{0: 1, 5: 1, 10: 1, 15: 1}
	count := d.t.len(d.t.get(0, "nodes"))
	objects := make([]int, 0, count)
	d.s.Nodes = make([]Node, 0, count)
	for i, v := range d.each("nodes") {
		n := Node{Name: d.name(v), Parent: -1, Mesh: d.index(v, "mesh"), Local: identity, Skinned: d.index(v, "skin") >= 0, Pointer: pointer("nodes", i)}
		if n.Mesh >= len(d.s.Meshes) {
			n.Mesh = -1
		}
		n.Local = d.local(v, n.Pointer)
		d.nodeMesh(v, &n)
		d.s.Nodes = append(d.s.Nodes, n)
		objects = append(objects, v)
	}
	d.nodeAt = objects
	for i, v := range objects {
		for c, e := range d.t.elems(d.val(v, "children")) {
			d.adopt(i, e, fmt.Sprintf("/nodes/%d/children/%d", i, c))
		}
	}
	d.findLoops()
	d.world()
	d.draws()
}

// nodeMesh checks what a node says about its mesh.
func (d *document) nodeMesh(v int, n *Node) {
	if n.Mesh < 0 {
		return
	}
	if w := d.t.len(d.val(v, "weights")); w > 0 && w != d.morphs[n.Mesh] {
		d.is.error("node.weights", n.Pointer+"/weights", d.t.offset(v), fmt.Sprintf("There are %d weights for %d morph targets.", w, d.morphs[n.Mesh]))
	}
	switch {
	case n.Skinned && !d.joints[n.Mesh]:
		d.is.error("node.skin", n.Pointer, d.t.offset(v), "The node has a skin and its mesh has no joints; export the weights or take the skin off.")
	case !n.Skinned && d.joints[n.Mesh]:
		d.is.warn("node.no_skin", n.Pointer, d.t.offset(v), "The mesh has joints and the node no skin; the weights do nothing.")
	}
}

// adopt makes a node a child of another one.
func (d *document) adopt(parent, e int, ptr string) {
	c, ok := d.t.int(e)
	if !ok || d.bad[e] {
		return
	}
	child := &d.s.Nodes[c]
	if child.Parent >= 0 {
		d.is.error("node.two_parents", ptr, d.t.offset(e), fmt.Sprintf("Node %d is a child of node %d and of node %d; a node has one parent.", c, child.Parent, parent))
		return
	}
	child.Parent = parent
	d.s.Nodes[parent].Children = append(d.s.Nodes[parent].Children, int(c))
}

// findLoops cuts nodes that are their own ancestors out of the graph.
func (d *document) findLoops() {
	const unseen, onPath, clear, looped = 0, 1, 2, 3
	state := make([]byte, len(d.s.Nodes))
	for i := range d.s.Nodes {
		end := i
		for end >= 0 && state[end] == unseen {
			state[end] = onPath
			end = d.s.Nodes[end].Parent
		}
		if end >= 0 && state[end] == onPath { // a loop: mark it from here round
			for n := end; state[n] == onPath; n = d.s.Nodes[n].Parent {
				state[n] = looped
				d.is.error("node.loop", d.s.Nodes[n].Pointer, -1, "The node is its own ancestor, so the scene has no end; undo the parenting.")
			}
		}
		for n := i; n >= 0 && state[n] == onPath; n = d.s.Nodes[n].Parent {
			state[n] = clear
		}
	}
	for i := range d.s.Nodes {
		if state[i] != looped {
			continue
		}
		p := d.s.Nodes[i].Parent
		d.s.Nodes[p].Children = without(d.s.Nodes[p].Children, i)
		d.s.Nodes[i].Parent = -1
	}
}

func without(list []int, drop int) []int {
	kept := list[:0]
	for _, v := range list {
		if v != drop {
			kept = append(kept, v)
		}
	}
	return kept
}

// world fills world transforms from the roots down, without recursion: a chain of nodes may be as long as the file.
func (d *document) world() {
	type step struct{ node, depth int }
	var stack []step
	for i := range d.s.Nodes {
		if d.s.Nodes[i].Parent < 0 {
			stack = append(stack, step{i, 1})
		}
	}
	deep := -1
	for len(stack) > 0 {
		s := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		n := &d.s.Nodes[s.node]
		n.World = n.Local
		if n.Parent >= 0 {
			n.World = mul(d.s.Nodes[n.Parent].World, n.Local)
		}
		if s.depth >= d.lim.Depth && len(n.Children) > 0 {
			deep = s.node
			for _, c := range n.Children {
				d.s.Nodes[c].Parent = -1
				d.s.Nodes[c].Mesh = -1
			}
			n.Children = nil
			continue
		}
		for _, c := range n.Children {
			stack = append(stack, step{c, s.depth + 1})
		}
	}
	if deep >= 0 {
		d.is.error("limits.node_depth", d.s.Nodes[deep].Pointer, -1, fmt.Sprintf("The nodes are nested more than %d deep; flatten the scene.", d.lim.Depth))
	}
}

// draws finds the default scene and lists what it draws.
func (d *document) draws() {
	scene := int(max(d.intOf(0, "scene", 0), 0))
	found := false
	for i, v := range d.each("scenes") {
		for k, e := range d.t.elems(d.val(v, "nodes")) {
			n, ok := d.t.int(e)
			if !ok || d.bad[e] {
				continue
			}
			if d.s.Nodes[n].Parent >= 0 {
				d.is.error("scene.not_root", fmt.Sprintf("/scenes/%d/nodes/%d", i, k), d.t.offset(e), fmt.Sprintf("Node %d has a parent and is listed as a root of the scene.", n))
			} else if i == scene {
				d.s.Roots = append(d.s.Roots, int(n))
			}
		}
		found = found || i == scene
	}
	if !found && len(d.s.Nodes) > 0 {
		d.is.warn("scene.none", "", -1, "The file names no scene; every node without a parent is taken.")
		for i, n := range d.s.Nodes {
			if n.Parent < 0 {
				d.s.Roots = append(d.s.Roots, i)
			}
		}
	}
	d.drawAll()
}

// drawAll walks the scene depth-first and stops where the limit on drawn triangles is passed.
func (d *document) drawAll() {
	var triangles int64
	var stack []int
	for i := len(d.s.Roots) - 1; i >= 0; i-- {
		stack = append(stack, d.s.Roots[i])
	}
	for len(stack) > 0 {
		i := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		n := &d.s.Nodes[i]
		if n.Mesh >= 0 {
			for _, p := range d.s.Meshes[n.Mesh].Prims {
				if far := reach(&d.s.Prims[p], n.World); !(far <= maxCoordinate) {
					d.is.error("limits.coordinates", n.Pointer, -1, fmt.Sprintf("The node puts vertices as far as %.3g m out, where single precision fails; check transforms and units.", far))
					continue
				}
				triangles += int64(d.s.Prims[p].Drawn)
				if triangles > d.lim.Triangles || len(d.s.Draws) >= maxDraws {
					d.is.error("limits.triangles", n.Pointer, -1, fmt.Sprintf("The scene draws more than %d triangles or %d primitives; reduce it.", d.lim.Triangles, maxDraws))
					return
				}
				d.s.Draws = append(d.s.Draws, Draw{Node: i, Prim: p})
			}
		}
		for k := len(n.Children) - 1; k >= 0; k-- {
			stack = append(stack, n.Children[k])
		}
	}
}

// maxDraws bounds what few bytes can ask to be drawn: many nodes times many primitives of one mesh.
const maxDraws = 1 << 18

// maxCoordinate is how far out a vertex may lie, in metres: the square of a float32 of 1e15 is still a number, so that
// no distance or area overflows.
const maxCoordinate = 1e15

// reach returns an upper bound of a primitive's coordinates in world space; NaN where the transform is none.
func reach(p *Primitive, world [16]float64) float64 {
	far := 0.0
	for r := range 3 {
		sum := math.Abs(world[12+r])
		for c := range 3 {
			sum += float64(math.Abs(world[4*c+r]) * max(math.Abs(float64(p.Min[c])), math.Abs(float64(p.Max[c]))))
		}
		if !(sum <= far) {
			far = sum
		}
	}
	return far
}

// local reads a node's own transform (section 3.5.3).
func (d *document) local(v int, ptr string) [16]float64 {
	identity := [16]float64{0: 1, 5: 1, 10: 1, 15: 1}
	m := identity
	t, s, q := [3]float64{}, [3]float64{1, 1, 1}, [4]float64{0, 0, 0, 1}
	trs := d.vec(v, "translation", t[:])
	trs = d.vec(v, "scale", s[:]) || trs
	if d.vec(v, "rotation", q[:]) {
		trs = true
		norm := math.Sqrt(float64(q[0]*q[0]) + float64(q[1]*q[1]) + float64(q[2]*q[2]) + float64(q[3]*q[3]))
		if math.Abs(norm-1) > unitTolerance4 {
			d.is.error("node.rotation", ptr+"/rotation", d.t.offset(v), fmt.Sprintf("The rotation's length is %.4g and must be 1; export again.", norm))
		}
		if norm > 0 {
			for i := range q {
				q[i] /= norm
			}
		}
	}
	given := d.vec(v, "matrix", m[:])
	switch {
	case given && trs:
		d.is.error("node.matrix_and_trs", ptr, d.t.offset(v), "The node has a matrix and also translation, rotation or scale; it may have one or the other.")
		return m
	case given:
		if !isTRS(m) {
			d.is.error("node.matrix_shear", ptr+"/matrix", d.t.offset(v), "The matrix shears or projects and cannot be split into translation, rotation and scale; apply it to the mesh.")
		}
		return m
	case !trs:
		return identity
	}
	return compose(t, q, s)
}

// compose builds a column-major matrix from translation, unit quaternion and scale.
func compose(t [3]float64, q [4]float64, s [3]float64) [16]float64 {
	x, y, z, w := q[0], q[1], q[2], q[3]
	xx, yy, zz := float64(x*x), float64(y*y), float64(z*z)
	xy, xz, yz := float64(x*y), float64(x*z), float64(y*z)
	wx, wy, wz := float64(w*x), float64(w*y), float64(w*z)
	return [16]float64{
		(1 - float64(2*(yy+zz))) * s[0], 2 * (xy + wz) * s[0], 2 * (xz - wy) * s[0], 0,
		2 * (xy - wz) * s[1], (1 - float64(2*(xx+zz))) * s[1], 2 * (yz + wx) * s[1], 0,
		2 * (xz + wy) * s[2], 2 * (yz - wx) * s[2], (1 - float64(2*(xx+yy))) * s[2], 0,
		t[0], t[1], t[2], 1,
	}
}

// shearTolerance is the cosine that two axes of a matrix may have: single precision leaves about 1e-7 for each of a
// few dozen joined transforms. Free choice within that; ten times more would call visible shear straight.
const shearTolerance = 1e-4

// isTRS tells whether a matrix is a translation, rotation and scale: last row 0 0 0 1, axes at right angles and none
// of no length (section 3.5.3).
func isTRS(m [16]float64) bool {
	if m[3] != 0 || m[7] != 0 || m[11] != 0 || m[15] != 1 {
		return false
	}
	dot := func(a, b int) float64 {
		return float64(m[a]*m[b]) + float64(m[a+1]*m[b+1]) + float64(m[a+2]*m[b+2])
	}
	for _, p := range [][2]int{{0, 4}, {0, 8}, {4, 8}} {
		la, lb := math.Sqrt(dot(p[0], p[0])), math.Sqrt(dot(p[1], p[1]))
		if la == 0 || lb == 0 || math.Abs(dot(p[0], p[1])) > shearTolerance*la*lb {
			return false
		}
	}
	return true
}

// mul returns a × b, column-major, with every product rounded before it is added.
func mul(a, b [16]float64) (m [16]float64) {
	for c := range 4 {
		for r := range 4 {
			m[4*c+r] = float64(a[r]*b[4*c]) + float64(a[4+r]*b[4*c+1]) + float64(a[8+r]*b[4*c+2]) + float64(a[12+r]*b[4*c+3])
		}
	}
	return m
}
