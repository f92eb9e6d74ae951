//go:build full

package acceptance

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/spec"
)

// On 34 real props, every topology check answers: no crash, nothing left unmeasured, no share beyond one, no more open edges than
// edges, and places that lie in the prop.
func TestTopologyOnRealProps(t *testing.T) {
	sp := specOf(t, spec.Hero, "")
	outcomes := map[Outcome]int{}
	for _, path := range genericProps(t) {
		b := &propBuild{loadProp(t, path)}
		s := b.subject(t, sp)
		lo, hi, ok := boundsOf(&s.LODs[0].Surface, s.LODs[0].Of)
		require.True(t, ok)
		start := time.Now()
		for _, c := range topologyChecks() {
			f := run1(t, s, c.Def.Name)
			require.NotEqual(t, NotEvaluated, f.Outcome, "%s: %s", path, f.Sentence)
			outcomes[f.Outcome]++
			for k, v := range f.Metrics {
				require.GreaterOrEqual(t, v, 0.0, "%s %s %s", path, c.Def.Name, k)
				if unitOf(k) == "share" {
					require.LessOrEqual(t, v, 1.0, "%s %s %s", path, c.Def.Name, k)
				}
			}
			for _, p := range f.Where {
				if p.PointMM == nil {
					continue
				}
				for k := range 3 {
					require.GreaterOrEqual(t, p.PointMM[k], 1000*lo[k]-0.01, "%s %s", path, c.Def.Name)
					require.LessOrEqual(t, p.PointMM[k], 1000*hi[k]+0.01, "%s %s", path, c.Def.Name)
				}
			}
		}
		topo := s.LODs[0].topo.made
		require.LessOrEqual(t, topo.Edges.Open, topo.Edges.All)
		require.Less(t, time.Since(start), time.Minute, path)
	}
	t.Logf("outcomes over 34 props and %d checks: %v", len(topologyChecks()), outcomes)
	require.Greater(t, outcomes[Pass], 34*6, "most checks pass on props that ship")
}
