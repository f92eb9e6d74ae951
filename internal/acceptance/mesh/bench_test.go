package mesh

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"proofhouse/internal/acceptance/mesh/glbwrite"
)

// sculpt is a bumpy closed grid of about n triangles: positions, normals and UVs as a sculpt has them.
func sculpt(n int) glbwrite.Prim {
	side := 1
	for 2*side*side < n {
		side++
	}
	var p glbwrite.Prim
	for y := range side + 1 {
		for x := range side + 1 {
			bump := float32((x*7919+y*104729)%1000) * 1e-6
			p.Pos = append(p.Pos, float32(x)/float32(side), float32(y)/float32(side), bump)
			p.Nrm = append(p.Nrm, 0, 0, 1)
			p.UV = append(p.UV, float32(x)/float32(side), 1-float32(y)/float32(side))
		}
	}
	for y := range side {
		for x := range side {
			a := uint32(y*(side+1) + x)
			b := a + uint32(side+1)
			p.Tri = append(p.Tri, a, a+1, b+1, a, b+1, b)
		}
	}
	return p
}

func benchLoad(b *testing.B, name string, data []byte, triangles int) {
	b.Helper()
	dir := b.TempDir()
	if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
		b.Fatal(err)
	}
	src, err := DirSource(dir, []string{name})
	if err != nil {
		b.Fatal(err)
	}
	defer src.Close()
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		s, issues := Load(src, name, Limits{})
		if len(issues) > 0 || len(s.Prims[0].Tri) != 3*triangles {
			b.Fatalf("%d triangles, %v", len(s.Prims[0].Tri)/3, issues)
		}
		s.Close()
	}
	b.ReportMetric(float64(len(data))/float64(triangles), "file-B/tri")
}

func BenchmarkLoadGLB(b *testing.B) {
	for _, n := range []int{12_000, 1_000_000, 4_000_000} {
		p := sculpt(n)
		data, err := glbwrite.Bytes(glbwrite.Single("sculpt", p))
		if err != nil {
			b.Fatal(err)
		}
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchLoad(b, "a.glb", data, len(p.Tri)/3) })
	}
}

func BenchmarkLoadOBJ(b *testing.B) {
	p := sculpt(1_000_000)
	var plain, full bytes.Buffer
	for i := 0; i < len(p.Pos); i += 3 {
		fmt.Fprintf(&plain, "v %.6f %.6f %.6f\n", p.Pos[i], p.Pos[i+1], p.Pos[i+2])
		fmt.Fprintf(&full, "v %.6f %.6f %.6f\nvt %.5f %.5f\n", p.Pos[i], p.Pos[i+1], p.Pos[i+2], p.UV[i/3*2], p.UV[i/3*2+1])
	}
	full.WriteString("vn 0 0 1\n")
	for i := 0; i < len(p.Tri); i += 3 {
		x, y, z := p.Tri[i]+1, p.Tri[i+1]+1, p.Tri[i+2]+1
		fmt.Fprintf(&plain, "f %d %d %d\n", x, y, z)
		fmt.Fprintf(&full, "f %d/%d/1 %d/%d/1 %d/%d/1\n", x, x, y, y, z, z)
	}
	b.Run("positions", func(b *testing.B) { benchLoad(b, "a.obj", plain.Bytes(), len(p.Tri)/3) })
	b.Run("unified", func(b *testing.B) { benchLoad(b, "a.obj", full.Bytes(), len(p.Tri)/3) })
}

func BenchmarkLoadPLY(b *testing.B) {
	p := sculpt(1_000_000)
	head := func(format string) string {
		return fmt.Sprintf("ply\nformat %s 1.0\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\nelement face %d\nproperty list uchar int vertex_indices\nend_header\n", format, len(p.Pos)/3, len(p.Tri)/3)
	}
	text, bin := bytes.NewBufferString(head("ascii")), bytes.NewBufferString(head("binary_little_endian"))
	for i := 0; i < len(p.Pos); i += 3 {
		fmt.Fprintf(text, "%.6f %.6f %.6f\n", p.Pos[i], p.Pos[i+1], p.Pos[i+2])
	}
	bin.Write(f32(nil, p.Pos...))
	for i := 0; i < len(p.Tri); i += 3 {
		fmt.Fprintf(text, "3 %d %d %d\n", p.Tri[i], p.Tri[i+1], p.Tri[i+2])
		bin.WriteByte(3)
		for _, v := range p.Tri[i : i+3] {
			bin.Write([]byte{byte(v), byte(v >> 8), byte(v >> 16), byte(v >> 24)})
		}
	}
	b.Run("ascii", func(b *testing.B) { benchLoad(b, "a.ply", text.Bytes(), len(p.Tri)/3) })
	b.Run("binary", func(b *testing.B) { benchLoad(b, "a.ply", bin.Bytes(), len(p.Tri)/3) })
}

func BenchmarkFlatten(b *testing.B) {
	p := sculpt(1_000_000)
	data, err := glbwrite.Bytes(glbwrite.Scene{Roots: []*glbwrite.Node{{Name: "sculpt", Scale: [3]float64{-2, 1, 1}, Mesh: &glbwrite.Mesh{Prims: []glbwrite.Prim{p}}}}})
	if err != nil {
		b.Fatal(err)
	}
	s, _ := Load(MemSource{"a.glb": data}, "a.glb", Limits{})
	b.ReportAllocs()
	for b.Loop() {
		if f := Flatten(s, s.Draws); len(f.Tri) != len(p.Tri) {
			b.Fatal("lost triangles")
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(p.Tri)/3), "ns/tri")
}
