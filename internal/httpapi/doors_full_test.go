//go:build full

package httpapi_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger/ledgertest"
)

// slower is the chance that a time of a is longer than one of b, ties counting half (the statistic of Mann and Whitney,
// divided by the number of pairs): 0.5 where nothing tells the two apart.
func slower(a, b []time.Duration) float64 {
	sum := 0.0
	for _, x := range a {
		for _, y := range b {
			switch {
			case x > y:
				sum++
			case x == y:
				sum += 0.5
			}
		}
	}
	return sum / float64(len(a)*len(b))
}

// What is hidden answers in the same time as what is not there. Samples are taken in turn, in random order, so that load
// falls on both alike. With 250 of each the statistic's standard deviation is 0.026 where there is no difference
// (sqrt((2n+1)/12n²)); the bound is five of them. That the measure would find a difference is shown by an export beside them.
func TestHiddenTakesAsLongAsMissing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	stranger, lead := w.people["other vendor"], w.people["vendor lead"]
	const n = 250
	for _, path := range []string{"/v1/deliveries/", "/v1/props/"} {
		id := map[string]string{"/v1/deliveries/": w.ids["delivery_id"], "/v1/props/": w.ids["prop_id"]}[path]
		var hidden, missing, seen []time.Duration
		take := func(p *person, path string) time.Duration {
			began := time.Now()
			p.do("GET", path, nil)
			return time.Since(began)
		}
		whole := "/v1/work-orders/" + w.ids["work_order_id"] + "/export"
		for range 20 { // connections and plans are warm
			take(stranger, path+id)
			take(lead, whole)
		}
		for k := range n {
			acts := []func(){
				func() { hidden = append(hidden, take(stranger, path+id)) }, func() { missing = append(missing, take(stranger, path+uuid.NewString())) }, func() {
					if k%5 == 0 { // the control is dearer, and told apart with fewer
						seen = append(seen, take(lead, whole))
					}
				},
			}
			for _, i := range rand.Perm(len(acts)) {
				acts[i]()
			}
		}
		told, control := slower(hidden, missing), slower(seen, missing)
		slices.Sort(hidden)
		slices.Sort(missing)
		t.Logf("%s: hidden %v, missing %v (medians); hidden slower in %.3f of pairs, an export in %.3f", path, hidden[n/2], missing[n/2], told, control)
		require.InDelta(t, 0.5, told, 0.13, path)
		require.Greater(t, control, 0.7, "the measure finds a difference where there is one")
	}
}

// An unknown e-mail takes as long as a wrong password: the work, which is the decoy's hash, is the same. The shortest of
// several times is compared, since load only ever adds. Without the decoy the ratio would be about a hundredth.
func TestUnknownEmailTakesAsLongAsAWrongPassword(t *testing.T) {
	ledgertest.FullPasswords(t)
	s := start(t)
	s.studio("Harbour Works", "ines@harbour.example")
	least := map[string]time.Duration{}
	for i := range 10 {
		for _, email := range []string{"ines@harbour.example", fmt.Sprintf("nobody%d@harbour.example", i)} {
			began := time.Now()
			require.Equal(t, 401, s.try(email, "a wrong password", "203.0.113.1", "").status)
			took, kind := time.Since(began), strings.HasPrefix(email, "nobody")
			key := fmt.Sprint(kind)
			if old, ok := least[key]; !ok || took < old {
				least[key] = took
			}
		}
	}
	ratio := float64(least["true"]) / float64(least["false"])
	t.Logf("unknown %v, wrong %v: ratio %.3f", least["true"], least["false"], ratio)
	require.InDelta(t, 1, ratio, 0.3)
}
