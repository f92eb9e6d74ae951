// Package mesh turns delivered geometry files into flat arrays.
//
// It reads glTF 2.0 (.glb, .gltf with .bin and images), Wavefront .obj and .ply under limits that hold before
// anything is allocated, and never opens a path that the caller did not hand it. Conventions are glTF's: metres,
// right-handed, +Y up, the front looks along +Z, so +X is the prop's left; triangles wind counter-clockwise seen
// from outside; UV (0,0) is the upper left corner of the image. Matrices are column-major.
package mesh

// Scene is one delivered geometry file. Slices are in the file's own order; an index of -1 means none.
type Scene struct {
	Path   string // as named in the delivery
	Format string // "glb", "gltf", "obj" or "ply"

	Nodes     []Node
	Roots     []int // nodes of the default scene, in order
	Meshes    []Group
	Prims     []Primitive
	Materials []Material
	Images    []Image

	// Draws lists what a renderer would draw for the default scene: one entry for each (node, primitive),
	// nodes in depth-first order. A mesh used by two nodes is drawn twice.
	Draws []Draw

	Extensions []string // extensionsUsed, sorted
	Generator  string

	blobs []Blob // files whose bytes the arrays may view; Close lets go of them
}

// Node is one node of the scene graph.
type Node struct {
	Name     string
	Parent   int // -1 for a root
	Children []int
	Mesh     int // index into Scene.Meshes, or -1
	Local    [16]float64
	World    [16]float64
	Skinned  bool
	Pointer  string // JSON pointer into the file, for findings ("/nodes/3"), or "line 12" for .obj
}

// Group is what glTF calls a mesh: a name over primitives.
type Group struct {
	Name  string
	Prims []int
}

// Primitive is one draw call's geometry in the space of its node. Triangle strips and fans are already lists.
// The arrays may be views into the file's own bytes: they are read-only.
type Primitive struct {
	Mesh     int
	Material int // -1: the default material
	Mode     int // glTF's mode as delivered; 4 is a triangle list. Points and lines have no Tri

	Pos []float32   // 3 a vertex, metres
	Nrm []float32   // 3 a vertex, nil where not delivered
	Tan []float32   // 4 a vertex, nil where not delivered
	UV  [][]float32 // by set, 2 a vertex
	Col []float32   // COLOR_0, 4 a vertex, nil where not delivered
	Tri []uint32    // 3 a triangle

	Min, Max [3]float32 // bounds of Pos

	// Polys holds polygon sizes in order for formats that keep polygons (.obj): Tri is their fan. Nil otherwise.
	Polys []uint8

	// Drawn counts triangles as drawn, degenerate joints of strips included.
	Drawn int

	// Place numbers, by vertex, the position in the file, for formats that index positions apart (.obj): vertices of one
	// number are joined whatever their UV and normal. Nil otherwise, and where vertices are the file's own positions in order.
	Place []uint32

	HasWeights bool // JOINTS_0 / WEIGHTS_0 delivered
	Influences int  // most joints that one vertex can have: four for each set of weights that holds any
	Pointer    string
}

// Material is the part of a material that checks and pictures read.
type Material struct {
	Name        string
	BaseColor   [4]float64
	BaseTex     TexRef
	MetalRough  TexRef
	Metallic    float64
	Roughness   float64
	Normal      TexRef
	NormalScale float64
	Occlusion   TexRef
	Emissive    TexRef
	AlphaMode   string // "OPAQUE", "MASK" or "BLEND"
	AlphaCutoff float64
	DoubleSided bool
	Pointer     string
}

// TexRef points from a material into Scene.Images, with KHR_texture_transform resolved into its fields.
type TexRef struct {
	Image    int // -1: no texture
	UVSet    int
	Offset   [2]float64
	Scale    [2]float64 // 1,1 where not delivered
	Rotation float64    // radians, counter-clockwise as KHR_texture_transform defines it
}

// Image is an image as delivered, not decoded. Width and height come from its header.
type Image struct {
	Name          string
	Path          string // file in the delivery, "" where embedded
	MIME          string // by magic bytes
	Data          []byte
	Width, Height int
	Pointer       string
}

// Draw is one primitive drawn by one node.
type Draw struct {
	Node int
	Prim int
}

// Issue is one fault of format in a file.
type Issue struct {
	Code    string // stable, for example "accessor.out_of_bounds"
	Path    string // the file
	Pointer string // JSON pointer, or ""
	Offset  int64  // byte offset in the file, or -1
	Message string // one sentence: what is wrong and what to do
	Warning bool   // true: worth saying, but the file is valid

	// Undecoded is set where the file is not wrong but cannot be read here, for example an extension
	// that is required and not implemented: the outcome is "not evaluated", never "pass".
	Undecoded bool
}

// Surface is triangles of one or more draws in world space, flattened: what the geometry checks and pictures read.
// Vertices are not shared between draws. Arrays that a draw lacks are filled with zeros and the draw's Lacks says so.
type Surface struct {
	Pos []float32 // 3 a vertex, metres, world
	Nrm []float32 // 3 a vertex, world, unit length; zero where not delivered
	UV  []float32 // set 0, 2 a vertex
	Tri []uint32  // 3 a triangle; winding is as seen in world space (reversed under a mirroring node)
	Of  []Range   // consecutive triangle ranges, one for each draw
}

// Range says which draw triangles [First, End) of a Surface come from.
type Range struct {
	First, End int // triangles
	VFirst     int // first vertex
	VEnd       int
	Scene      *Scene
	Draw       Draw
	NoNormals  bool
	NoUV       bool
}

// Node returns the name of the node that draws the range, or "node N" where it has none.
func (r Range) NodeName() string {
	n := r.Scene.Nodes[r.Draw.Node]
	if n.Name != "" {
		return n.Name
	}
	return n.Pointer
}

// Triangles returns the number of triangles.
func (s *Surface) Triangles() int { return len(s.Tri) / 3 }

// Limits bounds what an importer will take. Zero fields mean the default.
type Limits struct {
	FileBytes  int64 // one file
	JSONBytes  int64
	Nodes      int
	Depth      int // of the node tree
	Vertices   int64
	Triangles  int64
	ImageEdge  int   // pixels
	ImagePixel int64 // pixels in one image
}
