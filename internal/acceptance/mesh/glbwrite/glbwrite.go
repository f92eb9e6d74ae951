// Package glbwrite writes glTF 2.0 binary files (.glb): props, and sculpts of millions of triangles without a second
// copy in memory. It is for tools that make deliveries: demos, tests and evidence. What is shared by pointer is
// written once: a mesh under two nodes, a material on two meshes, an image in two materials.
//
// Conventions are glTF's: metres, right-handed, +Y up, counter-clockwise from outside, UV (0,0) upper left.
package glbwrite

import (
	"bytes"
	"fmt"
	"io"
	"os"
)

// Node is one node of the scene. Zero Rotation means none, zero Scale means 1.
type Node struct {
	Name        string
	Mesh        *Mesh // nil: only a group
	Translation [3]float64
	Rotation    [4]float64 // unit quaternion x, y, z, w
	Scale       [3]float64
	Children    []*Node
}

// Mesh is a name over primitives.
type Mesh struct {
	Name  string
	Prims []Prim
}

// Prim is one draw call of triangles. Pos is required; the other arrays are written where they are not nil.
type Prim struct {
	Pos []float32 // 3 a vertex, metres
	Nrm []float32 // 3 a vertex, unit length
	Tan []float32 // 4 a vertex
	UV  []float32 // 2 a vertex
	UV2 []float32 // 2 a vertex
	Col []float32 // 4 a vertex, linear 0–1
	Tri []uint32  // 3 a triangle; written as 16 bit where there are fewer than 65,535 vertices

	// Own values, one a vertex. Their names begin with an underscore (glTF 2.0, 3.7.2.1).
	Own []Values

	Material *Material // nil: the default material
}

// Values are numbers of the writer's own for each vertex.
type Values struct {
	Name   string
	Values []float32
}

// Material is metallic-roughness. Zero BaseColor means white and opaque, zero Roughness means 1, zero NormalScale 1.
type Material struct {
	Name          string
	BaseColor     [4]float64
	BaseColorMap  *Image
	Metallic      float64
	Roughness     float64
	MetalRoughMap *Image // roughness in green, metallic in blue
	NormalMap     *Image
	NormalScale   float64
	OcclusionMap  *Image // in red; may be the MetalRoughMap
	EmissiveMap   *Image
	Emissive      [3]float64
	AlphaMode     string // "", "OPAQUE", "MASK" or "BLEND"
	DoubleSided   bool
	Extras        map[string]any // what a reader of our own wants to know; nil for none
}

// Image is a PNG or JPEG: embedded from Data, or referred to by URI where Data is nil.
type Image struct {
	Name string
	Data []byte
	URI  string
}

// Scene is what goes into one file.
type Scene struct {
	Generator string
	Roots     []*Node
}

// Single is a scene of one node with one primitive: enough for a sculpt.
func Single(name string, p Prim) Scene {
	return Scene{Roots: []*Node{{Name: name, Mesh: &Mesh{Name: name, Prims: []Prim{p}}}}}
}

// Write writes the scene. It reads the arrays in place and holds only the JSON in memory. Errors are those of w, and
// of arrays that do not fit together.
func Write(w io.Writer, s Scene) error {
	l, err := plan(s)
	if err != nil {
		return fmt.Errorf("write glb: %w", err)
	}
	if err := l.write(w); err != nil {
		return fmt.Errorf("write glb: %w", err)
	}
	return nil
}

// Bytes returns the file in memory.
func Bytes(s Scene) ([]byte, error) {
	var b bytes.Buffer
	if err := Write(&b, s); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// WriteFile writes the scene to a file.
func WriteFile(path string, s Scene) error {
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("write glb: %w", err)
	}
	if err := Write(f, s); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
