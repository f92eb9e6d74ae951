package spatial

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync/atomic"
	"testing"
)

// wave is a closed-looking, unevenly tessellated surface of about n triangles: a bumpy sphere of radius one metre.
func wave(n int) (pos []float32, tri []uint32) {
	rng := rand.New(rand.NewPCG(5, 6))
	rows := int(math.Sqrt(float64(n) / 4))
	cols := 2 * rows
	for i := range rows + 1 {
		for j := range cols {
			th := math.Pi * (float64(i) + 0.3*(rng.Float64()-0.5)) / float64(rows)
			ph := 2 * math.Pi * (float64(j) + 0.3*(rng.Float64()-0.5)) / float64(cols)
			r := 1 + 0.02*math.Sin(17*th)*math.Cos(23*ph) + 0.002*math.Sin(171*th)*math.Cos(231*ph)
			pos = append(pos, float32(r*math.Sin(th)*math.Cos(ph)), float32(r*math.Cos(th)), float32(r*math.Sin(th)*math.Sin(ph)))
		}
	}
	at := func(i, j int) uint32 { return uint32(i*cols + j%cols) }
	for i := range rows {
		for j := range cols {
			tri = append(tri, at(i, j), at(i, j+1), at(i+1, j), at(i+1, j), at(i, j+1), at(i+1, j+1))
		}
	}
	return pos, tri
}

func benchBuild(b *testing.B, n int) {
	pos, tri := wave(n)
	var t *Tree
	for b.Loop() {
		t = Build(pos, tri, 0)
	}
	count := float64(len(tri) / 3)
	b.ReportMetric(float64(t.Bytes())/count, "B/tri")
	b.ReportMetric(count*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}

func BenchmarkBuild(b *testing.B) {
	b.Run("12k", func(b *testing.B) { benchBuild(b, 12_000) })
	b.Run("1M", func(b *testing.B) { benchBuild(b, 1_000_000) })
	b.Run("4M", func(b *testing.B) { benchBuild(b, 4_000_000) })
}

func BenchmarkClosest(b *testing.B) {
	for _, far := range []float64{0.002, 0.05} {
		b.Run(fmt.Sprintf("1M_from_%gmm", far*1000), func(b *testing.B) {
			pos, tri := wave(1_000_000)
			t := Build(pos, tri, 0)
			points := shell(1<<18, 1+far, rand.New(rand.NewPCG(1, 1)))
			out := make([]Near, len(points)/3)
			for b.Loop() {
				t.Closest(points, inf32, out, 0)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(out)), "ns/query")
		})
	}
}

func BenchmarkHits(b *testing.B) {
	pos, tri := wave(1_000_000)
	t := Build(pos, tri, 0)
	points := shell(1<<18, 1.05, rand.New(rand.NewPCG(1, 1)))
	rays := make([]Ray, len(points)/3)
	for i := range rays {
		p := [3]float32(points[3*i : 3*i+3])
		rays[i] = Ray{Org: p, Dir: [3]float32{-p[0], -p[1], -p[2]}, Max: 0.1}
	}
	out := make([]Hit, len(rays))
	for b.Loop() {
		t.Hits(rays, out, 0)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(out)), "ns/ray")
}

// shell is n random points at the given distance from the origin.
func shell(n int, r float64, rng *rand.Rand) []float32 {
	var p []float32
	for range n {
		x, y, z := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		s := r / math.Sqrt(x*x+y*y+z*z)
		p = append(p, float32(x*s), float32(y*s), float32(z*s))
	}
	return p
}

func BenchmarkAllHits(b *testing.B) {
	pos, tri := wave(1_000_000)
	t := Build(pos, tri, 0)
	points := shell(1<<16, 1.05, rand.New(rand.NewPCG(1, 1)))
	rays := make([]Ray, len(points)/3)
	for i := range rays {
		p := [3]float32(points[3*i : 3*i+3])
		rays[i] = Ray{Org: p, Dir: [3]float32{-p[0], -p[1], -p[2]}, Max: 3}
	}
	var met atomic.Int64
	for b.Loop() {
		met.Store(0)
		t.AllHits(rays, 0, func(_ int, h []Hit) { met.Add(int64(len(h))) })
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(rays)), "ns/ray")
	b.ReportMetric(float64(met.Load())/float64(len(rays)), "hits/ray")
}

// BenchmarkFarther asks which of half a million vertices, within 22 mm of the sphere, lie farther than a limit.
func BenchmarkFarther(b *testing.B) {
	game := buildOf(ball(1, 70, 86))
	pos, tri := wave(1_000_000)
	sculpt := Build(pos, tri, 0)
	for _, limit := range []float32{0.005, 0.015, 0.03, 0.06} {
		b.Run(fmt.Sprintf("%gmm", limit*1000), func(b *testing.B) {
			var found []uint32
			for b.Loop() {
				found = game.Farther(sculpt, limit, nil, 0)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(pos)/3), "ns/vertex")
			b.ReportMetric(float64(len(found)), "beyond")
		})
	}
	b.Run("every_vertex_asked", func(b *testing.B) {
		out := make([]Near, len(pos)/3)
		for b.Loop() {
			game.Closest(pos, inf32, out, 0)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(out)), "ns/vertex")
	})
}

func BenchmarkNormals(b *testing.B) {
	pos, tri := wave(1_000_000)
	t := Build(pos, tri, 0)
	for b.Loop() {
		NewNormals(t)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(tri)/3), "ns/tri")
}

func BenchmarkWeld(b *testing.B) {
	pos, _ := wave(1_000_000)
	for _, tolerance := range []float32{0, 1e-5} {
		b.Run(fmt.Sprintf("%gm", tolerance), func(b *testing.B) {
			for b.Loop() {
				Weld(pos, tolerance)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(pos)/3), "ns/vertex")
		})
	}
}

func BenchmarkOverlap(b *testing.B) {
	pos, tri := wave(100_000)
	t := Build(pos, tri, 0)
	var pairs [][2]int32
	for b.Loop() {
		pairs = t.Overlap(t, 0, 0)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(tri)/3), "ns/tri")
	b.ReportMetric(float64(len(pairs))/float64(len(tri)/3), "pairs/tri")
}
