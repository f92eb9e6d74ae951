//go:build full

package endtoend

import (
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// weather stands between all programs and the S3 server, and can be bad: it cuts connections, answers with errors, slowly
// or by half.
type weather struct {
	url    string
	server *httptest.Server

	mu    sync.Mutex
	now   string // "", "errors", "half" or "slow"
	until time.Time
	open  map[net.Conn]bool
}

func newWeather(t *testing.T, endpoint string) *weather {
	target, err := url.Parse(endpoint)
	require.NoError(t, err)
	w := &weather{open: map[net.Conn]bool{}}
	proxy := &httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) {
			r.SetURL(target)
			r.Out.Host = r.In.Host // it is signed
		},
		ErrorHandler: func(out http.ResponseWriter, _ *http.Request, _ error) { out.WriteHeader(http.StatusBadGateway) },
	}
	w.server = httptest.NewUnstartedServer(http.HandlerFunc(func(out http.ResponseWriter, r *http.Request) {
		switch w.like() {
		case "errors":
			out.WriteHeader(http.StatusInternalServerError)
			return
		case "slow":
			time.Sleep(700 * time.Millisecond)
		case "half":
			if r.Method == http.MethodGet {
				out = &halved{ResponseWriter: out}
			} else if r.ContentLength > 1 { // what is sent breaks off on the way
				r.Body = io.NopCloser(io.MultiReader(io.LimitReader(r.Body, r.ContentLength/2), broken{}))
			}
		}
		proxy.ServeHTTP(out, r)
	}))
	w.server.Config.ConnState = func(c net.Conn, s http.ConnState) {
		w.mu.Lock()
		defer w.mu.Unlock()
		if s == http.StateClosed || s == http.StateHijacked {
			delete(w.open, c)
		} else {
			w.open[c] = true
		}
	}
	w.server.Start()
	w.url = w.server.URL
	t.Cleanup(func() { w.server.CloseClientConnections(); w.server.Close() })
	return w
}

func (w *weather) like() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	if time.Now().After(w.until) {
		return ""
	}
	return w.now
}

// turn makes the weather bad for a while.
func (w *weather) turn(now string, long time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.now, w.until = now, time.Now().Add(long)
}

// cut breaks every open connection.
func (w *weather) cut() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for c := range w.open {
		_ = c.Close()
	}
}

// broken is a connection that broke.
type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, io.ErrUnexpectedEOF }

// halved ends a body in the middle of what its length promised.
type halved struct {
	http.ResponseWriter
	left int64
	told bool
}

func (h *halved) WriteHeader(status int) {
	n, _ := strconv.ParseInt(h.Header().Get("Content-Length"), 10, 64)
	h.left, h.told = n/2, true
	h.ResponseWriter.WriteHeader(status)
}

func (h *halved) Write(p []byte) (int, error) {
	if !h.told {
		h.WriteHeader(http.StatusOK)
	}
	if int64(len(p)) > h.left {
		_, _ = h.ResponseWriter.Write(p[:h.left])
		panic(http.ErrAbortHandler) // the connection breaks here
	}
	h.left -= int64(len(p))
	return h.ResponseWriter.Write(p)
}
