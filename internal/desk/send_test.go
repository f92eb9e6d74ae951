package desk

import (
	"context"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/client"
)

// TestSendSaysWhyItWasRefused: a bad token is told in plain words, with what to do.
func TestSendSaysWhyItWasRefused(t *testing.T) {
	t.Parallel()
	folder, specPath := delivery(t, "crate")
	for status, want := range map[int]string{
		http.StatusUnauthorized: "does not know this token",
		http.StatusForbidden:    "needs the scope deliver",
	} {
		asked := ""
		service := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			asked = r.Header.Get("Authorization")
			w.Header().Set("Content-Type", "application/problem+json")
			w.WriteHeader(status)
			_, _ = w.Write([]byte(`{"type":"/problems/x","title":"x","status":401,"detail":"x"}`))
		}))
		var out, errs text
		code := Send(context.Background(), Streams{Out: &out, Err: &errs}, self(t), "not-a-token", []string{"--spec", specPath, "--server", service.URL, folder})
		service.Close()
		require.Equal(t, ExitNotEvaluated, code)
		require.Contains(t, errs.String(), want)
		require.Equal(t, "Bearer not-a-token", asked)
	}
}

// A receipt proves a delivery to whoever holds it: that of another seal is never written over.
func TestReceiptsOfOtherSealsStay(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "lantern")
	keep := func(milestone string, leaf string, size int64) string {
		path, err := keepReceipt(folder, milestone, 1, client.Receipt{LeafHash: leaf, Size: size})
		require.NoError(t, err)
		return filepath.Base(path)
	}
	require.Equal(t, "lantern-receipt-game_mesh-1.json", keep("game_mesh", "aa", 3))
	require.Equal(t, "lantern-receipt-maps-1.json", keep("maps", "bb", 5))
	require.Equal(t, "lantern-receipt-maintenance-1.json", keep("maintenance", "cc", 7))
	require.Equal(t, "lantern-receipt-maintenance-1-2.json", keep("maintenance", "dd", 9), "a second maintenance milestone begins at 1 again")
	require.Equal(t, "lantern-receipt-maintenance-1-2.json", keep("maintenance", "dd", 11), "the same seal again")
	require.Equal(t, "lantern-receipt-maintenance-1.json", keep("maintenance", "cc", 12))
}
