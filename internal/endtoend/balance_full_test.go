//go:build full

package endtoend

import (
	"errors"
	"net"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
)

// balance stands where a load balancer does, in front of API processes: each request goes to the next one, and to another
// where that one takes no connection. It gives every log-in an address of its own, as people have.
type balance struct {
	url      string
	backends []string
	turn     atomic.Int64

	mu       sync.Mutex
	out      map[string]bool // taken out of rotation
	statuses map[int]int
	broken   []string // answers that ended in the middle, or never came
}

func newBalance(t *testing.T, backends ...string) *balance {
	b := &balance{backends: backends, out: map[string]bool{}, statuses: map[int]int{}}
	proxy := &httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) {
			r.Out.URL.Scheme, r.Out.Host = "http", r.In.Host
			n := b.turn.Add(1)
			r.Out.Header.Set("X-Forwarded-For", "10."+strconv.Itoa(int(n>>16&255))+"."+strconv.Itoa(int(n>>8&255))+"."+strconv.Itoa(int(n&255)))
		},
		Transport: b,
		ModifyResponse: func(r *http.Response) error {
			b.mu.Lock()
			defer b.mu.Unlock()
			b.statuses[r.StatusCode]++
			return nil
		},
		ErrorHandler: func(w http.ResponseWriter, r *http.Request, err error) {
			if r.Context().Err() == nil { // the client is still there
				b.mu.Lock()
				b.broken = append(b.broken, r.Method+" "+r.URL.Path+": "+err.Error())
				b.mu.Unlock()
			}
			w.WriteHeader(http.StatusBadGateway)
		},
	}
	server := httptest.NewServer(proxy)
	t.Cleanup(func() { server.CloseClientConnections(); server.Close() })
	b.url = server.URL
	return b
}

// rotate takes a backend out of rotation before it is stopped, or back in, as an orchestrator does.
func (b *balance) rotate(backend string, in bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.out[backend] = !in
}

// once uses each connection once: one that is kept may be closed by a stopping server just as the next request is sent.
var once = &http.Transport{DisableKeepAlives: true}

// RoundTrip asks the next backend in rotation, and the others where nobody listens.
func (b *balance) RoundTrip(r *http.Request) (answer *http.Response, err error) {
	at := int(b.turn.Load())
	for i := range b.backends {
		one := r.Clone(r.Context())
		one.URL.Host = b.backends[(at+i)%len(b.backends)]
		b.mu.Lock()
		out := b.out[one.URL.Host]
		b.mu.Unlock()
		if out && i < len(b.backends)-1 {
			continue
		}
		answer, err = once.RoundTrip(one)
		var dial *net.OpError
		if err == nil || !errors.As(err, &dial) || dial.Op != "dial" {
			return answer, err
		}
	}
	return nil, err
}
