package desk

import (
	"context"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/require"
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
