package web_test

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// What is stored is shown with its share and its price to the studio, and to each vendor without price and others' names.
func TestStoragePage(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	orders := as(w, petra, func(ctx context.Context, tx *ledger.Tx) ([]ledger.Stored, error) { return tx.StoredByOrder(ctx) })
	vendors := as(w, petra, func(ctx context.Context, tx *ledger.Tx) ([]ledger.Stored, error) { return tx.StoredByVendor(ctx) })
	require.Greater(t, len(vendors), 1)
	require.Greater(t, len(orders), 1)
	all := int64(0)
	for _, o := range orders {
		all += o.Bytes()
	}
	reader := words.Reader{Language: words.In("en"), Zone: time.UTC}
	plain := strings.NewReplacer("\u00a0", " ").Replace                                               // as text is read from a page
	money := func(bytes int64) string { return plain(reader.Money((bytes*2000*100+5e8)/1e9, "EUR")) } // 2000 EUR for 10⁹ bytes
	b := w.logIn(petra)
	page := b.get("/storage")
	require.Contains(t, page.text("dl.facts"), plain(reader.Bytes(all)))
	require.Contains(t, page.text("dl.facts"), money(all))
	require.NotContains(t, page.text("dl.facts"), plain(reader.Money(0, "EUR")), "a price that shows")
	for _, v := range vendors {
		require.Contains(t, page.text("#vendors"), v.Name)
		require.Contains(t, page.text("#vendors"), money(v.Bytes()))
		require.Contains(t, page.text("#vendors"), plain(reader.Unit(float64(v.Bytes())/float64(all), "share")))
	}
	require.Contains(t, page.text("#orders"), w.order.Code)
	props := b.get("/storage?order=" + w.order.ID.String()).text("#props")
	require.Contains(t, props, "lantern")
	require.NotContains(t, props, "capstan", "of another order")

	theirs := w.logIn(ole).get("/storage?order=" + w.order.ID.String()).text("main")
	require.Contains(t, theirs, "lantern")
	require.False(t, strings.Contains(theirs, "EUR") || strings.Contains(theirs, "€"), "the price is the studio's to pay")
	require.NotContains(t, theirs, w.otherOrder.Code)
}

// A producer says on the page how much of a vendor or an order is kept, and reads how much is taken; the vendor reads its own limits and
// has no form; what cannot be a limit is told and nothing of the form is lost.
func TestLimitsOnTheStoragePage(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(petra)
	page := b.get("/storage")
	require.Contains(t, page.text("#limits"), "No vendor and no order has a limit.")
	order := "order:" + w.order.ID.String()
	for _, bad := range []string{"much", "-1", "2000000"} {
		refused := page.submit("/storage/limits", "of", order, "gigabytes", bad)
		require.Equal(t, http.StatusUnprocessableEntity, refused.status, bad)
		require.Contains(t, refused.text("#limits [role=alert]"), "The limit", bad)
		require.Contains(t, refused.body, `value="`+bad+`"`)
		require.Contains(t, refused.body, order+`" selected`)
	}
	page = page.submit("/storage/limits", "of", order, "gigabytes", "2").follow()
	page = page.submit("/storage/limits", "of", "vendor:"+w.order.VendorID.String(), "gigabytes", "2000").follow()
	require.Contains(t, page.text("#limits"), "all orders")
	require.Contains(t, page.text("#limits"), w.order.Code)
	theirs := w.logIn(ole).get("/storage")
	require.Contains(t, theirs.text("#limits"), w.order.Code)
	require.NotContains(t, theirs.body, "/storage/limits")
	require.Equal(t, http.StatusForbidden, w.logIn(ole).post("/storage/limits", url.Values{"of": {order}, "gigabytes": {"9"}}).status)
	page = page.submit("/storage/limits", "of", order, "gigabytes", "").follow()
	require.NotContains(t, page.text("#limits table"), w.order.Code)
}
