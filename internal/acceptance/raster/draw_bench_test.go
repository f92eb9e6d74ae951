package raster

import (
	"runtime"
	"testing"
)

// BenchmarkDraw measures projecting and drawing a closed surface that fills most of a 1024² buffer: half of its
// triangles face away and are refused by the sign of their area, most of the others lie between the samples.
func BenchmarkDraw(b *testing.B) {
	for _, bm := range []struct {
		name            string
		rings, segments int
		offsets         []Offset
	}{
		{"tris=12k/samples=1", 78, 78, One},
		{"tris=12k/samples=4", 78, 78, Four},
		{"tris=1M/samples=1", 708, 708, One},
		{"tris=4M/samples=1", 1415, 1415, One},
	} {
		pos, tri := ball(1, bm.rings, bm.segments)
		for _, threads := range []int{1, runtime.GOMAXPROCS(0)} {
			b.Run(bm.name+"/threads="+string(rune('0'+threads)), func(b *testing.B) {
				v := Towards(Vec{}, Vec{0.4, 0.3, 1}, 1024, 1024)
				v.FitPerspective(pos, 0.2, Frame{20, 20, 1004, 1004})
				buf := NewBuffer(1024, 1024, bm.offsets)
				var s Screen
				s.Project(&v, pos, threads)
				b.ReportAllocs()
				for b.Loop() {
					buf.Reset(1024, 1024, bm.offsets)
					s.Project(&v, pos, threads)
					buf.Draw(Job{Screen: &s, Tri: tri}, threads)
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(tri)/3), "ns/triangle")
			})
		}
	}
}
