package endtoend

import (
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// gate stands between a test's programs and the S3 server: it can hold requests, so that a test waits for an event and
// never for a time, and it counts them.
type gate struct {
	url string

	mu     sync.Mutex
	closed bool                     // every request is refused, as by storage that is down
	hold   func(*http.Request) bool // which requests wait
	held   chan struct{}            // told of each that waits
	free   chan struct{}            // closed to let them go
	passed []string                 // "PUT /harbour/in/…" of each that storage answered well
}

func newGate(t *testing.T) *gate {
	t.Helper()
	target, err := url.Parse(objects.Endpoint)
	require.NoError(t, err)
	g := &gate{}
	proxy := &httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) {
			r.SetURL(target)
			r.Out.Host = r.In.Host // it is signed
		},
		ModifyResponse: g.count,
		ErrorHandler:   func(w http.ResponseWriter, _ *http.Request, _ error) { w.WriteHeader(http.StatusBadGateway) },
	}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !g.pass(r) {
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		proxy.ServeHTTP(w, r)
	}))
	g.url = server.URL
	t.Cleanup(func() { g.open(); server.CloseClientConnections(); server.Close() })
	return g
}

func (g *gate) pass(r *http.Request) bool {
	g.mu.Lock()
	closed, wait, held, free := g.closed, g.hold != nil && g.hold(r), g.held, g.free
	g.mu.Unlock()
	if closed {
		return false
	}
	if wait {
		select {
		case held <- struct{}{}:
		default:
		}
		select {
		case <-free:
		case <-r.Context().Done():
			return false
		}
	}
	return true
}

// count remembers what storage has answered well.
func (g *gate) count(r *http.Response) error {
	if r.StatusCode < 300 {
		g.mu.Lock()
		g.passed = append(g.passed, r.Request.Method+" "+r.Request.URL.Path)
		g.mu.Unlock()
	}
	return nil
}

// holdOn makes matching requests wait until open. The channel is told when one waits.
func (g *gate) holdOn(match func(*http.Request) bool) <-chan struct{} {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.hold, g.held, g.free = match, make(chan struct{}, 1), make(chan struct{})
	return g.held
}

// open lets everything through.
func (g *gate) open() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.closed, g.hold = false, nil
	if g.free != nil {
		close(g.free)
		g.free = nil
	}
}

// close refuses everything, as storage does that is down.
func (g *gate) close() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.closed = true
}

// requests returns those that storage has answered well.
func (g *gate) requests() []string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return append([]string(nil), g.passed...)
}

// A worker's two ways to storage: it reads what was delivered, and writes evidence.
// pulls are a worker's requests for delivered files; a starting one first asks for an object that is never there.
func pulls(r *http.Request) bool {
	return r.Method == http.MethodGet && strings.HasPrefix(r.URL.Path, "/"+objects.Bucket+"/in/") && !strings.HasSuffix(r.URL.Path, "/in/never")
}

func stores(r *http.Request) bool {
	return r.Method == http.MethodPut && strings.HasPrefix(r.URL.Path, "/"+objects.Bucket+"/wo/")
}
