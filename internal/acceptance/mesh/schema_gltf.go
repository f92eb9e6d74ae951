package mesh

import (
	"math"
	"regexp"
)

// The properties of glTF 2.0 (specification, section 5 "Properties Reference" and its JSON schema) and of the
// extensions that may be met on a prop. The ratified extensions' schemas are in the extension registry.

func number() *form              { return &form{kind: numberForm, min: -math.MaxFloat64, max: math.MaxFloat64} }
func between(a, b float64) *form { return &form{kind: numberForm, min: a, max: b} }
func atLeast(a float64) *form    { return between(a, math.MaxFloat64) }
func above(a float64) *form      { return &form{kind: numberForm, min: a, max: math.MaxFloat64, open: true} }
func whole(a, b float64) *form   { return &form{kind: intForm, min: a, max: b} }
func count() *form               { return whole(0, 1<<53) }
func indexOf(of string) *form    { return &form{kind: indexForm, of: of} }
func text() *form                { return &form{kind: stringForm} }
func flag() *form                { return &form{kind: boolForm} }
func object(s *shape) *form      { return &form{kind: objectForm, obj: s} }
func list(e *form) *form         { return &form{kind: arrayForm, elem: e} }
func listOf(s *shape) *form      { return list(object(s)) }
func mapOf(e *form) *form        { return &form{kind: mapForm, elem: e, minLen: 1} }
func vector(e *form, lens ...int) *form {
	return &form{kind: arrayForm, elem: e, lens: lens}
}
func words(w ...string) *form         { return &form{kind: stringForm, words: w} }
func numbers(n ...int64) *form        { return &form{kind: intForm, numbers: n} }
func must(f *form) *form              { f.required = true; return f }
func distinct(f *form) *form          { f.unique = true; return f }
func multiple(f *form, n int64) *form { f.multiple = n; return f }

// props adds a name to an object's own properties.
func named(p map[string]*form) map[string]*form {
	p["name"] = text()
	return p
}

var versionPattern = regexp.MustCompile(`^[0-9]+\.[0-9]+$`)

var transformShape = &shape{props: map[string]*form{
	"offset": vector(number(), 2), "rotation": number(), "scale": vector(number(), 2), "texCoord": count(),
}}

func textureInfo(more map[string]*form) *shape {
	p := map[string]*form{"index": must(indexOf("textures")), "texCoord": count()}
	for k, f := range more {
		p[k] = f
	}
	return &shape{props: p, exts: map[string]*shape{"KHR_texture_transform": transformShape}}
}

var (
	texInfo    = textureInfo(nil)
	normalInfo = textureInfo(map[string]*form{"scale": number()})
	occlInfo   = textureInfo(map[string]*form{"strength": between(0, 1)})
	unit       = func() *form { return between(0, 1) }
	colour     = func() *form { return vector(unit(), 3) }
)

var materialExtensions = map[string]*shape{
	"KHR_materials_unlit": {},
	"KHR_materials_clearcoat": {props: map[string]*form{"clearcoatFactor": unit(), "clearcoatTexture": object(texInfo),
		"clearcoatRoughnessFactor": unit(), "clearcoatRoughnessTexture": object(texInfo), "clearcoatNormalTexture": object(normalInfo)}},
	"KHR_materials_transmission": {props: map[string]*form{"transmissionFactor": unit(), "transmissionTexture": object(texInfo)}},
	"KHR_materials_volume": {props: map[string]*form{"thicknessFactor": atLeast(0), "thicknessTexture": object(texInfo),
		"attenuationDistance": above(0), "attenuationColor": colour()}},
	"KHR_materials_ior": {props: map[string]*form{"ior": number()}},
	"KHR_materials_specular": {props: map[string]*form{"specularFactor": unit(), "specularTexture": object(texInfo),
		"specularColorFactor": vector(atLeast(0), 3), "specularColorTexture": object(texInfo)}},
	"KHR_materials_sheen": {props: map[string]*form{"sheenColorFactor": colour(), "sheenColorTexture": object(texInfo),
		"sheenRoughnessFactor": unit(), "sheenRoughnessTexture": object(texInfo)}},
	"KHR_materials_emissive_strength": {props: map[string]*form{"emissiveStrength": atLeast(0)}},
	"KHR_materials_iridescence": {props: map[string]*form{"iridescenceFactor": unit(), "iridescenceTexture": object(texInfo),
		"iridescenceIor": atLeast(1), "iridescenceThicknessMinimum": atLeast(0), "iridescenceThicknessMaximum": atLeast(0),
		"iridescenceThicknessTexture": object(texInfo)}},
	"KHR_materials_anisotropy": {props: map[string]*form{"anisotropyStrength": unit(), "anisotropyRotation": number(),
		"anisotropyTexture": object(texInfo)}},
	"KHR_materials_dispersion": {props: map[string]*form{"dispersion": atLeast(0)}},
	"KHR_materials_pbrSpecularGlossiness": {props: map[string]*form{"diffuseFactor": vector(unit(), 4), "diffuseTexture": object(texInfo),
		"specularFactor": colour(), "glossinessFactor": unit(), "specularGlossinessTexture": object(texInfo)}},
}

var materialShape = &shape{props: named(map[string]*form{
	"pbrMetallicRoughness": object(&shape{props: map[string]*form{
		"baseColorFactor": vector(unit(), 4), "baseColorTexture": object(texInfo), "metallicFactor": unit(),
		"roughnessFactor": unit(), "metallicRoughnessTexture": object(texInfo)}}),
	"normalTexture": object(normalInfo), "occlusionTexture": object(occlInfo), "emissiveTexture": object(texInfo),
	"emissiveFactor": colour(), "alphaMode": words("OPAQUE", "MASK", "BLEND"), "alphaCutoff": atLeast(0), "doubleSided": flag(),
}), exts: materialExtensions}

var indexTypes = []int64{5121, 5123, 5125}

var sparseShape = &shape{props: map[string]*form{
	"count": must(whole(1, 1<<53)),
	"indices": must(object(&shape{props: map[string]*form{"bufferView": must(indexOf("bufferViews")), "byteOffset": count(),
		"componentType": must(numbers(indexTypes...))}})),
	"values": must(object(&shape{props: map[string]*form{"bufferView": must(indexOf("bufferViews")), "byteOffset": count()}})),
}}

var accessorShape = &shape{props: named(map[string]*form{
	"bufferView": indexOf("bufferViews"), "byteOffset": count(),
	"componentType": must(numbers(5120, 5121, 5122, 5123, 5125, 5126)), "normalized": flag(),
	"count": must(whole(1, 1<<53)), "type": must(words("SCALAR", "VEC2", "VEC3", "VEC4", "MAT2", "MAT3", "MAT4")),
	"max": vector(number(), 1, 2, 3, 4, 9, 16), "min": vector(number(), 1, 2, 3, 4, 9, 16), "sparse": object(sparseShape),
}), needs: map[string]string{"byteOffset": "bufferView"}}

var primitiveShape = &shape{props: map[string]*form{
	"attributes": must(mapOf(indexOf("accessors"))), "indices": indexOf("accessors"), "material": indexOf("materials"),
	"mode": whole(0, 6), "targets": list(mapOf(indexOf("accessors"))),
}, exts: map[string]*shape{
	"KHR_draco_mesh_compression": {props: map[string]*form{"bufferView": must(indexOf("bufferViews")), "attributes": must(mapOf(count()))}},
	"KHR_materials_variants":     {free: true},
}}

var nodeShape = &shape{props: named(map[string]*form{
	"camera": indexOf("cameras"), "children": distinct(list(indexOf("nodes"))), "skin": indexOf("skins"),
	"matrix": vector(number(), 16), "mesh": indexOf("meshes"), "rotation": vector(between(-1, 1), 4),
	"scale": vector(number(), 3), "translation": vector(number(), 3), "weights": list(number()),
}), needs: map[string]string{"skin": "mesh", "weights": "mesh"}, exts: map[string]*shape{
	"KHR_lights_punctual":     {props: map[string]*form{"light": must(indexOf("lights"))}},
	"EXT_mesh_gpu_instancing": {free: true},
}}

var cameraShape = &shape{props: named(map[string]*form{
	"type":        must(words("perspective", "orthographic")),
	"perspective": object(&shape{props: map[string]*form{"aspectRatio": above(0), "yfov": must(above(0)), "zfar": above(0), "znear": must(above(0))}}),
	"orthographic": object(&shape{props: map[string]*form{"xmag": must(number()), "ymag": must(number()),
		"zfar": must(above(0)), "znear": must(atLeast(0))}}),
}), oneOf: []string{"perspective", "orthographic"}}

var animationShape = &shape{props: named(map[string]*form{
	"channels": must(listOf(&shape{props: map[string]*form{
		"sampler": must(count()),
		"target": must(object(&shape{props: map[string]*form{"node": indexOf("nodes"),
			"path": must(words("translation", "rotation", "scale", "weights", "pointer"))}}))}})),
	"samplers": must(listOf(&shape{props: map[string]*form{"input": must(indexOf("accessors")), "output": must(indexOf("accessors")),
		"interpolation": words("LINEAR", "STEP", "CUBICSPLINE")}})),
})}

var lightsShape = &shape{props: map[string]*form{"lights": must(listOf(&shape{props: named(map[string]*form{
	"color": colour(), "intensity": atLeast(0), "range": above(0), "type": must(words("directional", "point", "spot")),
	"spot": object(&shape{props: map[string]*form{"innerConeAngle": between(0, math.Pi/2), "outerConeAngle": &form{kind: numberForm, min: 0, max: math.Pi / 2, open: true}}}),
})}))}}

var rootShape = &shape{props: map[string]*form{
	"extensionsUsed": distinct(list(text())), "extensionsRequired": distinct(list(text())),
	"accessors": listOf(accessorShape), "animations": listOf(animationShape),
	"asset": must(object(&shape{props: map[string]*form{"copyright": text(), "generator": text(),
		"version": must(&form{kind: stringForm, pattern: versionPattern}), "minVersion": {kind: stringForm, pattern: versionPattern}}})),
	"buffers": listOf(&shape{props: named(map[string]*form{"uri": text(), "byteLength": must(whole(1, 1<<53))}),
		exts: map[string]*shape{"EXT_meshopt_compression": {free: true}}}),
	"bufferViews": listOf(&shape{props: named(map[string]*form{"buffer": must(indexOf("buffers")), "byteOffset": count(),
		"byteLength": must(whole(1, 1<<53)), "byteStride": multiple(whole(4, 252), 4), "target": numbers(34962, 34963)}),
		exts: map[string]*shape{"EXT_meshopt_compression": {free: true}}}),
	"cameras": listOf(cameraShape),
	"images": listOf(&shape{props: named(map[string]*form{"uri": text(), "mimeType": text(), "bufferView": indexOf("bufferViews")}),
		oneOf: []string{"uri", "bufferView"}, needs: map[string]string{"bufferView": "mimeType"}}),
	"materials": listOf(materialShape),
	"meshes":    listOf(&shape{props: named(map[string]*form{"primitives": must(listOf(primitiveShape)), "weights": list(number())})}),
	"nodes":     listOf(nodeShape),
	"samplers": listOf(&shape{props: named(map[string]*form{"magFilter": numbers(9728, 9729),
		"minFilter": numbers(9728, 9729, 9984, 9985, 9986, 9987), "wrapS": numbers(33071, 33648, 10497), "wrapT": numbers(33071, 33648, 10497)})}),
	"scene":  indexOf("scenes"),
	"scenes": listOf(&shape{props: named(map[string]*form{"nodes": distinct(list(indexOf("nodes")))})}),
	"skins": listOf(&shape{props: named(map[string]*form{"inverseBindMatrices": indexOf("accessors"), "skeleton": indexOf("nodes"),
		"joints": must(distinct(list(indexOf("nodes"))))})}),
	"textures": listOf(&shape{props: named(map[string]*form{"sampler": indexOf("samplers"), "source": indexOf("images")}),
		exts: map[string]*shape{"KHR_texture_basisu": {props: map[string]*form{"source": must(indexOf("images"))}},
			"EXT_texture_webp": {props: map[string]*form{"source": must(indexOf("images"))}}}}),
}, needs: map[string]string{"scene": "scenes", "extensionsRequired": "extensionsUsed"}, exts: map[string]*shape{
	"KHR_lights_punctual": lightsShape, "KHR_materials_variants": {free: true},
}}

// placedExtensions are the known extensions: one of them on an object that does not name it is in the wrong place.
var placedExtensions = func() map[string]bool {
	m := map[string]bool{"KHR_lights_punctual": true, "KHR_texture_transform": true, "KHR_draco_mesh_compression": true,
		"KHR_texture_basisu": true, "EXT_texture_webp": true, "EXT_meshopt_compression": true, "KHR_materials_variants": true}
	for name := range materialExtensions {
		m[name] = true
	}
	return m
}()

// Extensions that change nothing in what is read here, or that are read: a file may require them. Every other
// required extension makes the file "not evaluated".
var decodedExtensions = func() map[string]bool {
	m := map[string]bool{"KHR_mesh_quantization": true, "KHR_texture_transform": true, "KHR_lights_punctual": true,
		"KHR_materials_variants": true, "KHR_xmp_json_ld": true, meshoptName: true}
	for name := range materialExtensions {
		m[name] = true
	}
	delete(m, "KHR_materials_pbrSpecularGlossiness") // its colour is not read
	return m
}()
