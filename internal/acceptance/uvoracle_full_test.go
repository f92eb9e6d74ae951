//go:build full

package acceptance

import (
	"context"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/chart"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/oracle"
)

// clipUnit is how many whole numbers a tile is cut into for the other library, which rounds crossings to them.
const clipUnit = 1 << 30

// theirAreas asks clipper2-wasm 0.4.0 for the areas under at least one and at least two triangles.
func theirAreas(p *oracle.Process, tri []chart.Triangle) (covered, twice float64) {
	in := make([][6]float64, len(tri))
	for i, t := range tri {
		for k := range 3 {
			in[i][2*k], in[i][2*k+1] = math.Round(t.At[k][0]*clipUnit), math.Round(t.At[k][1]*clipUnit)
		}
	}
	var out struct{ Covered, Twice float64 }
	p.Ask(map[string]any{"triangles": in}, &out)
	return out.Covered / clipUnit / clipUnit, out.Twice / clipUnit / clipUnit
}

// Overlap on random layouts agrees with clipper2-wasm, which works in whole numbers by another method: a sweep over edges.
func TestOverlapAgreesWithClipper(t *testing.T) {
	p := oracle.Start(t, "overlap.mjs")
	rng := rand.New(rand.NewPCG(21, 21))
	for range 60 {
		n, size := 2+rng.IntN(150), 0.02+0.6*rng.Float64()
		tri := make([]chart.Triangle, n)
		for i := range tri {
			c := [2]float64{rng.Float64(), rng.Float64()}
			for k := range 3 {
				for a := range 2 { // on a grid that both hold exactly
					tri[i].At[k][a] = math.Round((c[a]+size*(rng.Float64()-0.5))*(1<<20)) / (1 << 20)
				}
			}
			tri[i].ID, tri[i].Chart = int32(i), int32(i)
		}
		covered, twice := theirAreas(p, tri)
		got, err := chart.Overlap(context.Background(), tri)
		require.NoError(t, err)
		// They round each crossing by up to 2⁻³⁰ of a tile; there are fewer than n² of them, each moving an edge shorter than 1.
		tolerance := float64(n*n) / clipUnit
		require.InDelta(t, covered, got.Covered, tolerance)
		require.InDelta(t, twice, got.Partial, tolerance)
	}
}

// On 34 real props (npm @webxr-input-profiles/assets 1.0.20) every UV check gives an answer that makes sense, and what is
// covered and covered twice agrees with clipper2-wasm.
func TestUVOfRealProps(t *testing.T) {
	p := oracle.Start(t, "overlap.mjs")
	sp := specOf(t, spec.Hero, "")
	seen := 0
	for _, path := range genericProps(t) {
		b := &propBuild{loadProp(t, path)}
		s := b.subject(t, sp)
		for _, set := range s.Sets {
			l := set.layout()
			if l == nil {
				continue
			}
			var tri []chart.Triangle
			for i, k := range l.charts.Island {
				q := chart.Triangle{ID: int32(i), Chart: int32(i)}
				for c := range 3 {
					q.At[c] = l.folded(&l.islands[k], l.sf.Tri[3*i+c])
				}
				tri = append(tri, q)
			}
			covered, twice := theirAreas(p, tri)
			got, err := chart.Overlap(context.Background(), tri)
			require.NoError(t, err)
			require.False(t, got.Cut, path)
			// They round every corner to 2⁻³⁰ of a tile: neighbours then overlap or gape by that along their edges.
			tolerance := 0.0
			for _, q := range tri {
				for k := range 3 {
					a, b := q.At[k], q.At[(k+1)%3]
					tolerance += math.Abs(a[0]-b[0]) + math.Abs(a[1]-b[1])
				}
			}
			tolerance = tolerance*2/clipUnit + 1e-9
			require.InDelta(t, covered, got.Covered, tolerance, "%s %s", path, set.Name)
			require.InDelta(t, twice, got.Partial, tolerance, "%s %s", path, set.Name)
			seen++
		}
		for _, c := range uvChecks() {
			for _, f := range runCheck(t, s, c.Def.Name) {
				for name, v := range f.Metrics {
					require.GreaterOrEqual(t, v, 0.0, "%s %s %s", path, f.Check, name)
					if strings.HasSuffix(name, "share") {
						require.LessOrEqual(t, v, 1.0, "%s %s %s", path, f.Check, name)
					}
				}
			}
		}
	}
	require.Greater(t, seen, 30)
}

// The UV fill that an independent count of texels gave for two of them, at 1024 px over all their materials together.
func TestFillOfRealProps(t *testing.T) {
	for name, want := range map[string]float64{"generic-trigger-squeeze-thumbstick/left.glb": 0.60, "generic-button/none.glb": 0.56, "generic-fixed-hand/left.glb": 0.37} {
		path := filepath.Join(oracle.Modules(t), "@webxr-input-profiles", "assets", "dist", "profiles", filepath.FromSlash(name))
		b := &propBuild{loadProp(t, path)}
		s := b.subject(t, specOf(t, spec.Hero, ""))
		var draws []mesh.Draw
		draws = append(draws, b.scene.Draws...)
		all := &Set{Game: mesh.Flatten(b.scene, draws), WidthPx: 1024, HeightPx: 1024, Def: spec.Set{Kind: spec.Baked, Stack: "any"}}
		s.Sets = []*Set{all}
		f := run1(t, s, "uv.coverage")
		require.InDelta(t, want, f.Metrics["share"], 0.012, "%s: counted to a whole per cent, by texels", name)
		f = run1(t, s, "uv.overlap")
		require.InDelta(t, 0, f.Metrics["partial_share"], 0.002, name)
	}
}

// Layouts made by watlas 1.0.1 do not overlap, and their gaps are what it was asked for.
func TestLayoutsOfAnUnwrapperAreClean(t *testing.T) {
	p := oracle.Start(t, "unwrap.mjs")
	sp := specOf(t, spec.Hero, "")
	done := 0
	for _, path := range genericProps(t) {
		b := &propBuild{loadProp(t, path)}
		sf := mesh.Flatten(b.scene, b.scene.Draws)
		if sf.Triangles() > 4000 {
			continue
		}
		padding := 2 + done%5
		var out struct {
			Width, Height, Charts, Atlases int
			UV                             []float32
			XRef, Indices                  []uint32
		}
		p.Ask(map[string]any{"positions": sf.Pos, "indices": sf.Tri, "padding": padding, "resolution": 1024}, &out)
		if out.Atlases != 1 {
			continue
		}
		l := layout{uv: out.UV, tri: out.Indices}
		for _, v := range out.XRef {
			l.pos = append(l.pos, sf.Pos[3*v:3*v+3]...)
		}
		set := setOf(l, out.Width, out.Height)
		s := &Subject{Spec: sp, Threads: 1}
		run := func(name string) Finding {
			for _, c := range uvChecks() {
				if c.Def.Name == name {
					return c.Run(context.Background(), s, Target{Set: set}, sp.Rule(name, nil, &set.Def))
				}
			}
			panic(name)
		}
		f := run("uv.overlap")
		require.Less(t, f.Metrics["partial_share"], 1e-5, path)
		require.Zero(t, f.Metrics["stacked_share"], path)
		f = run("uv.padding")
		// It grows every chart by the padding on all sides and packs whole texels: twice the padding, and up to the next texels.
		require.GreaterOrEqual(t, f.Metrics["island_px"], 2*float64(padding), "%s: %s", path, f.Sentence)
		require.LessOrEqual(t, f.Metrics["island_px"], 2*float64(padding)+4, "packed, not scattered: %s", path)
		t.Logf("%s: %d charts, padding asked %d, measured %.2f, overlap %.2g", filepath.Base(filepath.Dir(path)), out.Charts, padding, f.Metrics["island_px"], f.Metrics["partial_share"])
		if done++; done == 12 {
			break
		}
	}
	require.Equal(t, 12, done)
}
