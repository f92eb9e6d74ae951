package surface

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Two triangles meet exactly if an edge of one meets the other: the slow twin of the overlap test.
func slowOverlap(p, q [3]vec) bool {
	for k := range 3 {
		if segmentMeets(p[k], p[(k+1)%3], q) || segmentMeets(q[k], q[(k+1)%3], p) {
			return true
		}
	}
	return false
}

func TestOverlapAgreesWithEdges(t *testing.T) {
	t.Parallel()
	hits := 0
	rapid.Check(t, func(rt *rapid.T) {
		// A small grid of places makes touching, coplanar and collinear cases common.
		place := rapid.Custom(func(t *rapid.T) vec {
			var p vec
			for k := range p {
				p[k] = float64(rapid.IntRange(-3, 3).Draw(t, "c"))
			}
			return p
		})
		corner := rapid.Custom(func(t *rapid.T) [3]vec { return [3]vec{place.Draw(t, "a"), place.Draw(t, "b"), place.Draw(t, "c")} }).
			Filter(func(q [3]vec) bool { n := cross(sub(q[1], q[0]), sub(q[2], q[0])); return dot(n, n) > 0 })
		p, q := corner.Draw(rt, "p"), corner.Draw(rt, "q")
		want := slowOverlap(p, q)
		if want {
			hits++
		}
		require.Equal(rt, want, overlap(p, q), "%v %v", p, q)
		require.Equal(rt, want, overlap(q, p), "swapped")
		require.Equal(rt, want, overlap([3]vec{p[1], p[2], p[0]}, [3]vec{q[2], q[1], q[0]}), "turned")
	})
	require.Positive(t, hits)
}

func TestCrossingsOfShapes(t *testing.T) {
	t.Parallel()
	ball := sphere(1, 24, vec{})
	for name, c := range map[string]struct {
		m    Mesh
		none bool
	}{
		"ball":                  {ball, true},
		"two apart":             {join(ball, sphere(1, 24, vec{3, 0, 0})), true},
		"one in another":        {join(ball, sphere(0.5, 24, vec{})), true},
		"two that cross":        {join(ball, sphere(1, 24, vec{1, 0.1, 0.05})), false},
		"box with hard edges":   {block(vec{-1, -1, -1}, vec{1, 1, 1}), true},
		"no triangles":          {Mesh{}, true},
		"one vertex far inside": {dented(ball), false},
	} {
		got, err := Crossings(context.Background(), c.m, 2)
		require.NoError(t, err)
		if c.none {
			require.Empty(t, got, name)
		} else {
			require.NotEmpty(t, got, name)
		}
		one, err := Crossings(context.Background(), c.m, 1)
		require.NoError(t, err)
		require.Equal(t, one, got, name)
	}
}

// dented pushes one vertex through the far side.
func dented(m Mesh) Mesh {
	done := false
	return moved(m, func(p vec) vec {
		if !done && math.Abs(p[1]) < 0.1 {
			done = true
			return scale(p, -1.3)
		}
		return p
	})
}
