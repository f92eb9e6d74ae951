package mesh

import "fmt"

// loadMaterials reads the part of materials that checks and pictures use (glTF 2.0, sections 3.9 and 5.19).
func (d *document) loadMaterials() {
	textures := d.textures()
	for i, v := range d.each("materials") {
		pbr := d.val(v, "pbrMetallicRoughness")
		m := Material{Name: d.name(v), Pointer: pointer("materials", i), BaseColor: [4]float64{1, 1, 1, 1}, AlphaMode: "OPAQUE",
			Metallic: d.float(pbr, "metallicFactor", 1), Roughness: d.float(pbr, "roughnessFactor", 1),
			AlphaCutoff: d.float(v, "alphaCutoff", 0.5), DoubleSided: d.t.kind(d.val(v, "doubleSided")) == 't'}
		d.vec(pbr, "baseColorFactor", m.BaseColor[:])
		if mode := d.t.string(d.val(v, "alphaMode")); mode != "" {
			m.AlphaMode = mode
		}
		m.BaseTex = d.texRef(d.val(pbr, "baseColorTexture"), textures)
		m.MetalRough = d.texRef(d.val(pbr, "metallicRoughnessTexture"), textures)
		normal := d.val(v, "normalTexture")
		m.Normal, m.NormalScale = d.texRef(normal, textures), d.float(normal, "scale", 1)
		m.Occlusion = d.texRef(d.val(v, "occlusionTexture"), textures)
		m.Emissive = d.texRef(d.val(v, "emissiveTexture"), textures)
		d.s.Materials = append(d.s.Materials, m)
	}
}

// textures returns the image of each texture, -1 where it has none that is decoded here.
func (d *document) textures() []int {
	var all []int
	for _, v := range d.each("textures") {
		all = append(all, d.index(v, "source"))
	}
	return all
}

func (d *document) texRef(v int, textures []int) TexRef {
	r := TexRef{Image: -1, Scale: [2]float64{1, 1}}
	i := d.index(v, "index")
	if i < 0 || i >= len(textures) {
		return r
	}
	r.Image = textures[i]
	r.UVSet = int(d.intOf(v, "texCoord", 0))
	if tr := d.t.path(v, "extensions", "KHR_texture_transform"); tr >= 0 {
		d.vec(tr, "offset", r.Offset[:])
		d.vec(tr, "scale", r.Scale[:])
		r.Rotation = d.float(tr, "rotation", 0)
		r.UVSet = int(d.intOf(tr, "texCoord", int64(r.UVSet)))
	}
	return r
}

// checkMaterialUse checks that a primitive has the UV sets that its material's textures read.
func (d *document) checkMaterialUse(material int, attrs []attribute, ptr string) {
	if material < 0 || material >= len(d.s.Materials) {
		return
	}
	m := &d.s.Materials[material]
	have := map[int]bool{}
	for _, a := range attrs {
		if a.base == "TEXCOORD" {
			have[a.n] = true
		}
	}
	for _, t := range []struct {
		what string
		ref  TexRef
	}{{"base colour", m.BaseTex}, {"metallic-roughness", m.MetalRough}, {"normal", m.Normal}, {"occlusion", m.Occlusion}, {"emissive", m.Emissive}} {
		if t.ref.Image >= 0 && !have[t.ref.UVSet] {
			d.is.error("mesh.missing_uv", ptr+"/material", -1, fmt.Sprintf(
				"The material's %s texture reads UV set %d and the primitive has none; export the UVs or take the texture off.", t.what, t.ref.UVSet))
		}
	}
}
