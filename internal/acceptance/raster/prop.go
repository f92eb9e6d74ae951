package raster

import "math"

// Prop is a mesh with materials, as the stills draw it.
type Prop struct {
	Pos    []float32 // 3 a vertex, metres
	Nrm    []float32 // 3 a vertex; a zero vector means the face's own normal
	UV     []float32 // 2 a vertex, may be nil
	Tri    []uint32
	Pieces []Piece
}

// Piece is a run of triangles with one material.
type Piece struct {
	First, End int // triangles
	Material   *Material
}

// Alpha says how a material's alpha is taken.
type Alpha uint8

// The ways of taking alpha.
const (
	Solid Alpha = iota
	Mask        // cut out below the cutoff
	Blend       // the surface behind shows through; one layer of it is drawn
)

// Material is what shading reads: glTF 2.0's metallic-roughness, section 3.9.
type Material struct {
	Colour    [3]float32 // linear
	Opacity   float32
	Metallic  float32
	Roughness float32

	Base     Map // sRGB colour, alpha
	Normal   Map
	Emissive Map // sRGB
	Rough    Channel
	Metal    Channel
	Ambient  Channel // occlusion

	NormalScale float32
	GreenDown   bool // the normal map's green runs down the picture
	Alpha       Alpha
	Cutoff      float32
	TwoSided    bool
}

// Plain is a material of one colour.
func Plain(c Colour, roughness float32) *Material {
	return &Material{Colour: c.Linear(), Opacity: 1, Roughness: roughness, NormalScale: 1}
}

// Map is a texture and how the mesh's UV leads into it. A nil Texture is none.
type Map struct {
	*Texture
	M [6]float64 // u' = M0·u + M1·v + M2, v' = M3·u + M4·v + M5; all zero: as it is
}

// Channel is one channel of a map: 0 red, 1 green, 2 blue, 3 alpha.
type Channel struct {
	Map
	C int
}

// read samples the map at a UV; d holds the UV's change by a pixel to the right and down.
func (m *Map) read(uv [2]float64, d [2][2]float64) [4]float32 {
	u, v := m.place(uv[0], uv[1])
	ux, vx := m.place(uv[0]+d[0][0], uv[1]+d[0][1])
	uy, vy := m.place(uv[0]+d[1][0], uv[1]+d[1][1])
	// The smaller of the two directions would need several samples; the mean of both is a fair middle between
	// shimmer and blur.
	du := (math.Abs(ux-u) + math.Abs(uy-u)) / 2
	dv := (math.Abs(vx-v) + math.Abs(vy-v)) / 2
	return m.Sample(u, v, du, dv)
}

// Placed is where in the map a UV of the mesh leads.
func (m *Map) Placed(u, v float64) (float64, float64) { return m.place(u, v) }

func (m *Map) place(u, v float64) (float64, float64) {
	if m.M == ([6]float64{}) {
		return u, v
	}
	return float64(m.M[0]*u) + float64(m.M[1]*v) + m.M[2], float64(m.M[3]*u) + float64(m.M[4]*v) + m.M[5]
}

// piece finds the piece of a triangle; pieces are in order.
func (p *Prop) piece(tri int) *Piece {
	lo, hi := 0, len(p.Pieces)-1
	for lo < hi {
		mid := (lo + hi + 1) / 2
		if p.Pieces[mid].First <= tri {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	return &p.Pieces[lo]
}

// corner reads the triangle's three positions.
func (p *Prop) corners(tri int) (i [3]uint32, a, b, c Vec) {
	i = [3]uint32(p.Tri[3*tri : 3*tri+3])
	return i, vecAt(p.Pos, i[0]), vecAt(p.Pos, i[1]), vecAt(p.Pos, i[2])
}

// uvAt is the UV at corner weights.
func (p *Prop) uvAt(i [3]uint32, w Vec) [2]float64 {
	if p.UV == nil {
		return [2]float64{}
	}
	var out [2]float64
	for k := range 2 {
		out[k] = float64(float64(p.UV[2*i[0]+uint32(k)])*w[0]) + float64(float64(p.UV[2*i[1]+uint32(k)])*w[1]) +
			float64(float64(p.UV[2*i[2]+uint32(k)])*w[2])
	}
	return out
}

// Casters are the triangles that stop light: all but those that blend.
func (p *Prop) Casters() []uint32 {
	var out []uint32
	all := true
	for _, pc := range p.Pieces {
		if pc.Material.Alpha == Blend {
			all = false
		}
	}
	if all {
		return p.Tri
	}
	for _, pc := range p.Pieces {
		if pc.Material.Alpha != Blend {
			out = append(out, p.Tri[3*pc.First:3*pc.End]...)
		}
	}
	return out
}
