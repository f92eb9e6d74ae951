package client

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"
)

// A request is sent again only where that is safe, with its whole body, and not for ever.
func TestAgain(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		method, key string
		failures    int // answers 503 before one that is well; under 0, connections that break
		status      int
		asked       int32
	}{
		"a read over an overload":           {"GET", "", 2, 200, 3},
		"a keyed act over an overload":      {"POST", "k", 2, 200, 3},
		"a keyed act over broken lines":     {"POST", "k", -2, 200, 3},
		"an act without a key is sent once": {"POST", "", 2, 503, 1},
		"a read that is refused for ever":   {"GET", "", 99, 503, tries},
		"what goes well the first time":     {"POST", "k", 0, 200, 1},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var asked atomic.Int32
			server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				n := int(asked.Add(1))
				body, err := io.ReadAll(r.Body)
				require.NoError(t, err)
				require.Equal(t, map[string]string{"GET": "", "POST": "the manifest"}[r.Method], string(body))
				switch {
				case n <= c.failures:
					w.Header().Set("Retry-After", "0")
					w.WriteHeader(http.StatusServiceUnavailable)
				case n <= -c.failures:
					panic(http.ErrAbortHandler)
				}
			}))
			defer server.Close()
			var body io.Reader
			if c.method == "POST" {
				body = strings.NewReader("the manifest")
			}
			r, err := http.NewRequestWithContext(t.Context(), c.method, server.URL, body)
			require.NoError(t, err)
			if c.key != "" {
				r.Header.Set("Idempotency-Key", c.key)
			}
			answer, err := again{&http.Client{}}.Do(r)
			require.NoError(t, err)
			require.NoError(t, answer.Body.Close())
			require.Equal(t, c.status, answer.StatusCode)
			require.Equal(t, c.asked, asked.Load())
		})
	}
}

func TestAddresses(t *testing.T) {
	t.Parallel()
	for _, bad := range []string{"", "harbour", "harbour.example", "ftp://harbour.example", "http://"} {
		_, err := New(bad, "x")
		require.ErrorContains(t, err, "http://", bad)
	}
	_, err := New("https://harbour.example/", "")
	require.NoError(t, err)
}
