package bake

import (
	"context"
	"runtime"
	"testing"
)

// A million texels onto a sculpt of four million triangles.
func BenchmarkProject(b *testing.B) {
	sculpt := drum(1414, bumps{0.008, 0.05})
	g := drum(77, bumps{0, 1}).game(0.05, 0.05)
	s := NewSculpt(sculpt.pos, sculpt.nrm, sculpt.tri, 0)
	grid := NewGrid(1024, 1024, 1024)
	b.ReportAllocs()
	for b.Loop() {
		m, err := Project(context.Background(), g, []*Sculpt{s}, grid, Options{})
		if err != nil || !m.Served(0) {
			b.Fatal("not served", err)
		}
	}
	texels := float64(grid.W * grid.H)
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/texels, "ns/texel")
	b.ReportMetric(BytesPerTexel, "B/texel")
}

func BenchmarkCompare(b *testing.B) {
	sculpt := drum(300, bumps{0.008, 0.05})
	g := drum(40, bumps{0, 1}).game(0.05, 0.05)
	s := NewSculpt(sculpt.pos, sculpt.nrm, sculpt.tri, 0)
	m := baked(b, g, s, NewGrid(1024, 1024, 1024))
	d := asDelivered(m).changed(func(_, _ int, v vec) vec { return vec{v[0], -v[1], v[2]} })
	b.ReportAllocs()
	for b.Loop() {
		r, err := Compare(context.Background(), g, m, d, 0, Also{Sculpts: []*Sculpt{s}}, 0)
		if err != nil || r.Fits[r.Best].Fit != GreenFlipped {
			b.Fatal("not found", err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(1024*1024), "ns/texel")
}

// A whole 4096² audit of a set: baking anew and comparing, with what the process held at most.
func BenchmarkAudit4096(b *testing.B) {
	sculpt := drum(1414, bumps{0.008, 0.05})
	g := drum(77, bumps{0, 1}).game(0.05, 0.05)
	s := NewSculpt(sculpt.pos, sculpt.nrm, sculpt.tri, 0)
	const px = 4096
	d := &Delivered{W: px, H: px, Channels: 3, X: 0, Y: 1, Z: 2, Pix16: make([]uint16, 3*px*px)}
	for i := 2; i < len(d.Pix16); i += 3 {
		d.Pix16[i-2], d.Pix16[i-1], d.Pix16[i] = 32768, 32768, 65535
	}
	var most uint64
	for b.Loop() {
		m, err := Project(context.Background(), g, []*Sculpt{s}, NewGrid(px, px, px), Options{})
		if err != nil || !m.Served(0) {
			b.Fatal("not served", err)
		}
		if _, err := Compare(context.Background(), g, m, d, 0, Also{Sculpts: []*Sculpt{s}}, 0); err != nil {
			b.Fatal(err)
		}
		var mem runtime.MemStats
		runtime.ReadMemStats(&mem)
		most = max(most, mem.HeapSys)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(px*px), "ns/texel")
	b.ReportMetric(float64(most)/(1<<20), "MiB-heap")
}
