package web_test

import (
	"context"
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
