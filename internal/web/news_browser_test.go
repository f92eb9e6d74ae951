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

// TestNewsPagesInABrowser looks at webhooks, mail and a forgotten password in Chromium with axe-core: wide and narrow, light and dark.
func TestNewsPagesInABrowser(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	scripts, out := filepath.Join(root, "testdata", "browser"), filepath.Join(root, "testdata", "out", "news")
	require.DirExists(t, filepath.Join(scripts, "node_modules"), "run npm ci --ignore-scripts in testdata/browser")
	require.NoError(t, os.RemoveAll(out))
	require.NoError(t, w.login.AskReset(t.Context(), w.postKey(), ole))
	post := ledger.NewPost(w.db.Pool(ledger.RolePost), w.postKey())
	letters, err := post.ClaimMails(t.Context(), 10)
	require.NoError(t, err)
	require.Len(t, letters, 1)
	config, err := json.Marshal(map[string]any{
		"base": w.base, "password": password, "out": out, "people": map[string]string{"lead": ole}, "hook": "/account/webhooks/" + w.failingHook(post),
		"reset": "/reset/" + letters[0].Secret, "stop": "/mail/stop/" + w.who[ole].Member.String() + "/" + letters[0].Stop,
	})
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), browserTime)
	defer cancel()
	node := exec.CommandContext(ctx, "node", "news.mjs")
	node.Dir, node.Stdin = scripts, bytes.NewReader(config)
	report, err := node.CombinedOutput()
	t.Logf("%s", report)
	require.NoError(t, err, "the pages in a browser")
}

// failingHook is a webhook of ole's with messages that fared in every way.
func (w *world) failingHook(post *ledger.Post) string {
	w.t.Helper()
	hook := as(w, ole, func(ctx context.Context, tx *ledger.Tx) (ledger.Hook, error) {
		h, _, err := tx.CreateHook(ctx, w.postKey(), ledger.NewHook{URL: "https://build.brackwater.example/hooks/a-rather-long-path/of/a/build/machine", Kinds: []string{"milestone.accepted"}})
		return h, err
	})
	status := []int{204, 500}
	for n := range 3 {
		as(w, ole, func(ctx context.Context, tx *ledger.Tx) (ledger.Message, error) { return tx.PingHook(ctx, hook.ID) })
		if n == 2 {
			break
		}
		list, err := post.ClaimSends(w.t.Context(), 10)
		require.NoError(w.t, err)
		for _, s := range list {
			require.NoError(w.t, post.Sent(w.t.Context(), s, ledger.Attempt{Status: &status[n], Excerpt: "thank you", TookMS: int(80 * time.Millisecond.Milliseconds())}))
		}
	}
	return hook.ID.String()
}
