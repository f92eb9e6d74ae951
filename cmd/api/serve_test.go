package main

import (
	"context"
	"io"
	"net"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"
)

// A request under way when the service is told to stop is answered; a new one is not taken.
func TestStoppingLetsRequestsFinish(t *testing.T) {
	t.Parallel()
	l, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	require.NoError(t, err)
	began, goOn := make(chan struct{}), make(chan struct{})
	ctx, cancel := context.WithCancel(t.Context())
	group, ctx := errgroup.WithContext(ctx)
	serveOn(ctx, group, l, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		close(began)
		<-goOn
		_, _ = io.WriteString(w, "whole")
	}))
	body := make(chan string, 1)
	go func() {
		resp, err := http.Get("http://" + l.Addr().String())
		if err != nil {
			body <- err.Error()
			return
		}
		defer resp.Body.Close()
		b, _ := io.ReadAll(resp.Body)
		body <- string(b)
	}()
	<-began
	cancel()
	require.Eventually(t, func() bool {
		conn, err := net.DialTimeout("tcp", l.Addr().String(), time.Second)
		if err == nil {
			_ = conn.Close()
		}
		return err != nil
	}, 10*time.Second, 10*time.Millisecond, "the listener is closed first")
	close(goOn)
	require.Equal(t, "whole", <-body)
	require.NoError(t, group.Wait())
}

func TestReachable(t *testing.T) {
	t.Parallel()
	for address, want := range map[string]string{"0.0.0.0:80": "localhost:80", "[::]:80": "localhost:80", "127.0.0.1:80": "127.0.0.1:80", "host:80": "host:80"} {
		require.Equal(t, want, reachable(address))
	}
}
