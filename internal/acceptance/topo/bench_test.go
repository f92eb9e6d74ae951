package topo

import (
	"context"
	"math"
	"testing"

	"proofhouse/internal/acceptance/spatial"
)

// ball is a sphere of about n triangles, its vertices split along one seam as UVs do.
func ball(n int) Input {
	rings := int(math.Sqrt(float64(n) / 4))
	around := 2 * rings
	var in Input
	for r := range rings + 1 {
		for a := range around + 1 {
			polar, turn := math.Pi*float64(r)/float64(rings), 2*math.Pi*float64(a%around)/float64(around)
			rad := math.Sin(polar)
			if r == 0 || r == rings {
				rad, turn = 0, 0
			}
			in.Pos = append(in.Pos, float32(rad*math.Cos(turn)), float32(math.Cos(polar)), float32(rad*math.Sin(turn)))
		}
	}
	for r := range rings {
		for a := range around {
			p := uint32(r*(around+1) + a)
			q := p + uint32(around+1)
			if r > 0 {
				in.Tri = append(in.Tri, p, p+1, q)
			}
			if r < rings-1 {
				in.Tri = append(in.Tri, p+1, q+1, q)
			}
		}
	}
	return in
}

func BenchmarkNew(b *testing.B) {
	for _, size := range []struct {
		name string
		n    int
	}{{"12k", 12_000}, {"500k", 500_000}} {
		b.Run(size.name, func(b *testing.B) {
			in := ball(size.n)
			b.ReportAllocs()
			for b.Loop() {
				s, err := New(context.Background(), in)
				if err != nil || len(s.Shells) != 1 || s.Edges.Open != 0 {
					b.Fatal("a ball is one closed shell")
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(in.Tri)/3), "ns/triangle")
		})
	}
}

func BenchmarkCrossings(b *testing.B) {
	for _, size := range []struct {
		name string
		n    int
	}{{"12k", 12_000}, {"500k", 500_000}} {
		b.Run(size.name, func(b *testing.B) {
			in := ball(size.n)
			s, err := New(context.Background(), in)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				tree := spatial.Build(s.Pos, s.Tri, 1)
				found, err := s.Crossings(context.Background(), tree.Overlap(tree, 0, 1))
				if err != nil || len(found) != 0 {
					b.Fatal("a ball does not cross itself")
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(in.Tri)/3), "ns/triangle")
		})
	}
}
