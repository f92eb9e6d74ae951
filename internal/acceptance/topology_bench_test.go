package acceptance

import (
	"context"
	"math"
	"testing"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// barnacled is a prop of about n triangles: a dented ball that is open below, with bolts without backs pushed into it.
func barnacled(n int) mesh.Primitive {
	rings := int(math.Sqrt(float64(n) * 0.9 / 4))
	around := 2 * rings
	ball := mesh.Primitive{Mode: 4, UV: [][]float32{nil}}
	for r := range rings + 1 {
		for a := range around + 1 {
			polar, turn := 0.9*math.Pi*float64(r)/float64(rings), 2*math.Pi*float64(a%around)/float64(around)
			rad := 0.5 + 0.02*math.Sin(5*turn)*math.Sin(7*polar)
			x, y, z := math.Sin(polar)*math.Cos(turn), math.Cos(polar), math.Sin(polar)*math.Sin(turn)
			if r == 0 {
				x, z, rad = 0, 0, 0.5
			}
			ball.Pos = append(ball.Pos, float32(rad*x), float32(rad*y), float32(rad*z))
			ball.Nrm = append(ball.Nrm, float32(x), float32(y), float32(z))
			ball.UV[0] = append(ball.UV[0], float32(a)/float32(around), float32(r)/float32(rings))
		}
	}
	for r := range rings {
		for a := range around {
			p := uint32(r*(around+1) + a)
			q := p + uint32(around+1)
			if r > 0 {
				ball.Tri = append(ball.Tri, p, p+1, q)
			}
			ball.Tri = append(ball.Tri, p+1, q+1, q)
		}
	}
	pieces := []mesh.Primitive{ball}
	for i := range n / 100 {
		y := 0.45 - 0.8*float64(i)/float64(n/100)
		turn := 2.4 * float64(i)
		r := math.Sqrt(0.25 - y*y)
		x, z := float32(r*math.Cos(turn)), float32(r*math.Sin(turn))
		e := float32(0.02 / math.Sqrt(float64(n)/12000))
		pieces = append(pieces, without(boxPrim(0, [3]float32{x - e, float32(y) - e, z - e}, [3]float32{x + e, float32(y) + e, z + e}), 2))
	}
	return piecePrim(pieces...)
}

// BenchmarkTopology measures all topology checks of one prop together, on one thread.
func BenchmarkTopology(b *testing.B) {
	for _, size := range []struct {
		name string
		n    int
	}{{"12k", 12_000}, {"500k", 500_000}} {
		b.Run(size.name, func(b *testing.B) {
			prim := barnacled(size.n)
			sp := specOf(b, spec.Hero, "parts:\n  - {name: body, open: [below]}")
			s := propOf(b, sp, mesh.Material{}, madePart{name: "body", prims: []mesh.Primitive{prim}, def: spec.Part{Open: []string{"below"}}})
			b.ReportAllocs()
			for b.Loop() {
				s.LODs[0].topo = nil
				for _, c := range topologyChecks() {
					for _, st := range plan(s, []Check{c}) {
						if f := runStep(context.Background(), s, st); f.Outcome == NotEvaluated {
							b.Fatal(f.Sentence)
						}
					}
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(prim.Tri)/3), "ns/triangle")
		})
	}
}
