package bake

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// An open floor is open; beside an endless wall of height h the wall takes ½(1 − d/√(d²+h²)) of the light of a point at
// distance d: the configuration factor of an element and a perpendicular strip (Howell, A Catalog of Radiation Heat Transfer
// Configuration Factors, from memory).
func TestOcclusionBesideAWall(t *testing.T) {
	t.Parallel()
	floor := plane(4, bumps{0, 1})
	g := floor.game(0.02, 0.02)
	grid := NewGrid(16, 16, 16)
	open, err := Occlude(context.Background(), g, []*Sculpt{NewSculpt(floor.pos, floor.nrm, floor.tri, 1)}, grid, 64, 10, 2)
	require.NoError(t, err)
	for i, v := range open.Open {
		require.Equal(t, float32(1), v, "texel %d", i)
	}
	const tall = 2.0
	walled := indexed{append([]float32(nil), floor.pos...), append([]float32(nil), floor.nrm...), nil, append([]uint32(nil), floor.tri...)}
	first := uint32(len(walled.pos) / 3)
	walled.pos = append(walled.pos, 0, -300, 0, 0, 300, 0, 0, 300, tall, 0, -300, tall)
	walled.nrm = append(walled.nrm, 1, 0, 0, 1, 0, 0, 1, 0, 0, 1, 0, 0)
	walled.tri = append(walled.tri, first, first+1, first+2, first, first+2, first+3)
	s := []*Sculpt{NewSculpt(walled.pos, walled.nrm, walled.tri, 1)}
	const rays = 1024
	near, err := Occlude(context.Background(), g, s, grid, rays, 20, 2)
	require.NoError(t, err)
	for x := range 16 {
		d := (float64(x) + 0.5) / 16
		// Rays start 20 mm off the floor, and 1024 of them tell a share to 0.02.
		require.InDelta(t, 1-0.5*(1-d/math.Sqrt(d*d+tall*tall)), near.Open[8*16+x], 0.03, "%g from the wall", d)
	}
	few, err := Occlude(context.Background(), g, s, grid, 48, 20, 1)
	require.NoError(t, err)
	many, err := Occlude(context.Background(), g, s, grid, 48, 20, 8)
	require.NoError(t, err)
	require.Equal(t, few.Open, many.Open)
	require.Len(t, few.Values16(), 256)
}

func BenchmarkOcclude(b *testing.B) {
	sculpt := drum(300, bumps{0.008, 0.05})
	g := drum(24, bumps{0, 1}).game(0.05, 0.05)
	s := []*Sculpt{NewSculpt(sculpt.pos, sculpt.nrm, sculpt.tri, 0)}
	for b.Loop() {
		if _, err := Occlude(context.Background(), g, s, NewGrid(128, 128, 128), 48, 0.5, 0); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(128*128*48), "ns/ray")
}
