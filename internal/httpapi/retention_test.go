package httpapi_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
)

// The studio says how long files are kept, both sides see it and what is stored, and a file that the rule let go is told as
// that, not as one that never came.
func TestRetentionAndWhatIsStored(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Gull Studio", "ida@gull.example")
	vendor := studio.vendor("Breaker Yard", "olaf@breaker.example")
	c := studio.contract(vendor, "lantern")
	at := "/v1/work-orders/" + c.order + "/retention"
	require.Equal(t, "", vendor.ok("GET", at, nil).get(t, "reason"))

	file := localFile{path: "lantern.glb", role: "game", data: []byte("first")}
	first := vendor.deliver(c.milestones[0], file)
	s.inspect(ledger.VerdictFail)
	link := "/v1/deliveries/" + first + "/files/" + vendor.ok("GET", "/v1/deliveries/"+first, nil).get(t, "files.0.id") + "/content"
	require.Equal(t, 302, vendor.do("GET", link, nil).status)
	file.data = []byte("the second")
	vendor.deliver(c.milestones[0], file)
	s.inspect(ledger.VerdictFail)

	require.Equal(t, "0", studio.ok("POST", at, map[string]any{"superseded_days": 0, "legal_hold": false, "reason": "space"}).get(t, "superseded_days"))
	require.Equal(t, "space", vendor.ok("GET", at, nil).get(t, "reason"))
	clock := ledger.NewClock(s.db.Pool(ledger.RoleClock))
	list, err := clock.Remove(t.Context())
	require.NoError(t, err)
	require.Len(t, list, 1)
	for _, f := range list[0].Files {
		require.NoError(t, s.storage.Delete(t.Context(), f.ObjectKey))
	}
	require.NoError(t, clock.RemovalCleared(t.Context(), list[0]))
	gone := vendor.do("GET", link, nil)
	require.Equal(t, 404, gone.status)
	require.Contains(t, gone.get(t, "detail"), "deleted by the order's rule on ")

	stored := studio.ok("GET", "/v1/storage?by=prop&work_order_id="+c.order, nil)
	require.Equal(t, "lantern", stored.get(t, "items.0.name"))
	require.Equal(t, "10", stored.get(t, "items.0.delivered_bytes"))
	require.Equal(t, "5", stored.get(t, "items.0.removed_bytes"))
	require.Equal(t, 422, studio.do("GET", "/v1/storage?by=prop", nil).status)
	require.Equal(t, "10", vendor.ok("GET", "/v1/storage?by=vendor", nil).get(t, "items.0.delivered_bytes"))
}

// A delivery for which a quota leaves no room is refused when it is opened, before a link is given, in words that say how much there is;
// the producer says the limit, the vendor reads its own, and nobody else's.
func TestQuotasByTheInterface(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Gull Studio", "ida@gull.example")
	vendor := studio.vendor("Breaker Yard", "olaf@breaker.example")
	other := studio.vendor("Lamp Works", "ivo@lamp.example")
	c := studio.contract(vendor, "lantern")
	file := localFile{path: "lantern.glb", role: "game", data: []byte("a lantern of 28 bytes, whole")}
	require.Equal(t, "28", studio.ok("POST", "/v1/quotas", map[string]any{"work_order_id": c.order, "bytes": 28}).get(t, "items.0.bytes"))
	vendor.deliver(c.milestones[0], file)
	full := vendor.do("POST", "/v1/milestones/"+c.milestones[1]+"/deliveries", manifest(file))
	require.Equal(t, 413, full.status)
	require.Equal(t, "/problems/over-quota", full.get(t, "type"))
	require.Equal(t, "No room: these files have 28 bytes, and of the 28 bytes that are kept of this order 0 bytes are free: ask the studio for more room.", full.get(t, "detail"))
	own := vendor.ok("GET", "/v1/quotas", nil)
	require.Equal(t, []string{"28", "W_lantern", ""}, []string{own.get(t, "items.0.used_bytes"), own.get(t, "items.0.work_order"), own.get(t, "items.0.by")})
	require.JSONEq(t, `{"items":[]}`, string(other.ok("GET", "/v1/quotas", nil).body))
	require.Equal(t, 422, studio.do("POST", "/v1/quotas", map[string]any{"bytes": 1}).status)
	require.JSONEq(t, `{"items":[]}`, string(studio.ok("POST", "/v1/quotas", map[string]any{"work_order_id": c.order, "bytes": nil}).body))
	vendor.deliver(c.milestones[1], file)
}

func TestStoragePrice(t *testing.T) {
	t.Parallel()
	p, err := httpapi.ParseStoragePrice("0.021 EUR")
	require.NoError(t, err)
	require.Equal(t, httpapi.StoragePrice{PerGBMonth: 0.021, Currency: "EUR"}, p)
	p, err = httpapi.ParseStoragePrice("")
	require.NoError(t, err)
	require.Zero(t, p)
	for _, text := range []string{"EUR", "0.02", "0.02 eur", "-1 EUR", "NaN EUR", "1e9 EUR", "0.02 EURO"} {
		_, err := httpapi.ParseStoragePrice(text)
		require.Error(t, err, text)
	}
}
