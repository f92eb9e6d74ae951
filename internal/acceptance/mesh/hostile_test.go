package mesh

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
)

// hazardFixtures are inputs on which a common reader was seen to crash, to run out of memory or to read wrongly.
func hazardFixtures() []fixture {
	acc := func(more string) string {
		return asset + `"buffers":[{"byteLength":64}],"bufferViews":[{"buffer":0,"byteLength":64}],"accessors":[{` + more + `}],
		"meshes":[{"primitives":[{"attributes":{"POSITION":0}}]}],"nodes":[{"mesh":0}],"scenes":[{"nodes":[0]}]}`
	}
	f := `"componentType":5126,"min":[0,0,0],"max":[0,0,0],"type":"VEC3",`
	return []fixture{
		raw("buffer of 2^40 bytes in a file of 100", "buffer.missing_chunk", glbFile([]byte(asset+`"buffers":[{"byteLength":1099511627776}]}`), nil)),
		inline("buffer of 2^40 bytes over a chunk of 64", "buffer.too_short", asset+`"buffers":[{"byteLength":1099511627776}]}`),
		raw("chunk of 4 GB that is not there", "container.chunk_length", func() []byte {
			b := glbFile([]byte(asset+`"buffers":[{"byteLength":4194304000}]}`), make([]byte, 4))
			binary.LittleEndian.PutUint32(b[len(b)-12:], 4194304000)
			return b
		}()),
		inline("buffer of 2^32+64 bytes", "buffer.too_short", asset+`"buffers":[{"byteLength":4294967360}]}`),
		inline("negative buffer length", "schema.range", asset+`"buffers":[{"byteLength":-4294967232}]}`),
		loose("external buffer of negative length", "schema.range", "a.bin", MemSource{"m/a.bin": baseBin()}).withDoc(set("byteLength", -5, "buffers", 0)),
		inline("null buffer", "schema.type", asset+`"buffers":[null]}`),
		inline("null image", "schema.type", asset+`"images":[null]}`),
		inline("null view", "schema.type", asset+`"buffers":[{"byteLength":64}],"bufferViews":[null]}`),
		inline("null everywhere", "schema.type", asset+`"buffers":[null],"bufferViews":[null],"accessors":[null],"images":[null],"textures":[null],
			"materials":[null],"meshes":[null],"nodes":[null],"scenes":[null],"skins":[null],"animations":[null],"samplers":[null],"cameras":[null]}`),
		inline("four billion matrices over 64 bytes", "accessor.out_of_bounds", acc(`"bufferView":0,"componentType":5126,"type":"MAT4","count":4000000000`)),
		inline("100 million vectors over 64 bytes", "accessor.out_of_bounds", acc(f+`"bufferView":0,"count":100000000`)),
		inline("count -1", "schema.range", acc(f+`"bufferView":0,"count":-1`)),
		inline("count of the largest integer", "schema.range", acc(f+`"bufferView":0,"count":9223372036854775807`)),
		inline("count beyond every integer", "schema.range", acc(f+`"bufferView":0,"count":1e300`)),
		inline("accessor offset beyond its view", "accessor.out_of_bounds", acc(f+`"bufferView":0,"byteOffset":1000,"count":1`)),
		inline("negative accessor offset", "schema.range", acc(f+`"bufferView":0,"byteOffset":-4,"count":1`)),
		inline("accessor view -1", "schema.index", acc(f+`"bufferView":-1,"count":1`)),
		inline("view buffer -1", "schema.index", asset+`"buffers":[{"byteLength":64}],"bufferViews":[{"buffer":-1,"byteLength":4}]}`),
		inline("negative view offset", "schema.range", asset+`"buffers":[{"byteLength":64}],"bufferViews":[{"buffer":0,"byteOffset":-8,"byteLength":4}]}`),
		inline("view offset and length that overflow", "schema.range", asset+`"buffers":[{"byteLength":64}],"bufferViews":[{"buffer":0,"byteOffset":9223372036854775800,"byteLength":100}]}`),
		inline("view past its buffer", "view.out_of_bounds", asset+`"buffers":[{"byteLength":64}],"bufferViews":[{"buffer":0,"byteOffset":60,"byteLength":8}]}`),
		inline("negative stride", "schema.range", asset+`"buffers":[{"byteLength":64}],"bufferViews":[{"buffer":0,"byteLength":64,"byteStride":-16}]}`),
		values("sparse index past the end", "accessor.sparse_index", sparseFixture(1, 4)),
		values("sparse indices that do not grow", "accessor.sparse_order", sparseFixture(2, 1)),
		edited("negative sparse count", "schema.range", func(doc obj) {
			at(doc, "accessors", 0)["sparse"] = obj{"count": -1, "indices": obj{"bufferView": 0, "componentType": 5121}, "values": obj{"bufferView": 1}}
		}),
		edited("more sparse values than elements", "accessor.sparse_count", func(doc obj) {
			at(doc, "accessors", 1)["sparse"] = obj{"count": 9, "indices": obj{"bufferView": 0, "componentType": 5121}, "values": obj{"bufferView": 1}}
		}),
		edited("component type 9999", "mesh.attribute_format", set("componentType", 9999, "accessors", 1)),
		edited("component type missing", "schema.missing", unset("componentType", "accessors", 1)),
		raw("container version 99", "container.version", patched(4, 99)),
		raw("total length too long", "container.truncated", patched(8, 1<<20)),
		raw("total length too short", "container.chunk_length", patched(8, 64)),
		raw("JSON chunk of 2^32-1 bytes", "container.chunk_length", patched(12, math.MaxUint32)),
		edited("asset version 9.9", "asset.version", set("version", "9.9", "asset")),
		edited("node that is its own child, and a child out of range", "node.loop", set("children", []any{0}, "nodes", 0)),
		edited("child 99 and child -1", "reference.unresolved", set("children", []any{99, -1}, "nodes", 0)),
	}
}

// withDoc edits the document of a loose fixture.
func (f fixture) withDoc(change func(obj)) fixture {
	doc := base()
	uri := "a.bin"
	at(doc, "buffers", 0)["uri"] = uri
	change(doc)
	f.files[f.file] = jsonText(doc)
	return f
}

// patched is base as a GLB with one 32-bit word overwritten.
func patched(offset int, v uint32) []byte {
	b := glbFile(jsonText(base()), baseBin())
	binary.LittleEndian.PutUint32(b[offset:], v)
	return b
}

func containerFixtures() []fixture {
	good := glbFile(jsonText(base()), baseBin())
	wrongEnd := fixture{name: "GLB named .gltf", file: "a.gltf", files: MemSource{"a.gltf": good}, want: "container.wrong_extension",
		differs: "the validator sees bytes, not names"}
	jsonNamed := fixture{name: "JSON named .glb", file: "a.glb", files: MemSource{"a.glb": []byte(`{"asset":{"version":"2.0"}}`)}, want: "container.wrong_extension",
		differs: "the validator sees bytes, not names"}
	dup := append(bytes.Clone(good), good[len(good)-140-8:]...)
	binary.LittleEndian.PutUint32(dup[8:], uint32(len(dup)))
	unknown := append(bytes.Clone(good), 4, 0, 0, 0, 'A', 'B', 'C', 'D', 1, 2, 3, 4)
	binary.LittleEndian.PutUint32(unknown[8:], uint32(len(unknown)))
	odd := glbFile(jsonText(base()), baseBin())
	return []fixture{
		wrongEnd, jsonNamed,
		raw("empty file", "container.empty", []byte{}),
		raw("cut in the header", "container.truncated", good[:7]),
		raw("cut in the JSON chunk", "container.chunk_length", good[:200]),
		raw("cut in the binary chunk", "container.truncated", good[:len(good)-40]),
		raw("cut in a chunk's header", "container.truncated", good[:len(good)-145]),
		raw("magic of something else", "container.magic", append([]byte("ftyp"), good[4:]...)),
		raw("total length 4", "container.length", patched(8, 4)),
		raw("first chunk is not JSON", "container.first_chunk", patched(16, chunkBIN)),
		raw("chunk length not a multiple of four", "container.chunk_alignment", func() []byte {
			binary.LittleEndian.PutUint32(odd[len(odd)-148:], 139)
			return odd
		}()),
		raw("two binary chunks", "container.duplicate_chunk", dup),
		raw("unknown chunk", "", unknown),
		raw("bytes after the end", "", append(bytes.Clone(good), "appendix"...)),
		raw("empty JSON chunk", "container.empty_chunk", []byte("glTF\x02\x00\x00\x00\x14\x00\x00\x00\x00\x00\x00\x00JSON")),
	}
}

func jsonFixtures() []fixture {
	deep := asset + `"extensionsUsed":["X_y"],"extensions":{"X_y":{"a":` + strings.Repeat("[", 500) + strings.Repeat("]", 500) + `}}}`
	return []fixture{
		inline("not JSON", "json.invalid", `{"asset":{"version":"2.0"}`),
		inline("something after the JSON", "json.invalid", `{"asset":{"version":"2.0"}} x`),
		inline("NaN in JSON", "json.invalid", asset+`"nodes":[{"translation":[NaN,0,0]}]}`),
		inline("number with a leading zero", "json.invalid", asset+`"scene":01}`),
		inline("not UTF-8", "json.invalid", "{\"asset\":{\"version\":\"2.0\",\"generator\":\"\xff\xfe\"}}"),
		inline("line break in a string", "json.invalid", "{\"asset\":{\"version\":\"2.0\",\"generator\":\"a\nb\"}}"),
		inline("byte order mark", "json.invalid", "\xef\xbb\xbf{\"asset\":{\"version\":\"2.0\"}}"),
		inline("array at the top", "schema.type", `[1]`),
		inline("key twice", "json.duplicate_key", asset+`"nodes":[{"name":"a","name":"b"}],"scenes":[{"nodes":[0]}]}`).but("the validator's JSON parser keeps the last of equal keys"),
		inline("a number of 500 digits", "limits.json_number", asset+`"nodes":[{"translation":[1`+strings.Repeat("0", 500)+`,0,0]}]}`),
		inline("500 arrays deep", "limits.json_depth", deep).but("our limit on nesting"),
		inline("no asset", "schema.missing", `{}`),
		inline("empty array", "schema.empty", asset+`"nodes":[]}`),
		inline("name that is a number", "schema.type", asset+`"nodes":[{"name":5}]}`),
		inline("scene that is not there", "reference.unresolved", asset+`"scene":0,"scenes":[],"nodes":[{}]}`),
	}
}

func boundsFixtures() []fixture {
	return []fixture{
		edited("accessor past its view", "accessor.out_of_bounds", set("count", 5, "accessors", 2)),
		edited("accessor one byte past", "accessor.out_of_bounds", set("byteOffset", 4, "accessors", 2)),
		edited("misaligned accessor", "accessor.alignment", func(doc obj) {
			at(doc, "accessors", 3)["byteOffset"], at(doc, "accessors", 3)["count"] = 1, 5
		}),
		edited("view misaligned for its components", "accessor.alignment", func(doc obj) {
			at(doc, "bufferViews", 2)["byteOffset"] = 98
			at(doc, "accessors", 2)["count"] = 4
			at(doc, "bufferViews", 2)["byteLength"] = 32
		}),
		edited("stride shorter than an element", "accessor.stride", set("byteStride", 8, "bufferViews", 0)),
		edited("stride not a multiple of four", "schema.multiple", set("byteStride", 13, "bufferViews", 0)),
		edited("stride on indices", "view.stride", set("byteStride", 4, "bufferViews", 3)),
		edited("normalized floats", "accessor.normalized", set("normalized", true, "accessors", 2)),
		edited("bounds of another length", "accessor.bounds_length", set("min", []any{0, 0}, "accessors", 0)),
		edited("offset without a view", "schema.dependency", func(doc obj) {
			a := at(doc, "accessors", 2)
			delete(a, "bufferView")
			a["byteOffset"] = 4
		}),
		edited("two attributes in one view without stride", "view.stride", func(doc obj) {
			at(doc, "accessors", 1)["bufferView"] = 0
			at(doc, "accessors", 0)["count"], at(doc, "accessors", 1)["count"], at(doc, "accessors", 2)["count"] = 2, 2, 2
			at(doc, "accessors", 1)["byteOffset"] = 24
			at(doc, "accessors", 0)["max"] = []any{1, 0, 0}
			delete(at(doc, "meshes", 0, "primitives", 0), "indices")
		}),
		edited("attribute and indices in one view", "view.use", func(doc obj) {
			at(doc, "accessors", 3)["bufferView"] = 2
			delete(at(doc, "bufferViews", 2), "target")
		}),
		edited("target says indices for positions", "view.use", set("target", 34963, "bufferViews", 0)),
		edited("buffer shorter than declared", "buffer.too_short", set("byteLength", 9000, "buffers", 0)),
		edited("3.5 elements", "schema.type", set("count", 3.5, "accessors", 1)),
	}
}

func meshFixtures() []fixture {
	prim := func(key string, v any) func(obj) { return set(key, v, "meshes", 0, "primitives", 0) }
	attr := func(key string, v any) func(obj) { return set(key, v, "meshes", 0, "primitives", 0, "attributes") }
	return []fixture{
		edited("positions without bounds", "mesh.position_bounds", unset("min", "accessors", 0)),
		edited("attribute counts differ", "mesh.attribute_counts", set("count", 3, "accessors", 1)),
		edited("unknown attribute", "mesh.attribute_name", attr("GLOSS", 1)),
		edited("TEXCOORD without a number", "mesh.attribute_name", attr("TEXCOORD", 2)),
		edited("TEXCOORD_2 without TEXCOORD_1", "mesh.attribute_numbers", attr("TEXCOORD_2", 2)),
		edited("own attribute", "", attr("_WEAR", 2)),
		edited("normals of two components", "mesh.attribute_format", attr("NORMAL", 2)),
		edited("float indices", "mesh.index_format", prim("indices", 2)),
		edited("primitive without positions", "", unset("POSITION", "meshes", 0, "primitives", 0, "attributes")),
		edited("no attributes", "schema.empty", prim("attributes", obj{})),
		edited("material that is not there", "reference.unresolved", prim("material", 4)),
		edited("mode 9", "schema.range", prim("mode", 9)),
		edited("five indices", "", set("count", 5, "accessors", 3)),
		edited("joints without weights", "mesh.joints_weights", attr("JOINTS_0", 2)),
		edited("texture without its UV set", "mesh.missing_uv", func(doc obj) {
			delete(at(doc, "meshes", 0, "primitives", 0, "attributes"), "TEXCOORD_0")
			doc["images"], doc["textures"] = []any{obj{"uri": "data:image/png;base64," + tinyPNG}}, []any{obj{"source": 0}}
			at(doc, "materials", 0)["normalTexture"] = obj{"index": 0}
		}),
		edited("alpha mode of its own", "", set("alphaMode", "GLASS", "materials", 0)),
		edited("metallic of two", "schema.range", set("pbrMetallicRoughness", obj{"metallicFactor": 2}, "materials", 0)),
		edited("morph target of another count", "mesh.target_count", func(doc obj) {
			at(doc, "meshes", 0, "primitives", 0)["targets"] = []any{obj{"POSITION": 4}}
			accs := doc["accessors"].([]any)
			doc["accessors"] = append(accs, obj{"bufferView": 0, "componentType": 5126, "count": 2, "type": "VEC3", "min": []any{0, 0, 0}, "max": []any{1, 0, 0}})
		}),
		edited("weights without targets", "mesh.weights", set("weights", []any{1.0}, "meshes", 0)),
	}
}

// tinyPNG is one opaque pixel.
const tinyPNG = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="

func valueFixtures() []fixture {
	put := func(offset int, v float32) func(doc obj, bin []byte) []byte {
		return func(_ obj, bin []byte) []byte {
			binary.LittleEndian.PutUint32(bin[offset:], math.Float32bits(v))
			return bin
		}
	}
	index := func(v uint16) func(doc obj, bin []byte) []byte {
		return func(_ obj, bin []byte) []byte {
			binary.LittleEndian.PutUint16(bin[130:], v)
			return bin
		}
	}
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	return []fixture{
		values("NaN position", "data.not_finite", put(4, nan)),
		values("infinite position", "data.not_finite", put(16, inf)),
		values("NaN normal", "data.not_finite", put(52, nan)),
		values("infinite UV", "data.not_finite", put(100, inf)),
		values("position past its bounds", "data.bounds_max", put(12, 7)),
		values("position inside its bounds", "data.bounds_min", func(doc obj, bin []byte) []byte {
			at(doc, "accessors", 0)["min"] = []any{-1, 0, 0}
			return bin
		}),
		values("index out of range", "data.index_range", index(4)),
		values("index 65535", "data.index_restart", index(65535)),
		values("degenerate triangle", "", index(0)),
		values("normal of length 2", "data.not_unit", put(56, 2)),
		values("normal of length 0", "data.not_unit", put(56, 0)),
		values("normal within tolerance", "", put(56, 1.006)),
		values("normal just outside the tolerance", "data.not_unit", put(56, 1.0075)),
		values("tangents", "", func(doc obj, bin []byte) []byte {
			return addAttribute(doc, bin, "TANGENT", obj{"componentType": 5126, "type": "VEC4", "count": 4}, bytes.Repeat(f32(nil, 1, 0, 0, -1), 4), 0)
		}),
		values("tangent sign 0.5", "data.tangent_sign", func(doc obj, bin []byte) []byte {
			return addAttribute(doc, bin, "TANGENT", obj{"componentType": 5126, "type": "VEC4", "count": 4}, bytes.Repeat(f32(nil, 1, 0, 0, 0.5), 4), 0)
		}),
		values("colour of 1.5", "data.colour_range", func(doc obj, bin []byte) []byte {
			return addAttribute(doc, bin, "COLOR_0", obj{"componentType": 5126, "type": "VEC3", "count": 4}, bytes.Repeat(f32(nil, 1.5, 0, 0), 4), 0)
		}),
	}
}

func graphFixtures() []fixture {
	nodes := func(name, want, list string) fixture {
		return inline(name, want, asset+`"nodes":[`+list+`],"scenes":[{"nodes":[0]}]}`)
	}
	chain := func(n int) string {
		var b strings.Builder
		for i := range n - 1 {
			fmt.Fprintf(&b, `{"children":[%d]},`, i+1)
		}
		return b.String() + `{}`
	}
	return []fixture{
		nodes("loop of three", "node.loop", `{},{"children":[2]},{"children":[3]},{"children":[1]}`),
		nodes("two parents", "node.two_parents", `{"children":[1,2]},{"children":[3]},{"children":[3]},{}`),
		nodes("child listed twice", "schema.duplicate", `{"children":[1,1]},{}`),
		nodes("chain of 100", "", chain(100)),
		nodes("chain of 100,000", "limits.node_depth", chain(100_000)).but(crashes),
		nodes("scene root with a parent", "scene.not_root", `{},{"children":[0]}`),
		nodes("matrix and translation", "node.matrix_and_trs", `{"matrix":[1,0,0,0,0,1,0,0,0,0,1,0,1,0,0,1],"translation":[1,0,0]}`),
		nodes("matrix that shears", "node.matrix_shear", `{"matrix":[1,0,0,0,0.5,1,0,0,0,0,1,0,0,0,0,1]}`),
		nodes("matrix that mirrors", "", `{"matrix":[-1,0,0,0,0,1,0,0,0,0,1,0,0,0,0,1]}`),
		nodes("matrix with a last row", "node.matrix_shear", `{"matrix":[1,0,0,0.5,0,1,0,0,0,0,1,0,0,0,0,1]}`),
		nodes("rotation of length 2", "schema.range", `{"rotation":[0,0,0,2]}`),
		nodes("rotation of length 0.9", "node.rotation", `{"rotation":[0,0,0,0.9]}`),
		nodes("mesh that is not there", "reference.unresolved", `{"mesh":3}`),
		nodes("skin without a mesh", "schema.dependency", `{"skin":0}`),
		edited("node 1e30 m away", "limits.coordinates", set("translation", []any{1e30, 0, 0}, "nodes", 0)).but("our limit on coordinates"),
		edited("weights on a node without targets", "node.weights", set("weights", []any{1.0}, "nodes", 0)),
	}
}

func resourceFixtures() []fixture {
	img := func(name, want string, image obj, files MemSource) fixture {
		doc := base()
		doc["images"], doc["textures"] = []any{image}, []any{obj{"source": 0}}
		at(doc, "materials", 0)["pbrMetallicRoughness"] = obj{"baseColorTexture": obj{"index": 0}}
		all := MemSource{"m/a.glb": glbFile(jsonText(doc), baseBin())}
		for k, v := range files {
			all[k] = v
		}
		return fixture{name: name, file: "m/a.glb", files: all, want: want}
	}
	onePixel, _ := base64.StdEncoding.DecodeString(tinyPNG)
	// 56 bytes that claim 30,000 × 30,000 pixels of 16 bits: some decoders allocate 7 GB for them.
	bomb := append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x75\x30\x00\x00\x75\x30\x10\x06\x00\x00\x00"), 0, 0, 0, 0)
	fixCRC(bomb)
	bomb = append(bomb, "\x00\x00\x00\x00IDAT\x35\xaf\x06\x1e"...)
	return []fixture{
		loose("remote buffer", "self_contained.remote", "https://example.com/a.bin", nil),
		loose("remote buffer without a scheme", "self_contained.remote", "//example.com/a.bin", nil),
		loose("absolute path", "self_contained.absolute", "/etc/hostname", nil),
		loose("drive letter", "self_contained.absolute", "C:/a.bin", nil),
		loose("file scheme", "self_contained.remote", "file:///etc/hostname", nil),
		loose("path upwards", "self_contained.outside", "../a.bin", MemSource{"a.bin": baseBin()}),
		loose("path upwards, percent-encoded", "self_contained.outside", "%2e%2e/a.bin", MemSource{"a.bin": baseBin()}),
		loose("path upwards in the middle", "self_contained.outside", "x/%2E./../a.bin", nil),
		loose("backslash upwards", "self_contained.outside", `..\a.bin`, nil),
		loose("encoded slash at the front", "self_contained.absolute", "%2fetc/hostname", nil),
		loose("sibling that is not delivered", "self_contained.missing", "other.bin", nil),
		loose("buffer that is cut off", "buffer.too_short", "a.bin", MemSource{"m/a.bin": baseBin()[:100]}),
		loose("data URI that is cut off", "buffer.too_short", "data:application/octet-stream;base64,AAAA", nil),
		loose("data URI of another type", "buffer.media_type", "data:text/plain;base64,"+base64.StdEncoding.EncodeToString(baseBin()), nil),
		loose("data URI with broken base64", "uri.invalid", "data:application/octet-stream;base64,A*AA", nil),
		img("texture in a file", "", obj{"uri": "t/one.png"}, MemSource{"m/t/one.png": onePixel}),
		img("texture that is not delivered", "self_contained.missing", obj{"uri": "t/one.png"}, nil),
		img("remote texture", "self_contained.remote", obj{"uri": "http://example.com/one.png"}, nil),
		img("texture by an absolute path", "self_contained.absolute", obj{"uri": "/one.png"}, nil),
		img("PNG declared as JPEG", "image.media_type", obj{"uri": "one.png", "mimeType": "image/jpeg"}, MemSource{"m/one.png": onePixel}),
		img("texture that is no image", "image.unknown_format", obj{"uri": "one.png"}, MemSource{"m/one.png": []byte("no image at all, only words")}).but("the validator only warns of unknown image formats"),
		img("texture with a broken header", "image.undecodable", obj{"uri": "one.png"}, MemSource{"m/one.png": onePixel[:20]}),
		img("texture cut off", "image.undecodable", obj{"uri": "one.png"}, MemSource{"m/one.png": onePixel[:50]}).but("the validator reads headers only"),
		img("image bomb", "limits.image_pixels", obj{"uri": "one.png"}, MemSource{"m/one.png": bomb}).but("our limit on pixels"),
		img("image with both places", "schema.one_of", obj{"uri": "one.png", "bufferView": 0, "mimeType": "image/png"}, MemSource{"m/one.png": onePixel}),
		img("image without a place", "schema.one_of", obj{"name": "x"}, nil),
	}
}

func extensionFixtures() []fixture {
	requires := func(ext string) func(obj) {
		return func(doc obj) {
			doc["extensionsUsed"], doc["extensionsRequired"] = []any{ext}, []any{ext}
		}
	}
	return []fixture{
		edited("required and not used", "extension.unused_required", func(doc obj) {
			doc["extensionsUsed"], doc["extensionsRequired"] = []any{"KHR_texture_transform"}, []any{"KHR_lights_punctual"}
		}),
		edited("required without a list of used ones", "schema.dependency", func(doc obj) { doc["extensionsRequired"] = []any{"KHR_lights_punctual"} }),
		edited("used and not declared", "extension.undeclared", set("extensions", obj{"KHR_materials_unlit": obj{}}, "materials", 0)),
		edited("on the wrong object", "extension.misplaced", func(doc obj) {
			doc["extensionsUsed"] = []any{"KHR_materials_unlit"}
			at(doc, "nodes", 0)["extensions"] = obj{"KHR_materials_unlit": obj{}}
		}),
		edited("quantization not required", "extension.must_be_required", func(doc obj) { doc["extensionsUsed"] = []any{"KHR_mesh_quantization"} }),
		edited("requires Draco compression", "", requires("KHR_draco_mesh_compression")),
		edited("requires an unknown extension", "", requires("VENDOR_secret")),
		edited("clearcoat of two", "schema.range", func(doc obj) {
			doc["extensionsUsed"] = []any{"KHR_materials_clearcoat"}
			at(doc, "materials", 0)["extensions"] = obj{"KHR_materials_clearcoat": obj{"clearcoatFactor": 2}}
		}),
	}
}
