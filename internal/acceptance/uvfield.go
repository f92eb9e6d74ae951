package acceptance

import (
	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// textureOf returns the texture of a material that a map name speaks of ("base_color", "normal", "orm", …). ok is
// false where the material has none of that name.
func textureOf(m *mesh.Material, mapName string) (mesh.TexRef, bool) {
	var ref mesh.TexRef
	switch mapName {
	case "base_color":
		ref = m.BaseTex
	case "normal", "normal_baked":
		ref = m.Normal
	case "orm", "metal_rough", "metallic", "roughness":
		ref = m.MetalRough
	case "occlusion":
		ref = m.Occlusion
	case "emissive":
		ref = m.Emissive
	default:
		return mesh.TexRef{Image: -1}, false
	}
	return ref, ref.Image >= 0
}

// mapNames are the maps that a material's textures go by, in the order in which one is taken as the reference.
var mapNames = []string{"base_color", "normal", "orm", "occlusion", "emissive"}

// referenceTexture is the texture that a material's UVs are read for: the set's reference map where the material has
// it, else its first. ok is false for a material without textures.
func referenceTexture(m *mesh.Material, def spec.Set) (mesh.TexRef, bool) {
	if ref, ok := textureOf(m, def.ReferenceMap); ok {
		return ref, true
	}
	for _, name := range mapNames {
		if ref, ok := textureOf(m, name); ok {
			return ref, true
		}
	}
	return mesh.TexRef{Image: -1}, false
}

// textureUV returns the UVs of a set's surface as its reference texture reads them: the texture's own UV set, moved by
// KHR_texture_transform. Where nothing moves them it is the surface's own array.
func textureUV(t *Set) []float32 {
	uv := t.Game.UV
	copied := false
	for _, r := range t.Game.Of {
		p := &r.Scene.Prims[r.Draw.Prim]
		if p.Material < 0 {
			continue
		}
		ref, ok := referenceTexture(&r.Scene.Materials[p.Material], t.Def)
		if !ok || ref.UVSet == 0 && !moves(ref) {
			continue
		}
		if !copied {
			uv = append([]float32(nil), uv...)
			copied = true
		}
		dst := uv[2*r.VFirst : 2*r.VEnd]
		src := dst
		if ref.UVSet < len(p.UV) && len(p.UV[ref.UVSet]) == len(dst) {
			src = p.UV[ref.UVSet]
		}
		transformUV(dst, src, ref)
	}
	return uv
}

// moves says whether a texture reads its UVs otherwise than as they are. A reference without scale is one that no
// extension touched.
func moves(ref mesh.TexRef) bool {
	return ref.Offset != [2]float64{} || ref.Rotation != 0 || ref.Scale != [2]float64{1, 1} && ref.Scale != [2]float64{}
}

// transformUV applies KHR_texture_transform: scale first, then rotation, then offset. Seen with V pointing down, as
// glTF has it, a positive rotation turns UVs counter-clockwise; the extension's worked example (offset 0,1, rotation
// a quarter turn, scale 0.5 reads the lower left quadrant) settles the sign.
func transformUV(dst, src []float32, ref mesh.TexRef) {
	scale := ref.Scale
	if scale == [2]float64{} {
		scale = [2]float64{1, 1}
	}
	sin, cos := detmath.Sin(ref.Rotation), detmath.Cos(ref.Rotation)
	for i := 0; i+1 < len(dst); i += 2 {
		u, v := float64(src[i])*scale[0], float64(src[i+1])*scale[1]
		dst[i] = float32(float64(cos*u) + float64(sin*v) + ref.Offset[0])
		dst[i+1] = float32(float64(cos*v) - float64(sin*u) + ref.Offset[1])
	}
}

// uvCorners returns a triangle's UVs.
func uvCorners(uv []float32, tri []uint32, t int) (a, b, c [2]float64) {
	at := func(v uint32) [2]float64 { return [2]float64{float64(uv[2*v]), float64(uv[2*v+1])} }
	return at(tri[3*t]), at(tri[3*t+1]), at(tri[3*t+2])
}

// uvArea2 is twice the signed area of a UV triangle.
func uvArea2(a, b, c [2]float64) float64 {
	return float64((b[0]-a[0])*(c[1]-a[1])) - float64((b[1]-a[1])*(c[0]-a[0]))
}
