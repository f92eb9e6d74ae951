// Command ours measures this project's tree the way the peers measure theirs: the same works, the same files, the same
// lines of JSON.
//
//	ours HIGH.glb LOW.glb RAYS.f32 THREADS
package main

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"sort"
	"strconv"
	"syscall"
	"time"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spatial"
)

func main() {
	if len(os.Args) != 5 {
		fmt.Fprintf(os.Stderr, "usage: %s HIGH.glb LOW.glb RAYS.f32 THREADS\n", os.Args[0])
		os.Exit(2)
	}
	threads, err := strconv.Atoi(os.Args[4])
	fail(err)
	runtime.GOMAXPROCS(threads)
	loading := medianOf(runtime.GC, func() { load(os.Args[1]) })
	high, low := readGLB(os.Args[1]), readGLB(os.Args[2])
	rays, feet := readRays(os.Args[3])
	r := report{tris: len(high.tri) / 3, threads: threads}
	r.line("rss_after_load", timing{}, 0, map[string]any{"mib": peakMiB()})

	r.line("load", loading, len(high.pos)/3, nil)

	var sculpt *spatial.Tree
	s := medianOf(func() { sculpt = nil; runtime.GC() }, func() { sculpt = spatial.Build(high.pos, high.tri, threads) })
	r.line("build", s, r.tris, map[string]any{"bytes_per_triangle": float64(sculpt.Bytes()) / float64(sculpt.Triangles())})
	r.line("rss_after_build", timing{}, 0, map[string]any{"mib": peakMiB()})

	hits := make([]spatial.Hit, len(rays))
	s = medianOf(runtime.GC, func() { sculpt.Hits(rays, hits, threads) })
	r.rays("rays", s, hits)

	var game *spatial.Tree
	s = medianOf(runtime.GC, func() { game = spatial.Build(low.pos, low.tri, threads) })
	r.line("build_low", s, len(low.tri)/3, nil)
	r.distances("nearest_high_to_low", game, high.pos)
	r.distances("nearest_low_to_high", sculpt, feet)
	r.line("peak_rss", timing{}, 0, map[string]any{"mib": peakMiB()})
}

func fail(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// load reads a file as an inspection does, its format checked on the way.
func load(path string) {
	src, err := mesh.DirSource(filepath.Dir(path), []string{filepath.Base(path)})
	fail(err)
	defer src.Close()
	s, issues := mesh.Load(src, filepath.Base(path), mesh.Limits{})
	if s == nil {
		fail(fmt.Errorf("%v", issues))
	}
	fail(s.Close())
}

type arrays struct {
	pos []float32
	tri []uint32
}

// readGLB reads the one primitive of a file that gen wrote: float32 positions and uint32 indices.
func readGLB(path string) arrays {
	b, err := os.ReadFile(path)
	fail(err)
	n := binary.LittleEndian.Uint32(b[12:])
	var doc struct {
		Meshes []struct {
			Primitives []struct {
				Attributes map[string]int
				Indices    int
			}
		}
		Accessors   []struct{ BufferView, ByteOffset, Count int }
		BufferViews []struct{ ByteOffset int }
	}
	fail(json.Unmarshal(b[20:20+n], &doc))
	bin := b[20+n+8:]
	prim := doc.Meshes[0].Primitives[0]
	words := func(accessor, width int) []byte {
		a := doc.Accessors[accessor]
		at := a.ByteOffset + doc.BufferViews[a.BufferView].ByteOffset
		return bin[at : at+4*width*a.Count]
	}
	pos, tri := words(prim.Attributes["POSITION"], 3), words(prim.Indices, 1)
	m := arrays{make([]float32, len(pos)/4), make([]uint32, len(tri)/4)}
	for i := range m.pos {
		m.pos[i] = math.Float32frombits(binary.LittleEndian.Uint32(pos[4*i:]))
	}
	for i := range m.tri {
		m.tri[i] = binary.LittleEndian.Uint32(tri[4*i:])
	}
	return m
}

// lift is the distance in metres from a ray's origin to its foot on the low surface.
const lift = float32(0.010)

func readRays(path string) (rays []spatial.Ray, feet []float32) {
	b, err := os.ReadFile(path)
	fail(err)
	rays, feet = make([]spatial.Ray, len(b)/28), make([]float32, len(b)/28*3)
	f := func(i int) float32 { return math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:])) }
	for i := range rays {
		r := &rays[i]
		for k := range 3 {
			r.Org[k], r.Dir[k] = f(7*i+k), f(7*i+3+k)
			feet[3*i+k] = r.Org[k] + float32(lift*r.Dir[k])
		}
		r.Max = f(7*i + 6)
	}
	return rays, feet
}

// timing has wall-clock seconds, median and least, and the least processor time of all threads together.
type timing struct {
	seconds, best, cpu float64
	reps               int
}

// medianOf runs f up to three times, fewer once the runs together would pass half a minute, each after an untimed before.
func medianOf(before, f func()) timing {
	var t []float64
	total, leastCPU := 0.0, math.Inf(1)
	for len(t) < 3 && (len(t) == 0 || total+t[len(t)-1] < 30) {
		before()
		a, c := time.Now(), cpuSeconds()
		f()
		d := time.Since(a).Seconds()
		leastCPU = min(leastCPU, cpuSeconds()-c)
		t = append(t, d)
		total += d
	}
	sort.Float64s(t)
	return timing{t[(len(t)-1)/2], t[0], leastCPU, len(t)}
}

type report struct{ tris, threads int }

func (r report) line(work string, s timing, count int, figures map[string]any) {
	m := map[string]any{
		"peer": "ours", "tris": r.tris, "work": work, "threads": r.threads, "seconds": round(s.seconds), "best": round(s.best),
		"cpu": round(s.cpu), "reps": s.reps, "count": count,
	}
	for k, v := range figures {
		m[k] = v
	}
	b, err := json.Marshal(m)
	fail(err)
	fmt.Println(string(b))
}

func round(x float64) float64 { return math.Round(x*1e4) / 1e4 }

func (r report) rays(work string, s timing, hits []spatial.Hit) {
	t := make([]float32, len(hits))
	count, sum := 0, 0.0
	for i, h := range hits {
		t[i] = -1
		if h.Tri != spatial.Miss {
			t[i] = h.T
			count++
			sum += float64(h.T)
		}
	}
	r.line(work, s, len(hits), map[string]any{"hits": count, "sum_t": sum})
	dump(work, t)
}

func (r report) distances(work string, tree *spatial.Tree, points []float32) {
	out := make([]spatial.Near, len(points)/3)
	s := medianOf(runtime.GC, func() { tree.Closest(points, float32(math.Inf(1)), out, r.threads) })
	d := make([]float32, len(out))
	sum, top := 0.0, 0.0
	for i, n := range out {
		d[i] = n.Dist
		sum += float64(n.Dist)
		top = max(top, float64(n.Dist))
	}
	r.line(work, s, len(out), map[string]any{"max": top, "mean": sum / float64(len(out))})
	dump(work, d)
}

// dump writes per-query results as float32 to PREFIX-WORK.f32 where BENCH_DUMP=PREFIX is set.
func dump(work string, v []float32) {
	prefix := os.Getenv("BENCH_DUMP")
	if prefix == "" {
		return
	}
	b := make([]byte, 0, 4*len(v))
	for _, x := range v {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
	}
	fail(os.WriteFile(prefix+"-"+work+".f32", b, 0o644))
}

func usage() (u syscall.Rusage) {
	fail(syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return u
}

func peakMiB() float64 { return float64(usage().Maxrss) / 1024 }

func cpuSeconds() float64 {
	u := usage()
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}
