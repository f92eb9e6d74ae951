package mesh

import (
	"bytes"
	"testing"
)

// Fuzzed files must neither crash a reader nor leave anything unsafe in the scene. Small limits keep a run quick.
var fuzzLimits = Limits{FileBytes: 1 << 20, Vertices: 1 << 16, Triangles: 1 << 16, Nodes: 1 << 10, ImageEdge: 64, ImagePixel: 64 * 64}

func fuzzLoad(t *testing.T, name string, data []byte) {
	s, issues := Load(MemSource{name: data, "m.bin": baseBin()}, name, fuzzLimits)
	defer s.Close()
	for _, i := range issues {
		if i.Code == "" || i.Message == "" || i.Path != name {
			t.Fatalf("issue without code, message or path: %+v", i)
		}
	}
	if s == nil && len(issues) == 0 {
		t.Fatal("no scene and no reason")
	}
	checkSafe(t, s)
}

func FuzzGLB(f *testing.F) {
	for _, x := range fixtures() {
		if data := x.files[x.file]; len(data) < 4096 && bytes.HasPrefix(data, glbMagic) {
			f.Add(data)
		}
	}
	doc, bin := packedDocument()
	f.Add(glbFile(jsonText(doc), bin))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzLoad(t, "a.glb", data) })
}

func FuzzGLTF(f *testing.F) {
	for _, x := range fixtures() {
		if data := x.files[x.file]; len(data) < 4096 && !bytes.HasPrefix(data, glbMagic) {
			f.Add(data)
		}
	}
	doc := base()
	at(doc, "buffers", 0)["uri"] = "m.bin"
	f.Add(jsonText(doc))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzLoad(t, "a.gltf", data) })
}

func FuzzOBJ(f *testing.F) {
	f.Add([]byte("o a\nusemtl m\nv 0 0 0\nv 1 0 0\nv 1 1 0\nvt 0 1\nvn 0 0 1\nf 1/1/1 2/1/1 \\\n3/1/1\nf -1 -2 -3\n"))
	f.Add([]byte("v 1e-5 nan inf\nf 1//1 1//1 1//1\ng\ns 1\nl 1 2\n"))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzLoad(t, "a.obj", data) })
}

func FuzzPLY(f *testing.F) {
	head := "element vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n"
	f.Add([]byte("ply\nformat ascii 1.0\n" + head + "0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n"))
	body := append(f32(nil, 0, 0, 0, 1, 0, 0, 0, 1, 0), 3, 0, 0, 0, 0, 1, 0, 0, 0, 2, 0, 0, 0)
	f.Add(append([]byte("ply\nformat binary_little_endian 1.0\n"+head), body...))
	f.Add(append([]byte("ply\nformat binary_big_endian 1.0\n"+head), body...))
	f.Add([]byte("ply\nformat ascii 1.0\nelement vertex 1\nproperty list uchar float x\nproperty double z\nend_header\n1 2\n"))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzLoad(t, "a.ply", data) })
}

// FuzzJSON: what our reader accepts is JSON by the library's word too, and the other way round within the limits.
func FuzzJSON(f *testing.F) {
	for _, s := range []string{`{}`, `[1,2.5e-3,"aé\n"]`, `{"a":{"extras":[{},{}]},"b":null}`, `[01]`, `"\ud800"`, `{"a":1,"a":2}`, `[-]`, `tru`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		tape, fault := parseJSON(data, 0, func(string, int) {})
		if fault != nil && fault.code != "json.invalid" {
			return
		}
		if ours, theirs := fault == nil, validJSON(data); ours != theirs {
			t.Fatalf("we say %v, the library %v: %q", ours, theirs, data)
		}
		if tape != nil {
			for i := range tape.values {
				tape.string(i)
				tape.int(i)
				tape.float(i)
			}
		}
	})
}
