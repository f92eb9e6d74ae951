package httpapi_test

import (
	"encoding/json"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// A half-done prop goes on with another vendor: its files are there, and nothing says whose they were.
func TestAPropGoesOnByTheInterface(t *testing.T) {
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	leaves, goes := studio.vendor("Krane Salvage Models", "ole@krane.example"), studio.vendor("Ninth Lock", "tamsin@ninth.example")
	from, to := studio.contract(leaves, "lantern_a"), studio.contract(goes, "winch_b")
	game, sculpt := someFiles("one")
	leaves.deliver(from.milestones[0], game, sculpt)
	s.inspect(ledger.VerdictPass)

	body := map[string]any{"work_order_id": to.order, "price_minor": 55500, "reason": "The yard is full until spring."}
	made := studio.ok("POST", "/v1/props/"+from.prop+"/reassignment", body)
	require.Equal(t, "true", made.get(t, "spec_went_on"))
	answer := goes.ok("GET", "/v1/references/"+made.get(t, "reference_pack_id"), nil)
	var pack struct {
		Files []struct{ Path, URL string }
	}
	require.NoError(t, json.Unmarshal(answer.body, &pack))
	require.Len(t, pack.Files, 2)
	for _, f := range pack.Files {
		resp, err := http.Get(f.URL)
		require.NoError(t, err)
		resp.Body.Close()
		require.Equal(t, http.StatusOK, resp.StatusCode, "the copied bytes can be read")
	}
	got := goes.ok("GET", "/v1/props/"+made.get(t, "to_prop_id"), nil)
	require.Equal(t, "lantern_a", got.get(t, "code"))
	for _, a := range []struct{ body []byte }{{got.body}, {answer.body}} {
		require.NotContains(t, string(a.body), "Krane")
		require.NotContains(t, string(a.body), leaves.party.String())
	}
	require.NotContains(t, string(leaves.ok("GET", "/v1/props/"+from.prop, nil).body), "Ninth")

	var weeks struct {
		Items []struct {
			Vendor string `json:"vendor_id"`
		}
	}
	require.NoError(t, json.Unmarshal(goes.ok("GET", "/v1/capacity?weeks=2", nil).body, &weeks))
	require.Len(t, weeks.Items, 2)
	for _, w := range weeks.Items {
		require.Equal(t, goes.party.String(), w.Vendor, "a vendor sees its own weeks")
	}
}
