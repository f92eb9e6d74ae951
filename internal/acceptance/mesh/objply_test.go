package mesh

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func loadText(t testing.TB, name, text string) (*Scene, []Issue) {
	t.Helper()
	s, issues := Load(MemSource{name: []byte(text)}, name, Limits{})
	t.Cleanup(func() { s.Close() })
	return s, issues
}

func TestOBJGroupsMaterialsAndPolygons(t *testing.T) {
	t.Parallel()
	s, issues := loadText(t, "drum.obj", `# a comment
o lid
usemtl steel
v 0 0 0
v 1 0 0
v 1 1 0
v 0 1 0
vt 0 0
vt 1 0
vt 1 1
vt 0 1
vn 0 0 1
f 1/1/1 2/2/1 3/3/1 4/4/1
usemtl rust
f -4/-4/-1 -3/-3/-1 \
  -2/-2/-1
o body
g ignored when there are objects
f 1 3 4
s off
o lid
f 2//1 3//1 4//1
`)
	require.Empty(t, issues)
	require.Len(t, s.Nodes, 2)
	require.Equal(t, "lid", s.Nodes[0].Name)
	require.Equal(t, "line 2", s.Nodes[0].Pointer)
	require.Equal(t, "body", s.Nodes[1].Name)
	require.Equal(t, []string{"steel", "rust"}, []string{s.Materials[0].Name, s.Materials[1].Name})
	require.Len(t, s.Prims, 3)
	lid := s.Prims[0]
	require.Equal(t, []uint8{4}, lid.Polys)
	require.Equal(t, []uint32{0, 1, 2, 0, 2, 3}, lid.Tri)
	require.Equal(t, []float32{0, 1, 1, 1, 1, 0, 0, 0}, lid.UV[0], "V is turned down")
	require.Equal(t, []uint8{3, 3}, s.Prims[1].Polys, "rust: one face with UVs, and one without, when the lid goes on")
	require.Equal(t, 2, s.Prims[1].Drawn)
	require.Nil(t, s.Prims[2].Nrm)
	require.Len(t, s.Draws, 3)
	checkSafe(t, s)
}

// A file whose corners use one index for everything keeps its own vertices, stray ones too.
func TestOBJKeepsOwnVertices(t *testing.T) {
	t.Parallel()
	s, issues := loadText(t, "a.obj", "v 0 0 0\nv 1 0 0\nv 9 9 9\nv 0 1 0\nvn 0 0 1\nvn 0 0 1\nvn 0 0 1\nvn 0 0 1\nf 1//1 2//2 4//4\r\n")
	require.Empty(t, issues)
	require.Equal(t, []float32{0, 0, 0, 1, 0, 0, 9, 9, 9, 0, 1, 0}, s.Prims[0].Pos)
	require.Equal(t, []uint32{0, 1, 3}, s.Prims[0].Tri)
	require.Equal(t, "a.obj", (Range{Scene: s}).NodeName())
}

// Pieces of a large file join as if it had been read in one: negative indices reach back across them.
func TestOBJPiecesJoin(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	const n = 200_000
	for i := range n {
		fmt.Fprintf(&b, "v %d.5 %d.25 -%d\nv %d 0 1e-3\nv 0 %d 0\nf -3 -2 -1\n", i, i%7, i, i, i)
	}
	require.Greater(t, b.Len(), 2*pieceBytes)
	s, issues := loadText(t, "big.obj", b.String())
	require.Empty(t, issues)
	require.Len(t, s.Prims[0].Tri, 3*n)
	for i, v := range s.Prims[0].Tri {
		require.Equal(t, uint32(i), v)
	}
	require.Equal(t, []float32{n - 1 + 0.5, float32((n-1)%7) + 0.25, -(n - 1)}, s.Prims[0].Pos[9*(n-1):9*(n-1)+3])
}

func TestOBJFaults(t *testing.T) {
	t.Parallel()
	good := "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"
	for _, row := range []struct{ name, text, want string }{
		{"index past the end", good + "f 1 2 9\n", "data.index_range"},
		{"index 0", good + "f 0 1 2\n", "data.index_range"},
		{"negative index past the start", good + "f -1 -2 -9\n", "data.index_range"},
		{"UV that is not there", good + "f 1/1 2/1 3/1\n", "data.index_range"},
		{"huge index", good + "f 1 2 99999999999999999999\n", "data.index_range"},
		{"four parts", good + "f 1/1/1/1 2 3\n", "data.index_range"},
		{"two corners", good + "f 1 2\n", "obj.short_face"},
		{"words for numbers", good + "v a b c\n", "obj.number"},
		{"too few numbers", good + "v 1 2\n", "obj.number"},
		{"hexadecimal", good + "v 0x10 0 0\n", "obj.number"},
		{"NaN", good + "v nan 0 0\n", "data.not_finite"},
		{"infinite", good + "v 0 -inf 0\n", "data.not_finite"},
		{"more than float32 holds", good + "v 1e300 0 0\n", "data.not_finite"},
		{"more than float64 holds", good + "v 1e999 0 0\n", "data.not_finite"},
		{"polygon of 300 corners", good + "f" + strings.Repeat(" 1", 300) + "\n", "limits.polygon"},
		{"no face", "v 0 0 0\n", "mesh.empty"},
		{"empty", "", "mesh.empty"},
		{"binary", string([]byte{0, 1, 2, 3, 255, 254}), "mesh.empty"},
	} {
		s, issues := Load(MemSource{"a.obj": []byte(row.text)}, "a.obj", Limits{})
		require.Contains(t, codes(issues, false), row.want, row.name)
		checkSafe(t, s)
		s.Close()
	}
	_, issues := loadText(t, "a.obj", "mtllib paint.mtl\n"+good+"curv 0 1 1 2\nwobble 3\n")
	require.Empty(t, codes(issues, false))
	require.Equal(t, []string{"obj.curves", "obj.unknown_statement", "self_contained.missing"}, codes(issues, true))
	s, issues := Load(MemSource{"a.obj": []byte(good + good)}, "a.obj", Limits{Vertices: 5})
	require.Nil(t, s)
	require.Equal(t, []string{"limits.triangles"}, codes(issues, false))
}

// plyCube is two polygons of a cube in each of the format's three encodings.
func plyText(format string, body []byte) string {
	return "ply\nformat " + format + " 1.0\ncomment made by hand\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\nproperty float nx\nproperty float ny\nproperty float nz\n" +
		"property uchar red\nproperty double s\nproperty double t\nelement face 2\nproperty list uchar int vertex_indices\nproperty short flags\nend_header\n" + string(body)
}

func TestPLYEncodingsAgree(t *testing.T) {
	t.Parallel()
	pos := [][3]float32{{0, 0, 0}, {1, 0, 0}, {1, 1, 0.5}, {0, 1, 0.5}}
	uv := [][2]float64{{0, 0}, {1, 0}, {1, 1}, {0, 0.25}}
	faces := [][]int32{{0, 1, 2, 3}, {0, 2, 3}}
	var text bytes.Buffer
	for i, p := range pos {
		fmt.Fprintf(&text, "%g %g %g 0 0 1 200 %g %g\n", p[0], p[1], p[2], uv[i][0], uv[i][1])
	}
	text.WriteString("\n4 0 1 2 3 7\n3 0 2 3 -7\n")
	var scenes []*Scene
	for _, order := range []binary.ByteOrder{binary.LittleEndian, binary.BigEndian} {
		var b bytes.Buffer
		put := func(v any) { require.NoError(t, binary.Write(&b, order, v)) }
		for i, p := range pos {
			put(p)
			put([3]float32{0, 0, 1})
			put(uint8(200))
			put(uv[i])
		}
		for _, f := range faces {
			put(uint8(len(f)))
			put(f)
			put(int16(7))
		}
		format := map[binary.ByteOrder]string{binary.LittleEndian: "binary_little_endian", binary.BigEndian: "binary_big_endian"}[order]
		s, issues := loadText(t, "a.ply", plyText(format, b.Bytes()))
		require.Empty(t, issues)
		scenes = append(scenes, s)
		_, issues = loadText(t, "a.ply", plyText(format, b.Bytes()[:b.Len()-3]))
		require.Equal(t, []string{"ply.truncated"}, codes(issues, false))
	}
	s, issues := loadText(t, "a.ply", plyText("ascii", text.Bytes()))
	require.Empty(t, issues)
	require.Equal(t, []uint32{0, 1, 2, 0, 2, 3, 0, 2, 3}, s.Prims[0].Tri)
	require.Equal(t, []uint8{4, 3}, s.Prims[0].Polys)
	require.Equal(t, []float32{0, 0, 1}, s.Prims[0].Nrm[:3])
	require.Equal(t, []float32{0, 1, 1, 1, 1, 0, 0, 0.75}, s.Prims[0].UV[0])
	for _, other := range scenes {
		require.Equal(t, s.Prims, other.Prims)
	}
	checkSafe(t, s)
}

// Files of triangles alone take a path of their own, in parallel; it must give the same.
func TestPLYTrianglesAlone(t *testing.T) {
	t.Parallel()
	const n = 100_000
	var b bytes.Buffer
	fmt.Fprintf(&b, "ply\nformat binary_little_endian 1.0\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\nelement face %d\nproperty list uchar uint vertex_indices\nend_header\n", 3*n, n)
	for i := range 9 * n {
		b.Write(f32(nil, float32(i)))
	}
	last := 0
	for i := range n {
		b.WriteByte(3)
		last = b.Len() + 8
		for c := range 3 {
			b.Write(binary.LittleEndian.AppendUint32(nil, uint32(3*i+c)))
		}
	}
	s, issues := loadText(t, "a.ply", b.String())
	require.Empty(t, issues)
	require.Len(t, s.Prims[0].Tri, 3*n)
	require.Equal(t, uint32(3*n-1), s.Prims[0].Tri[3*n-1])
	require.Len(t, s.Prims[0].Polys, n)
	data := b.Bytes()
	binary.LittleEndian.PutUint32(data[last:], 3*n)
	s, issues = loadText(t, "a.ply", string(data))
	require.Equal(t, []string{"data.index_range"}, codes(issues, false))
	require.Len(t, s.Prims[0].Tri, 3*n-3)
}

func TestPLYFaults(t *testing.T) {
	t.Parallel()
	head := "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n"
	for _, row := range []struct{ name, text, want string }{
		{"no magic", "plx\n", "container.magic"},
		{"empty", "", "container.magic"},
		{"header without an end", "ply\nformat ascii 1.0\n", "ply.header"},
		{"header without an end, long", "ply\n" + strings.Repeat("comment a\n", 10_000), "ply.header"},
		{"unknown format", "ply\nformat binary_middle_endian 1.0\nend_header\n", "ply.header"},
		{"unknown type", "ply\nformat ascii 1.0\nelement vertex 3\nproperty quad x\nend_header\n", "ply.header"},
		{"property before elements", "ply\nformat ascii 1.0\nproperty float x\nend_header\n", "ply.header"},
		{"negative count", "ply\nformat ascii 1.0\nelement vertex -3\nend_header\n", "ply.header"},
		{"four billion vertices", strings.Replace(head, "vertex 3", "vertex 4000000000", 1) + "0 0 0\n", "ply.truncated"},
		{"four billion faces without properties", "ply\nformat ascii 1.0\nelement face 4000000000\nend_header\n", "ply.header"},
		{"no faces", "ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nend_header\n0\n", "mesh.empty"},
		{"no z", strings.Replace(head, "property float z\n", "", 1) + "0 0\n0 0\n0 0\n3 0 1 2\n", "ply.header"},
		{"cut off", head + "0 0 0\n1 0 0\n", "ply.truncated"},
		{"words", head + "0 0 0\n1 b 0\n0 1 0\n3 0 1 2\n", "ply.number"},
		{"NaN", head + "0 0 0\n1 nan 0\n0 1 0\n3 0 1 2\n", "data.not_finite"},
		{"index out of range", head + "0 0 0\n1 0 0\n0 1 0\n3 0 1 3\n", "data.index_range"},
		{"negative index", head + "0 0 0\n1 0 0\n0 1 0\n3 0 1 -1\n", "data.index_range"},
		{"list longer than its line", head + "0 0 0\n1 0 0\n0 1 0\n2000000000 0 1 2\n", "ply.number"},
		{"two corners", head + "0 0 0\n1 0 0\n0 1 0\n2 0 1\n", "ply.short_face"},
	} {
		s, issues := Load(MemSource{"a.ply": []byte(row.text)}, "a.ply", Limits{})
		require.Contains(t, codes(issues, false), row.want, row.name)
		checkSafe(t, s)
		s.Close()
	}
	s, issues := loadText(t, "a.ply", strings.Replace(head, "element face", "element tristrips", 1)+"0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n")
	require.Nil(t, s)
	require.True(t, issues[0].Undecoded)
}

// The fast path gives what the library gives.
func TestParseFloat(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]float64{"0": 0, "-0.5": -0.5, "+3.25": 3.25, ".5": 0.5, "7.": 7, "1e3": 1000, "1E-3": 0.001,
		"123456789.123456789": 123456789.123456789, "0.000000000000000000000000000000000012": 1.2e-35, "16777217": 16777217} {
		got, ok := parseFloat([]byte(text))
		require.True(t, ok, text)
		require.Equal(t, float32(want), got, text)
	}
	for _, text := range []string{"", "-", ".", "e5", "1e", "1.2.3", "0x1p3", "1_000", "--1", "1,5", "abc"} {
		_, ok := parseFloat([]byte(text))
		require.False(t, ok, text)
	}
	got, ok := parseFloat([]byte("nan"))
	require.True(t, ok)
	require.True(t, math.IsNaN(float64(got)))
}
