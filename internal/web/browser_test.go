//go:build full

package web_test

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// root is the module's folder, found before the S3 server makes its own folder the working one.
var root, _ = filepath.Abs("../..")

// browserTime ends a story that hangs: several times what the longest takes with another beside it.
const browserTime = 16 * time.Minute

// seenBy are the pages to look at, by whom.
func (w *world) seenBy() []map[string]any {
	page := func(who, name, path string) map[string]any {
		return map[string]any{"who": who, "name": name, "path": path}
	}
	delivery := func(who, name string) map[string]any {
		return page(who, who+"-delivery-"+name, "/deliveries/"+w.deliveries[name].String())
	}
	missing := page("lead", "lead-hidden", "/deliveries/"+w.deliveries["capstan"].String())
	missing["status"] = 404
	return []map[string]any{
		page("director", "director-work", "/"), page("director", "director-work-all", "/?show=all"), page("producer", "producer-work", "/"), page("lead", "lead-work", "/"),
		page("producer", "producer-orders", "/orders"), page("lead", "lead-orders", "/orders"),
		page("producer", "producer-order", "/orders/"+w.order.ID.String()), page("lead", "lead-order", "/orders/"+w.order.ID.String()),
		page("director", "director-prop", "/props/"+w.props["bollard"].ID.String()), page("lead", "lead-prop", "/props/"+w.props["lantern"].ID.String()),
		page("director", "director-spec", "/specs/"+w.specs["lantern"].String()), page("lead", "lead-spec", "/specs/"+w.specs["lantern-2"].String()),
		page("producer", "producer-people", "/people"), page("lead", "lead-people", "/people"), page("artist", "artist-people", "/people"),
		page("producer", "producer-account", "/account"), page("lead", "lead-account", "/account"), page("producer", "producer-doors", "/doors"), page("artist", "artist-doors", "/doors"), page("producer", "producer-access", "/access"),
		page("director", "director-view", "/deliveries/"+w.deliveries["bollard"].String()+"/view"),
		page("producer", "producer-order-new", "/orders/new"), page("producer", "producer-list", "/orders/"+w.order.ID.String()+"/list"),
		page("producer", "producer-payables", "/payables?from=2000-01-01&to=2999-01-01"), page("producer", "producer-stored", "/storage?order="+w.order.ID.String()), page("producer", "producer-spec-draft", "/props/"+w.props["lantern"].ID.String()+"/spec"),
		delivery("director", "lantern"), delivery("director", "bollard"), delivery("director", "bollard-1"), delivery("director", "buoy"), delivery("director", "winch"),
		delivery("director", "cleat"), delivery("director", "crate"), delivery("lead", "bollard"), delivery("lead", "lantern"), delivery("producer", "winch"),
		page("director", "director-review", "/review"), page("director", "director-review-one", "/review/"+w.deliveries["lantern"].String()),
		page("director", "director-review-issue", "/review/"+w.deliveries["bollard"].String()+"?show=issues"), page("director", "director-permits", "/permits"), page("producer", "producer-review", "/review/"+w.deliveries["lantern"].String()),
		missing,
	}
}

func (w *world) propIDs() map[string]string {
	ids := map[string]string{}
	for code, p := range w.props {
		ids[code] = p.ID.String()
	}
	return ids
}

func TestPagesInABrowser(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	scripts, out := filepath.Join(root, "testdata", "browser"), filepath.Join(root, "testdata", "out", "pages")
	require.DirExists(t, filepath.Join(scripts, "node_modules"), "run npm ci --ignore-scripts in testdata/browser")
	require.NoError(t, os.RemoveAll(out))
	config, err := json.Marshal(map[string]any{
		"base": w.base, "password": password, "out": out,
		"people": map[string]string{"director": marek, "producer": petra, "technical": noor, "lead": ole, "artist": ada},
		"pages":  w.seenBy(), "props": w.propIDs(), "storage": w.storage.LinkOrigin(), "deliveries": w.deliveries, "specs": w.specs,
		"invitation": w.invitation(ines, w.who[ines].Party, "new@kelpgate.example", ledger.TechnicalArtist),
	})
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), browserTime)
	defer cancel()
	node := exec.CommandContext(ctx, "node", "pages.mjs")
	node.Dir, node.Stdin = scripts, bytes.NewReader(config)
	report, err := node.CombinedOutput()
	t.Logf("%s", report)
	require.NoError(t, err, "the pages in a browser")

	// What was clicked is in the ledger, once.
	decided := func(name string) []ledger.SignOff {
		return as(w, marek, func(ctx context.Context, tx *ledger.Tx) ([]ledger.SignOff, error) {
			return tx.SignOffs(ctx, w.deliveries[name])
		})
	}
	lantern, bollard := decided("lantern"), decided("bollard")
	require.Len(t, lantern, 1)
	require.Equal(t, ledger.Return, lantern[0].Decision)
	require.Equal(t, "The glass is too clean for this pier.", lantern[0].Reason)
	require.Len(t, bollard, 1)
	require.Equal(t, ledger.AcceptAsIs, bollard[0].Decision)
	conceded := as(w, ole, func(ctx context.Context, tx *ledger.Tx) ([]ledger.Concession, error) {
		return tx.Concessions(ctx, w.deliveries["bollard"])
	})
	require.Len(t, conceded, 3)
	require.Equal(t, "The name never ships.", conceded[0].Reason)
}
