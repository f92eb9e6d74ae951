package props

import (
	"fmt"
	"os"
	"path/filepath"

	"proofhouse/internal/acceptance/mesh/glbwrite"
)

// Prop is one contracted prop and how to make a delivery of it.
type Prop struct {
	Code   string
	Title  string
	SizePx int     // of its maps
	PxPerM float64 // texel density of its layout
	parts  []part
	hug    float64 // how far its game mesh stands outside the base surface, metres; 0 for the usual
	lods   int     // LODs that it is delivered with, LOD 0 counted
	bumps  []shape // convex pieces that it is bumped into with
}

// Fault plants a known fault in a delivery.
type Fault struct {
	Scale    float64 // of the game mesh, 1 unless said: 100 is a file in centimetres
	Lumps    []Lump  // sculpt that stands proud
	Density  float64 // factor on the layout's pixels per metre
	Rename   map[string]string
	Truncate int64 // bytes kept of the game file; 0 for all
	Finer    int   // cuts every game triangle in 4, this many times: a budget overrun
	Green    bool  // normal map with green pointing down, where up was ordered
}

// Lump is sculpt that stands proud of the base surface: a smooth hill, metres.
type Lump struct {
	At             [3]float64
	Radius, Height float64
}

// gapPx is how far apart the islands lie.
const gapPx = 8

// usualHug is how far a game mesh stands outside the base surface: 0.06 % of a metre-sized prop's diagonal.
const usualHug = 0.0006

func (p Prop) offset() float64 {
	if p.hug > 0 {
		return p.hug
	}
	return usualHug
}

// Write makes the folder of one delivery: game mesh, sculpt and maps. fine makes the sculpt's faces smaller: 1 is about
// 200,000 triangles for a prop, 2 four times as many.
func (p Prop) Write(dir string, fine float64, f Fault) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make a delivery of %s: %w", p.Code, err)
	}
	density := p.PxPerM
	if f.Density > 0 {
		density *= f.Density
	}
	plan, err := layOut(p.parts, p.offset(), p.SizePx, density, gapPx)
	if err != nil {
		return fmt.Errorf("make a delivery of %s: %w", p.Code, err)
	}
	islands := plan.place(p.parts, p.offset(), 0)
	sculpt := p.sculptScene(fine, f)
	from, err := bakeMaps(p.gamePrims(islands), sculpt, p.SizePx, f.Green)
	if err != nil {
		return fmt.Errorf("make a delivery of %s: %w", p.Code, err)
	}
	m, err := paintMaps(p.parts, islands, p.SizePx, from)
	if err != nil {
		return fmt.Errorf("make a delivery of %s: %w", p.Code, err)
	}
	for name, data := range map[string][]byte{"base_color": m.baseColor, "normal": m.normal, "orm": m.orm} {
		if err := os.WriteFile(filepath.Join(dir, p.Code+"_"+name+".png"), data, 0o644); err != nil {
			return fmt.Errorf("make a delivery of %s: %w", p.Code, err)
		}
	}
	game := filepath.Join(dir, p.Code+"_game.glb")
	if err := glbwrite.WriteFile(game, p.gameScene(plan, m, f)); err != nil {
		return fmt.Errorf("make a delivery of %s: %w", p.Code, err)
	}
	if f.Truncate > 0 {
		if err := os.Truncate(game, f.Truncate); err != nil {
			return fmt.Errorf("make a delivery of %s: %w", p.Code, err)
		}
	}
	if err := glbwrite.WriteFile(filepath.Join(dir, p.Code+"_sculpt.glb"), sculpt); err != nil {
		return fmt.Errorf("make a delivery of %s: %w", p.Code, err)
	}
	return nil
}

func (p Prop) gameScene(plan layout, m maps, f Fault) glbwrite.Scene {
	material := &glbwrite.Material{
		Name:          p.Code,
		Metallic:      1,
		BaseColorMap:  &glbwrite.Image{Name: p.Code + "_base_color", Data: m.baseColor},
		NormalMap:     &glbwrite.Image{Name: p.Code + "_normal", Data: m.normal},
		MetalRoughMap: &glbwrite.Image{Name: p.Code + "_orm", Data: m.orm},
	}
	material.OcclusionMap = material.MetalRoughMap
	var scene glbwrite.Scene
	add := func(name string, prim glbwrite.Prim) {
		for k := range prim.Pos {
			if f.Scale > 0 {
				prim.Pos[k] = float32(float64(prim.Pos[k]) * f.Scale)
			}
		}
		scene.Roots = append(scene.Roots, &glbwrite.Node{Name: name, Mesh: &glbwrite.Mesh{Name: name, Prims: []glbwrite.Prim{prim}}})
	}
	for lod := range max(1, p.lods) {
		for i, prim := range p.gamePrims(plan.place(p.parts, p.offset(), lod)) {
			prim.Material = material
			for range f.Finer {
				prim = cut(prim)
			}
			name := p.Code + "_" + p.parts[i].name
			if n, ok := f.Rename[p.parts[i].name]; ok {
				name = n
			}
			if lod > 0 {
				name = fmt.Sprintf("%s_lod%d", name, lod)
			}
			add(name, prim)
		}
	}
	for i, b := range p.bumps {
		add(fmt.Sprintf("%s_collision_%d", p.Code, i+1), bumpPrim(b))
	}
	return scene
}

// bumpPrim is a collision piece: positions alone, shared by its triangles.
func bumpPrim(s shape) glbwrite.Prim {
	var out glbwrite.Prim
	known := map[vec]uint32{}
	for _, is := range s.game(0, 1) {
		for _, v := range is.tri {
			p := is.pos[v]
			i, ok := known[p]
			if !ok {
				i = uint32(len(known))
				known[p] = i
				out.Pos = append(out.Pos, float32(p[0]), float32(p[1]), float32(p[2]))
			}
			out.Tri = append(out.Tri, i)
		}
	}
	return out
}

// gamePrims are the parts of a LOD of the game mesh, in metres.
func (p Prop) gamePrims(islands []placed) []glbwrite.Prim {
	prims := make([]glbwrite.Prim, len(p.parts))
	for _, is := range islands {
		prim := &prims[is.part]
		first := uint32(len(prim.Pos) / 3)
		for v, pos := range is.pos {
			for k := range 3 {
				prim.Pos = append(prim.Pos, float32(pos[k]+p.parts[is.part].place[k]))
				prim.Nrm = append(prim.Nrm, float32(is.nrm[v][k]))
			}
			prim.UV = append(prim.UV, float32(is.uv[v][0]), float32(is.uv[v][1]))
		}
		for _, t := range is.tri {
			prim.Tri = append(prim.Tri, first+t)
		}
	}
	return prims
}

// lod0 is the game mesh without a place in the texture.
func (p Prop) lod0() []glbwrite.Prim {
	var all []placed
	for i, part := range p.parts {
		for _, is := range part.shape.game(p.offset(), 0) {
			all = append(all, placed{is, i})
		}
	}
	return p.gamePrims(all)
}

func (p Prop) sculptScene(fine float64, f Fault) glbwrite.Scene {
	var scene glbwrite.Scene
	for _, part := range p.parts {
		var lumps []lump
		for _, l := range f.Lumps {
			lumps = append(lumps, lump{vec(l.At).sub(part.place), l.Radius, l.Height})
		}
		s := part.shape.sculpt(part.edge/fine, lumpy(part.relief, lumps))
		prim := glbwrite.Prim{Tri: s.tri, Pos: make([]float32, 0, 3*len(s.pos))}
		for _, v := range s.pos {
			for k := range 3 {
				prim.Pos = append(prim.Pos, float32(v[k]+part.place[k]))
			}
		}
		prim.Nrm = smoothNormals(prim.Pos, prim.Tri)
		name := p.Code + "_" + part.name + "_sculpt"
		scene.Roots = append(scene.Roots, &glbwrite.Node{Name: name, Mesh: &glbwrite.Mesh{Name: name, Prims: []glbwrite.Prim{prim}}})
	}
	return scene
}

// smoothNormals weighs each triangle's normal by its area.
func smoothNormals(pos []float32, tri []uint32) []float32 {
	at := func(i uint32) vec { return vec{float64(pos[3*i]), float64(pos[3*i+1]), float64(pos[3*i+2])} }
	sum := make([]vec, len(pos)/3)
	for t := 0; t < len(tri); t += 3 {
		a, b, c := at(tri[t]), at(tri[t+1]), at(tri[t+2])
		n := b.sub(a).cross(c.sub(a))
		for k := range 3 {
			sum[tri[t+k]] = sum[tri[t+k]].add(n)
		}
	}
	out := make([]float32, len(pos))
	for i, n := range sum {
		n = n.unit()
		for k := range 3 {
			out[3*i+k] = float32(n[k])
		}
	}
	return out
}

// cut splits every triangle into four; edges are cut once and shared within the primitive.
func cut(p glbwrite.Prim) glbwrite.Prim {
	out := p
	out.Tri = nil
	mid := map[[2]uint32]uint32{}
	half := func(a, b uint32) uint32 {
		key := [2]uint32{min(a, b), max(a, b)}
		if m, ok := mid[key]; ok {
			return m
		}
		m := uint32(len(out.Pos) / 3)
		var n vec
		for k := range uint32(3) {
			out.Pos = append(out.Pos, (out.Pos[3*a+k]+out.Pos[3*b+k])/2)
			n[k] = float64(out.Nrm[3*a+k]) + float64(out.Nrm[3*b+k])
		}
		n = n.unit()
		out.Nrm = append(out.Nrm, float32(n[0]), float32(n[1]), float32(n[2]))
		out.UV = append(out.UV, (out.UV[2*a]+out.UV[2*b])/2, (out.UV[2*a+1]+out.UV[2*b+1])/2)
		mid[key] = m
		return m
	}
	for t := 0; t < len(p.Tri); t += 3 {
		a, b, c := p.Tri[t], p.Tri[t+1], p.Tri[t+2]
		ab, bc, ca := half(a, b), half(b, c), half(c, a)
		out.Tri = append(out.Tri, a, ab, ca, ab, b, bc, ca, bc, c, ab, bc, ca)
	}
	return out
}
