//go:build full

package outward

import (
	"math/rand/v2"
	"net/netip"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/oracle"
)

// Whatever an independent library made from IANA's registries (npm ipaddr.js) puts into one of their blocks is refused here.
// The other way round we refuse a little more, by block: what tunnels IPv4, the whole parent block of protocol assignments,
// the newer block for documentation, and IPv6 that is not handed out to networks.
func TestPublicAgreesWithTheRegistries(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(6890, 1))
	var list []netip.Addr
	for _, p := range append(prefixes("0.0.0.0/0", "::/0", "2000::/3", "fc00::/7", "fe80::/10", "64:ff9b::/96"), special...) {
		list = append(list, p.Addr(), p.Addr().Prev(), last(p), last(p).Next())
		for range 200 {
			list = append(list, random(r, p))
		}
	}
	list = slices.DeleteFunc(list, func(a netip.Addr) bool { return !a.IsValid() })
	var answer struct{ Ranges []string }
	oracle.Start(t, "addresses.mjs").Ask(map[string]any{"addresses": list}, &answer)
	require.Len(t, answer.Ranges, len(list))
	more := prefixes("192.0.0.0/24", "192.88.99.0/24", "240.0.0.0/4", "2001::/23", "3fff::/20")
	alike := 0
	for i, a := range list {
		unicast := answer.Ranges[i] == "unicast"
		if Public(a) {
			require.True(t, unicast, "%s is %s", a, answer.Ranges[i])
		} else if unicast {
			require.True(t, within(more, a) || (a.Is6() && !global.Contains(a)), "%s is refused though it is in no block", a)
			continue
		}
		alike++
	}
	t.Logf("%d addresses, %d judged alike", len(list), alike)
	require.Greater(t, alike, len(list)/2)
}

func random(r *rand.Rand, p netip.Prefix) netip.Addr {
	b := p.Addr().AsSlice()
	for i := p.Bits(); i < len(b)*8; i++ {
		if r.Uint64()&1 == 1 {
			b[i/8] |= 0x80 >> (i % 8)
		}
	}
	a, _ := netip.AddrFromSlice(b)
	return a
}

func last(p netip.Prefix) netip.Addr {
	b := p.Addr().AsSlice()
	for i := p.Bits(); i < len(b)*8; i++ {
		b[i/8] |= 0x80 >> (i % 8)
	}
	a, _ := netip.AddrFromSlice(b)
	return a
}
