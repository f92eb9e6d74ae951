package surface

import (
	"context"
	"sync"
	"testing"
)

// benchMeshes keeps what was made: a game mesh of 12,000 triangles and sculpts of the sizes asked for.
var benchMeshes = struct {
	sync.Mutex
	made map[int]Mesh
}{made: map[int]Mesh{}}

func benchPost(triangles int, detail float64) Mesh {
	benchMeshes.Lock()
	defer benchMeshes.Unlock()
	if m, ok := benchMeshes.made[triangles]; ok {
		return m
	}
	m := post(triangles, detail)
	benchMeshes.made[triangles] = m
	return m
}

func benchPair(sculpt int) *Pair {
	return NewPair(benchPost(12_000, 0), benchPost(sculpt, 0.004), Options{})
}

func each4M(b *testing.B, work func(p *Pair)) {
	benchPair(4_000_000)
	b.ReportAllocs()
	for b.Loop() {
		p := benchPair(4_000_000)
		work(p)
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func BenchmarkTree4M(b *testing.B) { each4M(b, func(p *Pair) { p.sculptTree() }) }

func BenchmarkHeights4M(b *testing.B) {
	each4M(b, func(p *Pair) { must(p.Heights(context.Background())) })
}

func BenchmarkOutside4M(b *testing.B) {
	p := benchPair(4_000_000)
	must(p.Heights(context.Background()))
	level := 0.0
	for b.Loop() {
		level += 1e-9
		must(p.Outside(context.Background(), 3, level))
	}
}

func BenchmarkDeviation4M(b *testing.B) {
	p := benchPair(4_000_000)
	must(p.Heights(context.Background()))
	p.sculptTree()
	for b.Loop() {
		must(p.measureDeviation(context.Background()))
	}
}

func BenchmarkReach4M(b *testing.B) {
	p := benchPair(4_000_000)
	p.sculptTree()
	for b.Loop() {
		must(p.Reach(context.Background(), Cage{Kind: CageAveraged, FrontMM: 15, BackMM: 15}))
	}
}

func BenchmarkSilhouette4M(b *testing.B) {
	for b.Loop() {
		p := benchPair(4_000_000)
		must(p.Silhouette(context.Background(), [3]float64{0, 1, 0}, 8))
	}
}

func BenchmarkSkin12k(b *testing.B) {
	m := benchPost(12_000, 0)
	b.ReportAllocs()
	for b.Loop() {
		newSkin(m.Pos, m.Tri)
	}
}

func BenchmarkCrossings12k(b *testing.B) {
	m := benchPost(12_000, 0)
	b.ReportAllocs()
	for b.Loop() {
		must(Crossings(context.Background(), m, 0))
	}
}

func BenchmarkHeat4M(b *testing.B) {
	p := benchPair(4_000_000)
	p.sculptTree()
	for b.Loop() {
		must(p.measureHeat(context.Background()))
	}
}

func BenchmarkCageMesh4M(b *testing.B) {
	p := benchPair(4_000_000)
	cage := moved(benchPost(12_000, 0), func(q vec) vec { return scale(q, 1.02) })
	p.sculptTree()
	for b.Loop() {
		must(p.FitCage(context.Background(), cage))
	}
}
