package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// reachableDir is a folder that the database's own account can reach when the tests run as root.
func reachableDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "api-embedded-")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o755))
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	return dir
}

// served runs the service on a data folder until stop is called.
func served(t *testing.T, dir string) (address string, stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	c := config{embedded: dir, listen: "127.0.0.1:0", metricsListen: "off", s3Listen: "127.0.0.1:0", s3Bucket: "proofhouse"}
	up, over := make(chan string, 1), make(chan error, 1)
	go func() {
		over <- c.serve(ctx, slog.New(slog.NewJSONHandler(io.Discard, nil)), func(address string) { up <- address })
	}()
	select {
	case address = <-up:
	case err := <-over:
		cancel()
		require.NoError(t, err)
	case <-time.After(2 * time.Minute):
		cancel()
		require.Fail(t, "the service did not come up")
	}
	return address, func() {
		cancel()
		require.NoError(t, <-over)
	}
}

// The way of a newcomer: bootstrap, serve, log in; stop; start again and find everything there.
func TestOneMachineFromNothing(t *testing.T) {
	dir := reachableDir(t)
	code, c := call(t, noEnv, "bootstrap", "--embedded", dir, "--studio", "Harbour Works", "--name", "Ines Haddal", "--email", "ines@harbour.example")
	require.Equal(t, exitOK, code, c.err.String())
	found := regexp.MustCompile(`password  (\S+)`).FindStringSubmatch(c.out.String())
	require.Len(t, found, 2, c.out.String())

	address, stop := served(t, dir)
	client := logIn(t, address, "ines@harbour.example", found[1])
	resp := postJSON(t, client, address+"/v1/projects", `{"code":"QUAY","title":"The Quay"}`)
	require.Equal(t, 201, resp.StatusCode)
	for _, name := range []string{adminFile, workerFile, notaryFile, postFile} {
		info, err := os.Stat(filepath.Join(dir, name))
		require.NoError(t, err)
		require.Equal(t, os.FileMode(0o600), info.Mode().Perm(), name)
	}
	text, err := os.ReadFile(filepath.Join(dir, workerFile))
	require.NoError(t, err)
	conn, err := pgx.Connect(t.Context(), envValue(string(text), "DATABASE_URL"))
	require.NoError(t, err)
	var prices int
	require.NoError(t, conn.QueryRow(t.Context(), `SELECT count(*) FROM ph.inspection`).Scan(&prices))
	require.Error(t, conn.QueryRow(t.Context(), `SELECT price_minor FROM ph.prop LIMIT 1`).Scan(&prices), "the worker's role sees no price")
	require.NoError(t, conn.Close(t.Context()))

	// Beside a running service: a second studio, the same e-mail refused, a second service on the folder refused.
	code, c = call(t, noEnv, "bootstrap", "--embedded", dir, "--studio", "Far Shore", "--name", "F", "--email", "far@shore.example")
	require.Equal(t, exitOK, code, c.err.String())
	code, c = call(t, noEnv, "bootstrap", "--embedded", dir, "--studio", "Again", "--name", "I", "--email", "ines@harbour.example")
	require.Equal(t, exitFailed, code)
	require.Contains(t, c.err.String(), "is there already")
	code, c = call(t, noEnv, "serve", "--embedded", dir, "--listen", "127.0.0.1:0", "--metrics-listen", "off")
	require.Equal(t, exitFailed, code)
	require.Equal(t, 1, strings.Count(c.err.String(), "\n"), c.err.String())
	stop()

	began := time.Now()
	address, stop = served(t, dir)
	defer stop()
	t.Logf("second start: %s", time.Since(began))
	client = logIn(t, address, "ines@harbour.example", found[1])
	list, err := client.Get(address + "/v1/projects")
	require.NoError(t, err)
	defer list.Body.Close()
	b, err := io.ReadAll(list.Body)
	require.NoError(t, err)
	require.Contains(t, string(b), "The Quay")
}

func logIn(t *testing.T, address, email, password string) *http.Client {
	t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	client := &http.Client{Jar: jar, Timeout: time.Minute}
	body, err := json.Marshal(map[string]string{"email": email, "password": password})
	require.NoError(t, err)
	require.Equal(t, 201, postJSON(t, client, address+"/v1/sessions", string(body)).StatusCode)
	return client
}

func postJSON(t *testing.T, client *http.Client, address, body string) *http.Response {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, address, bytes.NewReader([]byte(body)))
	require.NoError(t, err)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Idempotency-Key", fmt.Sprintf("key-%d", time.Now().UnixNano()))
	resp, err := client.Do(r)
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	return resp
}
