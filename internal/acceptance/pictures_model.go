package acceptance

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"image"
	"image/jpeg"
	"image/png"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/raster"
)

// modelMapEdge is the longer side of the maps in a model for the viewer. A page shows the prop at some thousand pixels;
// the delivered maps stay where they are.
const modelMapEdge = 1024

// modelQuality is that of the viewer's JPEG colours.
const modelQuality = 88

// gameModel is what ships of LOD 0 as one file for a 3D viewer: every draw under its node's name, with its maps made
// small and put into the standard's packing, whatever the delivery's. p must be drawnProp(s).
func gameModel(s *Subject, p *raster.Prop, sets map[drawKey]*Set) *drawn {
	ranges := shipped(s, 0)
	if p == nil || len(ranges) != len(p.Pieces) {
		return nil
	}
	var scene glbwrite.Scene
	maps := &modelMaps{made: map[modelKey]*glbwrite.Image{}}
	type look struct {
		m   *raster.Material
		set *Set
	}
	known := map[look]*glbwrite.Material{}
	for i, piece := range p.Pieces {
		r := ranges[i]
		set := sets[keyOf(r)]
		k := look{piece.Material, set}
		if known[k] == nil {
			known[k] = maps.material(piece.Material, set)
		}
		prim := compactPiece(p, piece)
		if len(prim.Tri) == 0 {
			continue
		}
		prim.Material = known[k]
		scene.Roots = append(scene.Roots, &glbwrite.Node{Name: r.NodeName(), Mesh: &glbwrite.Mesh{Name: r.NodeName(), Prims: []glbwrite.Prim{prim}}})
	}
	return modelFile(scene, "model_game.glb", "The game mesh with its maps made small, for the 3D view.")
}

// sculptModel is the sculpt for a 3D viewer: as it is where it is small, else a stand-in by clustering.
func sculptModel(s *Subject) *drawn {
	if s.Sculpt == nil || s.Sculpt.Triangles() == 0 {
		return nil
	}
	prim := standIn(&s.Sculpt.Surface)
	if len(prim.Tri) == 0 {
		return nil
	}
	prim.Material = &glbwrite.Material{Name: "sculpt", BaseColor: [4]float64{0.48, 0.46, 0.44, 1}, Roughness: 0.8, DoubleSided: true}
	what := "The sculpt, for the 3D view."
	if 3*s.Sculpt.Triangles() != len(prim.Tri) {
		what = "A coarse stand-in of the sculpt, for the 3D view; nothing is measured on it."
	}
	return modelFile(glbwrite.Single("sculpt", prim), "model_sculpt.glb", what)
}

func modelFile(scene glbwrite.Scene, name, what string) *drawn {
	if len(scene.Roots) == 0 {
		return nil
	}
	data, err := glbwrite.Bytes(scene)
	if err != nil {
		return nil
	}
	sum := sha256.Sum256(data)
	return &drawn{Picture: Picture{Name: name, MIME: "model/gltf-binary", Bytes: data, SHA256: hex.EncodeToString(sum[:]), What: what}}
}

// compactPiece takes one piece of a prop with the vertices it uses alone.
func compactPiece(p *raster.Prop, piece raster.Piece) glbwrite.Prim {
	var out glbwrite.Prim
	at := map[uint32]uint32{}
	for _, v := range p.Tri[3*piece.First : 3*piece.End] {
		n, have := at[v]
		if !have {
			n = uint32(len(out.Pos) / 3)
			at[v] = n
			out.Pos = append(out.Pos, p.Pos[3*v:3*v+3]...)
			if p.Nrm != nil {
				out.Nrm = append(out.Nrm, p.Nrm[3*v:3*v+3]...)
			}
			if p.UV != nil {
				u, w := piece.Material.Base.Placed(float64(p.UV[2*v]), float64(p.UV[2*v+1]))
				out.UV = append(out.UV, float32(u), float32(w))
			}
		}
		out.Tri = append(out.Tri, n)
	}
	for i := 0; i < len(out.Nrm); i += 3 {
		if n := out.Nrm[i : i+3]; n[0] == 0 && n[1] == 0 && n[2] == 0 { // one vertex without a normal: the viewer makes all from the faces
			out.Nrm = nil
			break
		}
	}
	return out
}

// modelKey names a picture that is made from textures, so that each is made once.
type modelKey struct {
	a, b, c    *raster.Texture
	ca, cb, cc int
	kind       string
}

type modelMaps struct{ made map[modelKey]*glbwrite.Image }

func (m *modelMaps) material(src *raster.Material, set *Set) *glbwrite.Material {
	linear := src.Colour
	out := &glbwrite.Material{
		Name:      "material",
		BaseColor: [4]float64{float64(linear[0]), float64(linear[1]), float64(linear[2]), float64(src.Opacity)},
		Metallic:  float64(src.Metallic), Roughness: float64(src.Roughness), NormalScale: float64(src.NormalScale), DoubleSided: src.TwoSided,
	}
	switch src.Alpha {
	case raster.Mask:
		out.AlphaMode = "MASK"
	case raster.Blend:
		out.AlphaMode = "BLEND"
	}
	if set != nil {
		out.Name = orElse(set.Name, out.Name)
		if set.WidthPx > 0 && set.HeightPx > 0 {
			out.Extras = map[string]any{"width_px": set.WidthPx, "height_px": set.HeightPx}
		}
	}
	out.BaseColorMap = m.colour(src.Base.Texture, src.Alpha != raster.Solid)
	out.EmissiveMap = m.colour(src.Emissive.Texture, false)
	if out.EmissiveMap != nil {
		out.Emissive = [3]float64{1, 1, 1}
	}
	out.NormalMap = m.normal(src.Normal.Texture, src.GreenDown)
	out.MetalRoughMap = m.packed(src)
	if src.Ambient.Texture != nil {
		out.OcclusionMap = out.MetalRoughMap
	}
	return out
}

func (m *modelMaps) colour(t *raster.Texture, alpha bool) *glbwrite.Image {
	return m.once(t, modelKey{a: t, kind: "colour"}, func() image.Image { return t.Image(modelMapEdge) }, !alpha)
}

// normal writes the map with green up, as the standard has it.
func (m *modelMaps) normal(t *raster.Texture, greenDown bool) *glbwrite.Image {
	k := modelKey{a: t, kind: "normal"}
	if greenDown {
		k.kind = "normal, green turned"
	}
	return m.once(t, k, func() image.Image {
		src := t.Image(modelMapEdge)
		out := image.NewNRGBA(src.Rect)
		for i := 0; i < len(src.Pix); i += 4 {
			out.Pix[i], out.Pix[i+1], out.Pix[i+2], out.Pix[i+3] = src.Pix[i], src.Pix[i+1], src.Pix[i+2], 255
			if greenDown {
				out.Pix[i+1] = 255 - src.Pix[i+1]
			}
		}
		return out
	}, false)
}

// packed puts occlusion into red, roughness into green and metallic into blue (glTF 2.0, 3.9).
func (m *modelMaps) packed(src *raster.Material) *glbwrite.Image {
	parts := [3]raster.Channel{src.Ambient, src.Rough, src.Metal}
	first := (*raster.Texture)(nil)
	for _, c := range parts {
		if c.Texture != nil && first == nil {
			first = c.Texture
		}
	}
	k := modelKey{parts[0].Texture, parts[1].Texture, parts[2].Texture, parts[0].C, parts[1].C, parts[2].C, "packed"}
	return m.once(first, k, func() image.Image {
		size := first.Image(modelMapEdge).Rect
		out := image.NewNRGBA(size)
		for i := range out.Pix {
			out.Pix[i] = 255
		}
		for to, c := range parts {
			if c.Texture == nil {
				continue
			}
			from := c.Texture.Image(modelMapEdge)
			for y := range size.Dy() {
				for x := range size.Dx() {
					fx, fy := x*from.Rect.Dx()/size.Dx(), y*from.Rect.Dy()/size.Dy()
					out.Pix[out.PixOffset(x, y)+to] = from.Pix[from.PixOffset(fx, fy)+c.C]
				}
			}
		}
		return out
	}, true)
}

// once encodes a picture unless it is there already; nil where there is no texture or it cannot be encoded.
func (m *modelMaps) once(t *raster.Texture, k modelKey, pixels func() image.Image, lossy bool) *glbwrite.Image {
	if t == nil {
		return nil
	}
	if img, have := m.made[k]; have {
		return img
	}
	var b bytes.Buffer
	var err error
	if lossy {
		err = jpeg.Encode(&b, pixels(), &jpeg.Options{Quality: modelQuality})
	} else {
		err = (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&b, pixels())
	}
	var out *glbwrite.Image
	if err == nil {
		out = &glbwrite.Image{Name: k.kind, Data: b.Bytes()}
	}
	m.made[k] = out
	return out
}
