package acceptance

import (
	"context"
	"math/rand/v2"
	"testing"

	"proofhouse/internal/acceptance/spec"
)

// packedLayout is n sheets of edge by edge quads packed into one tile with a gap, a tenth of them stacked, in an order of
// their own: what a game mesh's layout looks like.
func packedLayout(n, edge int) layout {
	rng := rand.New(rand.NewPCG(11, 11))
	l := patches(n, edge)
	per := (edge + 1) * (edge + 1)
	side := 1
	for side*side < n {
		side++
	}
	for i := range n {
		at := i
		if i%10 == 9 {
			at = i - 1
		}
		for v := i * per; v < (i+1)*per; v++ {
			u, w := l.uv[2*v]-2*float32(i), l.uv[2*v+1]
			l.uv[2*v] = (float32(at%side) + 0.1 + 0.8*u) / float32(side)
			l.uv[2*v+1] = (float32(at/side) + 0.1 + 0.8*(1-w)) / float32(side)
		}
	}
	return renumbered(l, rng)
}

// Every UV check of a set at 4096 px, the layout measured anew: what a delivery costs.
func BenchmarkUVFamily(b *testing.B) {
	sp := specOf(b, spec.Hero, "")
	for _, size := range []struct {
		name    string
		n, edge int
	}{{"12k", 100, 8}, {"500k", 1000, 16}} {
		l := packedLayout(size.n, size.edge)
		set := setOf(l, 4096, 4096)
		for v := 2; v < len(set.Game.Nrm); v += 3 {
			set.Game.Nrm[v] = 1
		}
		s := &Subject{Spec: sp, Threads: 1}
		b.Run(size.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				set.memo = &uvMemo{}
				for _, c := range uvChecks() {
					if c.Def.Scope == spec.PerSet && c.Def.Name != "uv.strips" {
						if f := c.Run(context.Background(), s, Target{Set: set}, sp.Rule(c.Def.Name, nil, &set.Def)); f.Outcome == "" {
							b.Fatal(c.Def.Name)
						}
					}
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(l.tri)/3), "ns/triangle")
		})
	}
}
