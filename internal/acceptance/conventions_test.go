package acceptance

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/spec"
)

// A studio that works in centimetres with Z up says so in its spec, and its files are right as they are.
func TestConventionsOfTheSpec(t *testing.T) {
	t.Parallel()
	b := blockOf("crate_a", [3]float32{-30, -20, 0}, [3]float32{30, 20, 180})
	s := b.subject(t, specOf(t, spec.MidGround, standing+"\nconventions: {unit: cm, up: +Z, forward: -Y}"))
	s.Sculpt = s.LODs[0]
	c := inConvention(s)
	for _, check := range []string{"scene.size", "scene.upright", "scene.origin"} {
		require.Equal(t, Pass, run1(t, c, check).Outcome, check)
	}
	require.InDelta(t, 1.8, c.Sculpt.Bounds().Max[1], 1e-6)
	f, _ := rootCause(c)
	require.Nil(t, f)

	glTF := crateAt([3]float32{0.6, 1.8, 0.4}, [3]float32{}).subject(t, specOf(t, spec.MidGround, standing))
	require.Same(t, glTF, inConvention(glTF))
}

func TestConventionTurns(t *testing.T) {
	t.Parallel()
	axes := []string{"+X", "-X", "+Y", "-Y", "+Z", "-Z"}
	seen := map[turn]bool{}
	for _, up := range axes {
		for _, forward := range axes {
			if up[1] == forward[1] {
				continue
			}
			m := conventionMend(spec.Conventions{Unit: "m", Up: up, Forward: forward})
			require.Equal(t, [3]float64{0, 1, 0}, plus0(m.turn.apply(axisVector(up))))
			require.Equal(t, [3]float64{0, 0, 1}, plus0(m.turn.apply(axisVector(forward))))
			require.Contains(t, turns, m.turn, "a rotation")
			seen[m.turn] = true
		}
	}
	require.Len(t, seen, 24)
}

// plus0 turns -0 into 0.
func plus0(v [3]float64) [3]float64 { return [3]float64{v[0] + 0, v[1] + 0, v[2] + 0} }

func TestMendsFollowEachOther(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) mend {
			return mend{rapid.SampledFrom([]float64{1, 0.01, 100, 2.54}).Draw(t, name+" factor"), rapid.SampledFrom(turns).Draw(t, name+" turn")}
		}
		m, n := draw("first"), draw("second")
		c := rapid.Float64Range(-5, 5)
		p := [3]float64{c.Draw(t, "x"), c.Draw(t, "y"), c.Draw(t, "z")}
		got, want := m.then(n).point(p), n.point(m.point(p))
		for k := range 3 {
			require.InDelta(t, want[k], got[k], 1e-9*(1+want[k]*want[k]))
		}
		require.Contains(t, turns, m.then(n).turn)
	})
}
