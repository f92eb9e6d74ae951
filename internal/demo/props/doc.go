// Package props makes the props of the demo's harbour: sculpts, game meshes and maps as a vendor would deliver them, and
// the same with a known fault. Everything is invented and computed; nothing is read from a file.
//
// A part is described once, as a smooth base surface. The game mesh is that surface with few faces, pushed out by a small
// offset so that it hugs the sculpt from outside; the sculpt is the same surface with many faces, rounded corners and
// relief that only ever goes inward, except where a fault wants a lump.
package props

import "math"

type vec [3]float64

func (a vec) add(b vec) vec     { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) sub(b vec) vec     { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) mul(s float64) vec { return vec{a[0] * s, a[1] * s, a[2] * s} }
func (a vec) dot(b vec) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) length() float64   { return math.Sqrt(a.dot(a)) }
func (a vec) cross(b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}
func (a vec) unit() vec {
	if l := a.length(); l > 0 {
		return a.mul(1 / l)
	}
	return a
}

// island is a piece of game surface that lies flat in the texture: a grid of (nu+1)·(nv+1) vertices. UV is in metres
// until the layout scales and places it.
type island struct {
	pos, nrm []vec
	uv       [][2]float64
	tri      []uint32
}

// sculptMesh is a dense surface with shared vertices.
type sculptMesh struct {
	pos []vec
	tri []uint32
}

// relief is how far the sculpt stands out from the base surface at a point, in metres; negative is inward.
type relief func(p vec) float64

// shape is a base surface that knows its two forms.
type shape interface {
	// game returns the islands of one LOD of the game mesh, offset metres outside the base surface. Every LOD has the same
	// islands in the same order, each within LOD 0's.
	game(offset float64, lod int) []island
	// sculpt returns a surface of faces about edge metres long.
	sculpt(edge float64, r relief) sculptMesh
}
