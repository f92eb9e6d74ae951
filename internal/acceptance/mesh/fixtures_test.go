package mesh

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// fixture is one small file, good or broken. The same list is read by our reader here and by the standard's own
// validator in the full tests.
type fixture struct {
	name  string
	file  string
	files MemSource
	want  string // an error code that must be among those found; "" where the file is valid

	// differs says why the standard's validator and we do not agree on error or no error; "" where we must.
	differs string
}

// obj is a JSON object under construction.
type obj = map[string]any

// base is a valid document: a square with normals, UVs and 16-bit indices, one material, one node.
func base() obj {
	var doc obj
	err := json.Unmarshal([]byte(`{"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[0]}],"nodes":[{"name":"board","mesh":0}],
	"meshes":[{"primitives":[{"attributes":{"POSITION":0,"NORMAL":1,"TEXCOORD_0":2},"indices":3,"material":0}]}],
	"materials":[{"name":"paint"}],
	"accessors":[{"bufferView":0,"componentType":5126,"count":4,"type":"VEC3","min":[0,0,0],"max":[1,1,0]},
	{"bufferView":1,"componentType":5126,"count":4,"type":"VEC3"},{"bufferView":2,"componentType":5126,"count":4,"type":"VEC2"},
	{"bufferView":3,"componentType":5123,"count":6,"type":"SCALAR"}],
	"bufferViews":[{"buffer":0,"byteLength":48,"target":34962},{"buffer":0,"byteOffset":48,"byteLength":48,"target":34962},
	{"buffer":0,"byteOffset":96,"byteLength":32,"target":34962},{"buffer":0,"byteOffset":128,"byteLength":12,"target":34963}],
	"buffers":[{"byteLength":140}]}`), &doc)
	if err != nil {
		panic(err)
	}
	return doc
}

// baseBin is base's binary chunk.
func baseBin() []byte {
	q := quad()
	b := f32(nil, q.Pos...)
	b = f32(b, q.Nrm...)
	b = f32(b, q.UV...)
	for _, i := range q.Tri {
		b = binary.LittleEndian.AppendUint16(b, uint16(i))
	}
	return b
}

func f32(b []byte, v ...float32) []byte {
	for _, x := range v {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
	}
	return b
}

// at walks a document: names for objects, numbers for arrays.
func at(doc any, path ...any) obj {
	for _, p := range path {
		switch k := p.(type) {
		case string:
			doc = doc.(obj)[k]
		case int:
			doc = doc.([]any)[k]
		}
	}
	return doc.(obj)
}

func jsonText(doc obj) []byte {
	b, err := json.Marshal(doc)
	if err != nil {
		panic(err)
	}
	return b
}

// glbFile wraps a JSON text and a binary chunk; nil leaves the chunk out.
func glbFile(text, bin []byte) []byte {
	text = append(bytes.Clone(text), bytes.Repeat([]byte(" "), (4-len(text)%4)%4)...)
	size := 20 + len(text)
	if bin != nil {
		bin = append(bytes.Clone(bin), make([]byte, (4-len(bin)%4)%4)...)
		size += 8 + len(bin)
	}
	b := []byte("glTF")
	for _, v := range []int{2, size, len(text)} {
		b = binary.LittleEndian.AppendUint32(b, uint32(v))
	}
	b = append(b, "JSON"...)
	b = append(b, text...)
	if bin != nil {
		b = binary.LittleEndian.AppendUint32(b, uint32(len(bin)))
		b = append(b, "BIN\x00"...)
		b = append(b, bin...)
	}
	return b
}

// edited is base as a GLB after a change of its document.
func edited(name, want string, change func(doc obj)) fixture {
	doc := base()
	change(doc)
	return raw(name, want, glbFile(jsonText(doc), baseBin()))
}

// values is base as a GLB after a change of its document and binary chunk.
func values(name, want string, change func(doc obj, bin []byte) []byte) fixture {
	doc := base()
	bin := change(doc, baseBin())
	return raw(name, want, glbFile(jsonText(doc), bin))
}

func raw(name, want string, data []byte) fixture {
	return fixture{name: name, file: "a.glb", files: MemSource{"a.glb": data}, want: want}
}

// text is a GLB around a JSON text and 64 bytes of binary chunk.
func inline(name, want, js string) fixture {
	return raw(name, want, glbFile([]byte(js), make([]byte, 64)))
}

// crashes marks the fixture on which the validator runs out of stack; it is not asked.
const crashes = "the validator crashes"

// but says why the standard's validator differs.
func (f fixture) but(why string) fixture { f.differs = why; return f }

// loose is base as .gltf with its buffer at a URI.
func loose(name, want, uri string, files MemSource) fixture {
	doc := base()
	at(doc, "buffers", 0)["uri"] = uri
	all := MemSource{"m/a.gltf": jsonText(doc)}
	for k, v := range files {
		all[k] = v
	}
	return fixture{name: name, file: "m/a.gltf", files: all, want: want}
}

// set is an edit that sets one key.
func set(key string, value any, path ...any) func(obj) {
	return func(doc obj) { at(doc, path...)[key] = value }
}

func unset(key string, path ...any) func(obj) {
	return func(doc obj) { delete(at(doc, path...), key) }
}

const asset = `{"asset":{"version":"2.0"},`

// fixtures returns every small file.
func fixtures() []fixture {
	var all []fixture
	for _, part := range [][]fixture{validFixtures(), hazardFixtures(), containerFixtures(), jsonFixtures(), boundsFixtures(),
		meshFixtures(), valueFixtures(), graphFixtures(), resourceFixtures(), extensionFixtures()} {
		all = append(all, part...)
	}
	return all
}

func validFixtures() []fixture {
	return []fixture{
		edited("plain", "", func(obj) {}),
		raw("no binary chunk", "", glbFile([]byte(`{"asset":{"version":"2.0"}}`), nil)),
		raw("4000 bytes of trailing spaces in the JSON chunk", "", glbFile(append(jsonText(base()), bytes.Repeat([]byte(" "), 4000)...), baseBin())),
		edited("accessor without a view reads zeros", "", func(doc obj) {
			a := at(doc, "accessors", 0)
			delete(a, "bufferView")
			a["max"] = []any{0, 0, 0}
		}),
		values("scalar bytes in a longer view", "", func(doc obj, bin []byte) []byte {
			return addAttribute(doc, bin, "_MARK", obj{"componentType": 5120, "type": "SCALAR", "count": 4}, []byte{1, 0, 0, 0, 2, 0, 0, 0, 3, 0, 0, 0, 4, 0, 0, 0, 9, 9, 9, 9}, 4)
		}),
		values("16-bit normalized colours", "", func(doc obj, bin []byte) []byte {
			return addAttribute(doc, bin, "COLOR_0", obj{"componentType": 5123, "normalized": true, "type": "VEC4", "count": 4},
				bytes.Repeat([]byte{0x00, 0x80, 0xff, 0xff, 0, 0, 0xff, 0xff}, 4), 0)
		}),
		values("quantized positions", "", func(doc obj, bin []byte) []byte {
			doc["extensionsUsed"], doc["extensionsRequired"] = []any{"KHR_mesh_quantization"}, []any{"KHR_mesh_quantization"}
			short := []byte{0, 0, 0, 0, 0, 0, 0, 0, 100, 0, 0, 0, 0, 0, 0, 0, 100, 0, 100, 0, 0, 0, 0, 0, 0, 0, 100, 0, 0, 0, 0, 0}
			return addAttribute(doc, bin, "POSITION", obj{"componentType": 5122, "type": "VEC3", "count": 4, "min": []any{0, 0, 0}, "max": []any{100, 100, 0}}, short, 8)
		}),
		values("sparse positions", "", sparseFixture(1, 2)),
		edited("key in capitals is another key", "", func(doc obj) { doc["ACCESSORS"] = []any{} }),
		edited("unknown key", "", func(doc obj) { doc["nonsense"] = 1 }),
		loose("external buffer", "", "a.bin", MemSource{"m/a.bin": baseBin()}),
		loose("external buffer, percent-encoded", "", "sub%20dir/a%2Bb.bin", MemSource{"m/sub dir/a+b.bin": baseBin()}),
		loose("buffer as data URI", "", "data:application/octet-stream;base64,"+base64.StdEncoding.EncodeToString(baseBin()), nil),
		loose("buffer as data URI, other media type", "", "data:application/gltf-buffer;base64,"+base64.StdEncoding.EncodeToString(baseBin()), nil),
		edited("harmless extension", "", func(doc obj) {
			doc["extensionsUsed"] = []any{"KHR_materials_clearcoat", "VENDOR_own"}
			at(doc, "materials", 0)["extensions"] = obj{"KHR_materials_clearcoat": obj{"clearcoatFactor": 0.5}}
			doc["extensions"] = obj{"VENDOR_own": obj{"deep": []any{1, 2, 3}}}
		}),
	}
}

// addAttribute appends data as a new view and accessor and makes it an attribute.
func addAttribute(doc obj, bin []byte, name string, acc obj, data []byte, stride int) []byte {
	for len(bin)%4 != 0 {
		bin = append(bin, 0)
	}
	view := obj{"buffer": 0, "byteOffset": len(bin), "byteLength": len(data), "target": 34962}
	if stride > 0 {
		view["byteStride"] = stride
	}
	views := doc["bufferViews"].([]any)
	acc["bufferView"] = len(views)
	doc["bufferViews"] = append(views, view)
	accs := doc["accessors"].([]any)
	doc["accessors"] = append(accs, acc)
	at(doc, "meshes", 0, "primitives", 0, "attributes")[name] = len(accs)
	bin = append(bin, data...)
	at(doc, "buffers", 0)["byteLength"] = len(bin)
	return bin
}

// sparseFixture makes the positions sparse over their view: two vertices are given anew, in this order.
func sparseFixture(first, second byte) func(doc obj, bin []byte) []byte {
	return func(doc obj, bin []byte) []byte {
		from := len(bin)
		bin = f32(append(bin, first, second, 0, 0), 1, 0, 0, 1, 1, 0)
		views := doc["bufferViews"].([]any)
		doc["bufferViews"] = append(views, obj{"buffer": 0, "byteOffset": from, "byteLength": 2}, obj{"buffer": 0, "byteOffset": from + 4, "byteLength": 24})
		at(doc, "accessors", 0)["sparse"] = obj{"count": 2, "indices": obj{"bufferView": len(views), "componentType": 5121}, "values": obj{"bufferView": len(views) + 1}}
		at(doc, "buffers", 0)["byteLength"] = len(bin)
		return bin
	}
}

// TestFixtures reads every small file: a valid one without an error, a broken one with its code, and none with a panic.
func TestFixtures(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, f := range fixtures() {
		require.False(t, seen[f.name], "name %q stands twice", f.name)
		seen[f.name] = true
		t.Run(f.name, func(t *testing.T) {
			t.Parallel()
			s, issues := Load(f.files, f.file, Limits{})
			defer s.Close()
			found := codes(issues, false)
			if f.want == "" {
				require.Empty(t, found, "%v", issues)
				require.Equal(t, strings.HasPrefix(f.name, "requires "), s == nil)
				for _, i := range issues {
					require.Equal(t, s == nil, i.Undecoded, "%v", i)
				}
				checkSafe(t, s)
				return
			}
			require.Contains(t, found, f.want, "%v", issues)
			for _, i := range issues {
				require.Equal(t, f.file, i.Path)
				require.NotEmpty(t, i.Message)
				require.Less(t, len(i.Message), 400, "a message is one sentence")
				require.True(t, strings.HasSuffix(i.Message, ".") || strings.HasSuffix(i.Message, ")"), i.Message)
			}
			checkSafe(t, s)
		})
	}
}

// checkSafe holds a scene to Load's promise: whatever is in it can be used without a check.
func checkSafe(t testing.TB, s *Scene) {
	t.Helper()
	if s == nil {
		return
	}
	for i := range s.Prims {
		p := &s.Prims[i]
		n := len(p.Pos) / 3
		require.Zero(t, len(p.Pos)%3)
		require.Zero(t, len(p.Tri)%3)
		for _, v := range p.Tri {
			require.Less(t, int(v), n)
		}
		for _, x := range p.Pos {
			require.True(t, finite(x))
		}
		require.True(t, p.Nrm == nil || len(p.Nrm) == 3*n, "normals")
		require.True(t, p.Tan == nil || len(p.Tan) == 4*n, "tangents")
		require.True(t, p.Col == nil || len(p.Col) == 4*n, "colours")
		for _, uv := range p.UV {
			require.True(t, uv == nil || len(uv) == 2*n, "UVs")
		}
		require.True(t, p.Material >= -1 && p.Material < len(s.Materials), "material %d", p.Material)
		require.True(t, p.Mesh >= 0 && p.Mesh < len(s.Meshes))
	}
	for _, m := range s.Materials {
		for _, r := range []TexRef{m.BaseTex, m.MetalRough, m.Normal, m.Occlusion, m.Emissive} {
			require.True(t, r.Image >= -1 && r.Image < len(s.Images))
		}
	}
	for _, d := range s.Draws {
		require.Contains(t, s.Meshes[s.Nodes[d.Node].Mesh].Prims, d.Prim)
	}
	if len(s.Draws) < 1000 {
		flat := Flatten(s, s.Draws)
		require.Len(t, flat.Of, len(s.Draws))
		for _, x := range flat.Pos {
			require.True(t, finite(x))
		}
	}
}
