package surface

import (
	"runtime"
	"sync"
	"syscall"
	"testing"
	"time"
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

// perTriangle runs work as often as the benchmark asks and reports what a triangle costs: by the clock, in processor time
// of all threads together (which other programs on the machine disturb less), and in bytes allocated.
func perTriangle(b *testing.B, triangles int, work func()) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	cpu := processorTime()
	for b.Loop() {
		work()
	}
	all := float64(b.N) * float64(triangles)
	b.ReportMetric(float64((processorTime()-cpu).Nanoseconds())/all, "cpu-ns/triangle")
	runtime.ReadMemStats(&after)
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/all, "ns/triangle")
	b.ReportMetric(float64(after.TotalAlloc-before.TotalAlloc)/all, "B/triangle")
}

func processorTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func BenchmarkTree4M(b *testing.B) {
	p := benchPair(4_000_000)
	perTriangle(b, 4_000_000, func() { p.dropTree(); p.sculptTree() })
	b.ReportMetric(float64(p.sculptTree().Bytes())/4e6, "tree-B/triangle")
}

func BenchmarkHeights4M(b *testing.B) {
	p := benchPair(4_000_000)
	p.ready()
	p.sculptTree()
	perTriangle(b, 4_000_000, func() { must(p.measureHeights(b.Context())) })
}

func BenchmarkOutside4M(b *testing.B) {
	p := benchPair(4_000_000)
	h := must(p.Heights(b.Context()))
	perTriangle(b, 4_000_000, func() { must(p.measureOutside(b.Context(), h, 0.003, 0.001)) })
}

func BenchmarkDeviation4M(b *testing.B) {
	p := benchPair(4_000_000)
	must(p.Heights(b.Context()))
	p.sculptTree()
	must(p.Heat(b.Context()))
	perTriangle(b, 4_000_000, func() { must(p.measureDeviation(b.Context())) })
}

func BenchmarkReach4M(b *testing.B) {
	p := benchPair(4_000_000)
	p.sculptTree()
	perTriangle(b, 4_000_000, func() { must(p.Reach(b.Context(), Cage{Kind: CageAveraged, FrontMM: 15, BackMM: 15})) })
}

func BenchmarkSilhouette4M(b *testing.B) {
	p := benchPair(4_000_000)
	p.ready()
	perTriangle(b, 4_000_000, func() { must(p.measureSilhouette(b.Context(), vec{0, 1, 0}, 8)) })
}

func BenchmarkHeat4M(b *testing.B) {
	p := benchPair(4_000_000)
	p.ready()
	p.sculptTree()
	perTriangle(b, 12_000, func() { must(p.measureHeat(b.Context())) })
}

func BenchmarkCageMesh4M(b *testing.B) {
	p := benchPair(4_000_000)
	cage := moved(benchPost(12_000, 0), func(q vec) vec { return scale(q, 1.02) })
	must(p.Heights(b.Context()))
	perTriangle(b, 4_000_000, func() { must(p.FitCage(b.Context(), cage)) })
}

func BenchmarkSkin12k(b *testing.B) {
	m := benchPost(12_000, 0)
	perTriangle(b, 12_000, func() { newSkin(m.Pos, m.Tri) })
}

func BenchmarkCrossings12k(b *testing.B) {
	m := benchPost(12_000, 0)
	perTriangle(b, 12_000, func() { must(Crossings(b.Context(), m, 0)) })
}
