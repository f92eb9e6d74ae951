package acceptance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// Defects just inside and just outside each limit, at a random place, size and numbering: all found, none invented.

// grid cuts a rectangle of a layout into n by n quads, each a metre times cell wide, in an order of its own.
func grid(rng *rand.Rand, material, n int, metres float64, u0, v0, u1, v1 float64) mesh.Primitive {
	l := layout{}
	for y := range n + 1 {
		for x := range n + 1 {
			s, t := float64(x)/float64(n), float64(y)/float64(n)
			l.pos = append(l.pos, float32(s*metres), float32(t*metres), 0)
			l.uv = append(l.uv, float32(u0+s*(u1-u0)), float32(v1+t*(v0-v1)))
		}
	}
	row := uint32(n + 1)
	for y := range uint32(n) {
		for x := range uint32(n) {
			a := y*row + x
			l.tri = append(l.tri, a, a+1, a+row+1, a, a+row+1, a+row)
		}
	}
	l = renumbered(l, rng)
	p := mesh.Primitive{Material: material, Mode: 4, Pos: l.pos, UV: [][]float32{l.uv}, Tri: l.tri}
	for range len(l.pos) / 3 {
		p.Nrm = append(p.Nrm, 0, 0, 1)
	}
	return p
}

// plantedUV is two sheets in one layout.
func plantedUV(t *rapid.T, sp *spec.Spec, px int, a, b [4]float64) *Subject {
	rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	pb := newProp("crate_a.glb")
	m := pb.material("wood", px)
	pb.node("one", identity16, grid(rng, m, 1+rng.IntN(6), 1, a[0], a[1], a[2], a[3]))
	pb.node("two", moved(3, 0, 0), grid(rng, m, 1+rng.IntN(6), 1, b[0], b[1], b[2], b[3]))
	return pb.subject(t, sp)
}

func TestOverlapPlanted(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.Hero, "")
	rapid.Check(t, func(t *rapid.T) {
		// Two rectangles of the same height that reach into each other by a strip whose share of all they cover is known.
		w, h := rapid.Float64Range(0.1, 0.4).Draw(t, "w"), rapid.Float64Range(0.1, 0.9).Draw(t, "h")
		v := rapid.Float64Range(0.01, 0.95-h).Draw(t, "v")
		share := rapid.OneOf(rapid.Float64Range(0.00001, 0.00019), rapid.Float64Range(0.00021, 0.5)).Draw(t, "share")
		x := share * 2 * w / (1 + share) // x / (2w - x) = share
		tile := float64(rapid.IntRange(-2, 2).Draw(t, "tile"))
		s := plantedUV(t, sp, 1024, [4]float64{0.01, v, 0.01 + w, v + h}, [4]float64{tile + 0.01 + w - x, v, tile + 0.01 + 2*w - x, v + h})
		f := run1(t, s, "uv.overlap")
		// UVs are stored to 2⁻²⁴ of themselves, up to 3 tiles away: a strip's width is known to 2⁻²¹.
		require.InDelta(t, share, f.Metrics["partial_share"], math.Pow(2, -20)/w)
		if math.Abs(share-0.0002) > math.Pow(2, -20)/w {
			require.Equal(t, share > 0.0002, f.Outcome == Fail, f.Sentence)
		}
	})
}

func TestPaddingPlanted(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.Hero, "")
	rapid.Check(t, func(t *rapid.T) {
		px := rapid.SampledFrom([]int{512, 1024, 2048, 4096}).Draw(t, "px")
		want := float64(px) / 256
		less := func(v float64) float64 { return v - min(0.25, v/4) }
		// Stored UVs round by up to 2⁻²⁵ of a tile at each side of a gap, 0.0003 px of 4096.
		gap := rapid.OneOf(rapid.Float64Range(0, less(want/2)-0.01), rapid.Float64Range(less(want/2)+0.01, less(want)-0.01), rapid.Float64Range(less(want)+0.01, 60)).Draw(t, "gap")
		border := rapid.OneOf(rapid.Float64Range(0, less(want/4)-0.01), rapid.Float64Range(less(want/4)+0.01, less(want/2)-0.01), rapid.Float64Range(less(want/2)+0.01, 40)).Draw(t, "border")
		e := 1 / float64(px)
		w, h := rapid.Float64Range(0.1, 0.3).Draw(t, "w"), rapid.Float64Range(0.1, 0.6).Draw(t, "h")
		a := [4]float64{border * e, 0.2, border*e + w, 0.2 + h}
		b := [4]float64{a[2] + gap*e, 0.2, a[2] + gap*e + w, 0.2 + h}
		if rapid.Bool().Draw(t, "down") { // the same turned
			a, b = [4]float64{a[1], a[0], a[3], a[2]}, [4]float64{b[1], b[0], b[3], b[2]}
		}
		f := run1(t, plantedUV(t, sp, px, a, b), "uv.padding")
		require.InDelta(t, gap, f.Metrics["island_px"], 0.002)
		require.InDelta(t, border, f.Metrics["border_px"], 0.002)
		require.InDelta(t, math.Min(gap, border), f.Metrics["min_px"], 0.002)
		switch {
		case gap < less(want/2) || border < less(want/4):
			require.Equal(t, Fail, f.Outcome)
		case gap < less(want) || border < less(want/2):
			require.Equal(t, Warn, f.Outcome)
		default:
			require.Equal(t, Pass, f.Outcome, f.Sentence)
		}
	})
}

func TestStretchPlanted(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.Hero, "")
	rapid.Check(t, func(t *rapid.T) {
		// One sheet without stretch, one whose texels are ratio times longer one way.
		ratio := rapid.OneOf(rapid.Float64Range(1, 1.499), rapid.Float64Range(1.501, 6)).Draw(t, "ratio")
		w := rapid.Float64Range(0.05, 0.45).Draw(t, "w")
		a := [4]float64{0.01, 0.01, 0.01 + w, 0.01 + w}
		b := [4]float64{0.5, 0.5, 0.5 + w, 0.5 + w/ratio}
		if rapid.Bool().Draw(t, "down") {
			b = [4]float64{0.5, 0.5, 0.5 + w/ratio, 0.5 + w}
		}
		f := run1(t, plantedUV(t, sp, 1024, a, b), "uv.stretch")
		require.Equal(t, ratio > 1.5, f.Outcome == Warn, f.Sentence)
		want := 0.0
		if ratio > 1.5 {
			want = 0.5
		}
		require.InDelta(t, want, f.Metrics["anisotropic_share"], 1e-6)
		// Sander et al.: of the first L² = L∞ = 1/w, of the second √((1 + ratio²)/2)/w and ratio/w; scaled by √(UV area / area).
		scale := math.Sqrt((w*w + w*w/ratio) / 2)
		require.InEpsilon(t, scale/w*math.Sqrt((1+(1+ratio*ratio)/2)/2), f.Metrics["l2"], 1e-4)
		require.InEpsilon(t, scale/w*ratio, f.Metrics["linf"], 1e-3)
	})
}

func TestFlippedPlanted(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.Hero, "")
	rapid.Check(t, func(t *rapid.T) {
		// A mirrored patch of a share of the surface, alone or on its partner.
		share := rapid.OneOf(rapid.Float64Range(0.0001, 0.00099), rapid.Float64Range(0.00101, 0.4)).Draw(t, "share")
		partner := rapid.Bool().Draw(t, "partner")
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		pb := newProp("crate_a.glb")
		m := pb.material("wood", 1024)
		pb.node("good", identity16, grid(rng, m, 3, 1, 0.05, 0.05, 0.45, 0.45))
		n := 1.0
		if partner {
			n = 2
		}
		edge := math.Sqrt(share / (1 - n*share)) // edge² / (1 + n edge²) = share
		pb.node("mirrored", moved(3, 0, 0), grid(rng, m, 2, edge, 0.9, 0.5, 0.5, 0.9))
		if partner {
			pb.node("plain", moved(5, 0, 0), grid(rng, m, 3, edge, 0.5, 0.5, 0.9, 0.9))
		}
		f := run1(t, pb.subject(t, sp), "uv.flipped")
		require.InEpsilon(t, share, f.Metrics["area_share"], 1e-4)
		if partner {
			require.Equal(t, Pass, f.Outcome)
			require.Zero(t, f.Metrics["alone_share"])
			return
		}
		require.Equal(t, share > 0.001, f.Outcome == Warn)
	})
}

func TestCoveragePlanted(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.Hero, "")
	rapid.Check(t, func(t *rapid.T) {
		share := rapid.OneOf(rapid.Float64Range(0.05, 0.6499), rapid.Float64Range(0.6501, 0.99)).Draw(t, "share")
		w := rapid.Float64Range(share, 1).Draw(t, "w")
		// The second sheet lies on the first, or hangs over the border: neither adds.
		a := [4]float64{0, 0, w, share / w}
		b := a
		if rapid.Bool().Draw(t, "outside") {
			b = [4]float64{0.2, 1, 0.6, 1.3}
		}
		f := run1(t, plantedUV(t, sp, 1024, a, b), "uv.coverage")
		want := share
		if b != a {
			want = math.Min(1, share+0.4*0.3-overlapOf(a, [4]float64{0.2, 0, 0.6, 0.3})) // folded by a whole tile
		}
		require.InDelta(t, want, f.Metrics["share"], 1e-5)
		if math.Abs(want-0.65) > 1e-5 {
			require.Equal(t, want < 0.65, f.Outcome == Warn)
		}
	})
}

func overlapOf(a, b [4]float64) float64 {
	w, h := math.Min(a[2], b[2])-math.Max(a[0], b[0]), math.Min(a[3], b[3])-math.Max(a[1], b[1])
	return math.Max(0, w) * math.Max(0, h)
}

// Whatever the numbering of vertices and triangles, a layout is measured the same.
func TestUVChecksDoNotDependOnNumbering(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.Hero, "")
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		l := patches(rapid.IntRange(1, 6).Draw(t, "patches"), rapid.IntRange(1, 5).Draw(t, "edge"))
		for i := range l.uv {
			l.uv[i] = l.uv[i]*0.11 + 0.02*rng.Float32() + 0.1*float32(rng.IntN(3)/2) // some overlap, some fold
		}
		m := renumbered(l, rng)
		for _, c := range uvChecks() {
			if c.Def.Scope != spec.PerSet || c.Def.Name == "uv.strips" {
				continue
			}
			a, b := setOf(l, 1024, 512), setOf(m, 1024, 512)
			s := &Subject{Spec: sp, Threads: 1}
			fa := c.Run(t.Context(), s, Target{Set: a}, sp.Rule(c.Def.Name, nil, &a.Def))
			fb := c.Run(t.Context(), s, Target{Set: b}, sp.Rule(c.Def.Name, nil, &b.Def))
			require.Equal(t, fa.Outcome, fb.Outcome, c.Def.Name)
			for k, v := range fa.Metrics {
				require.InDelta(t, v, fb.Metrics[k], 1e-9*(1+math.Abs(v)), "%s %s", c.Def.Name, k)
			}
		}
	})
}
