package chart

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestDistanceClosedForms(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name       string
		a, b, c, d Vec
		want       float64
	}{
		{"side by side", Vec{0, 0}, Vec{4, 0}, Vec{0, 3}, Vec{4, 3}, 3},
		{"end to end", Vec{0, 0}, Vec{4, 0}, Vec{6, 0}, Vec{9, 0}, 2},
		{"corner to corner", Vec{0, 0}, Vec{1, 0}, Vec{4, 4}, Vec{9, 9}, 5},
		{"end against middle", Vec{0, 0}, Vec{10, 0}, Vec{5, 2}, Vec{5, 9}, 2},
		{"across", Vec{0, 0}, Vec{10, 10}, Vec{0, 10}, Vec{10, 0}, 0},
		{"touching ends", Vec{0, 0}, Vec{1, 1}, Vec{1, 1}, Vec{5, 0}, 0},
		{"end on middle", Vec{0, 0}, Vec{2, 0}, Vec{1, 0}, Vec{1, 5}, 0},
		{"along each other", Vec{0, 0}, Vec{4, 0}, Vec{2, 0}, Vec{6, 0}, 0},
		{"a point", Vec{0, 0}, Vec{4, 0}, Vec{2, 7}, Vec{2, 7}, 7},
		{"two points", Vec{0, 0}, Vec{0, 0}, Vec{3, 4}, Vec{3, 4}, 5},
	} {
		for _, s := range [][4]Vec{{c.a, c.b, c.c, c.d}, {c.b, c.a, c.c, c.d}, {c.c, c.d, c.a, c.b}, {c.d, c.c, c.b, c.a}} {
			d, p, q := Distance(s[0], s[1], s[2], s[3])
			require.InDelta(t, c.want, d, 1e-12, c.name)
			require.InDelta(t, d, lengthOf(minus(p, q)), 1e-12, c.name)
		}
	}
}

// randomSegments are short and long ones in groups.
func randomSegments(t *rapid.T) ([]Segment, int) {
	groups := rapid.IntRange(1, 6).Draw(t, "groups")
	n := rapid.IntRange(0, 60).Draw(t, "n")
	rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	long := rapid.Float64Range(0, 80).Draw(t, "long")
	out := make([]Segment, n)
	for i := range out {
		a := Vec{rng.Float64() * 100, rng.Float64() * 100}
		out[i] = Segment{A: a, B: Vec{a[0] + long*(rng.Float64()-0.5), a[1] + long*(rng.Float64()-0.5)}, Group: int32(rng.IntN(groups))}
	}
	return out, groups
}

func TestGapsAgreeWithEveryPair(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seg, groups := randomSegments(t)
		reach := rapid.Float64Range(0.1, 200).Draw(t, "reach")
		want := make([]float64, groups)
		for g := range want {
			want[g] = reach
		}
		least := math.Inf(1)
		for i, s := range seg {
			for _, o := range seg[:i] {
				if s.Group == o.Group {
					continue
				}
				d, _, _ := Distance(s.A, s.B, o.A, o.B)
				want[s.Group], want[o.Group] = math.Min(want[s.Group], d), math.Min(want[o.Group], d)
				least = math.Min(least, d)
			}
		}
		got, err := Gaps(context.Background(), seg, groups, reach)
		require.NoError(t, err)
		for g, gap := range got {
			require.InDelta(t, want[g], gap.Distance, 1e-11)
			require.Equal(t, want[g] < reach, gap.Other >= 0)
			if gap.Other >= 0 {
				require.NotEqual(t, gap.Group, gap.Other)
				require.Equal(t, int32(g), seg[gap.Segment].Group)
				require.InDelta(t, gap.Distance, lengthOf(minus(gap.At, gap.To)), 1e-11)
			}
		}
		one, err := Least(context.Background(), seg)
		require.NoError(t, err)
		if math.IsInf(least, 1) {
			require.Equal(t, int32(-1), one.Other)
			return
		}
		require.InDelta(t, least, one.Distance, 1e-11)
	})
}

// packed is n by n squares of 24 with a gap of 8, each outlined by steps of 4: a layout of 16-texel pitch.
func packed(n int) []Segment {
	var out []Segment
	for g := range n * n {
		x, y := float64(g%n)*32, float64(g/n)*32
		at := func(k int) Vec {
			side, along := k/6%4, float64(k%6)*4
			return [4]Vec{{x + along, y}, {x + 24, y + along}, {x + 24 - along, y + 24}, {x, y + 24 - along}}[side]
		}
		for k := range 24 {
			out = append(out, Segment{at(k), at(k + 1), int32(g)})
		}
	}
	return out
}

func TestGapOfAPackedLayout(t *testing.T) {
	t.Parallel()
	least, err := Least(context.Background(), packed(20))
	require.NoError(t, err)
	require.Equal(t, 8.0, least.Distance)
}

func BenchmarkGaps(b *testing.B) {
	for _, n := range []int{22, 145} { // 12 and 500 thousand segments
		seg := packed(n)
		b.Run(map[int]string{22: "12k", 145: "500k"}[n], func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				got, _ := Gaps(context.Background(), seg, n*n, 16)
				if got[0].Distance != 8 {
					b.Fatal(got[0])
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(seg)), "ns/segment")
		})
	}
}
