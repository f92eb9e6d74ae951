package storage_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/storage"
)

var (
	server *s3server.Server
	api    *storage.Store
	worker *storage.Store
)

func TestMain(m *testing.M) {
	os.Exit(run(m))
}

func run(m *testing.M) int {
	dir, err := os.MkdirTemp("", "proofhouse-s3-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(dir)
	server, err = s3server.Start(context.Background(), s3server.Config{Dir: dir, Listen: "127.0.0.1:0", Bucket: "quay"})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer func() { _ = server.Stop() }()
	api, worker = open(server.API), open(server.Worker)
	return m.Run()
}

func open(k s3server.Keys) *storage.Store {
	s, err := storage.Open(storage.Config{Endpoint: server.Endpoint, Region: s3server.Region, Bucket: server.Bucket, AccessKey: k.Access, SecretKey: k.Secret})
	if err != nil {
		panic(err)
	}
	return s
}

func digest(b []byte) string { s := sha256.Sum256(b); return hex.EncodeToString(s[:]) }

// send follows a link as a vendor's client would; drop leaves one header out.
func send(t *testing.T, l storage.Link, body []byte, drop string) int {
	t.Helper()
	req, err := http.NewRequest(l.Method, l.URL, bytes.NewReader(body))
	require.NoError(t, err)
	for k, v := range l.Headers {
		if k != drop {
			req.Header.Set(k, v)
		}
	}
	resp, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	_, _ = io.Copy(io.Discard, resp.Body)
	require.NoError(t, resp.Body.Close())
	return resp.StatusCode
}

func newKey() string {
	return storage.InKey(uuid.NewString(), uuid.NewString(), uuid.NewString())
}

func TestProbe(t *testing.T) {
	require.NoError(t, api.Probe(t.Context()))
}

func TestLinkIsBoundToOneObject(t *testing.T) {
	ctx := t.Context()
	body := []byte("a lantern for the east pier")
	key := newKey()
	l, err := api.PresignPut(ctx, key, digest(body), int64(len(body)), time.Minute)
	require.NoError(t, err)

	require.Equal(t, http.StatusBadRequest, send(t, l, []byte("a lantern for the west pier"), ""), "other bytes of the same length")
	require.NotEqual(t, http.StatusOK, send(t, l, body[:5], ""), "shorter")
	require.Equal(t, http.StatusForbidden, send(t, l, body, "If-None-Match"), "condition left out")
	other := l
	other.URL = strings.Replace(l.URL, key, newKey(), 1)
	require.Equal(t, http.StatusForbidden, send(t, other, body, ""), "another key")

	require.Equal(t, http.StatusOK, send(t, l, body, ""))
	require.Equal(t, http.StatusPreconditionFailed, send(t, l, body, ""), "a second write")

	o, err := api.Head(ctx, key)
	require.NoError(t, err)
	require.Equal(t, int64(len(body)), o.Size)
	require.Equal(t, digest(body), o.SHA256)
}

func TestMultipart(t *testing.T) {
	ctx := t.Context()
	key := newKey()
	id, err := api.CreateMultipart(ctx, key)
	require.NoError(t, err)
	one, two := bytes.Repeat([]byte{1}, 5<<20), []byte("the rest")
	for i, body := range [][]byte{one, two} {
		l, err := api.PresignPart(ctx, key, id, i+1, digest(body), int64(len(body)), time.Minute)
		require.NoError(t, err)
		require.NotEqual(t, http.StatusOK, send(t, l, bytes.Repeat([]byte{9}, len(body)), ""), "other bytes")
		require.Equal(t, http.StatusOK, send(t, l, body, ""))
	}
	parts, err := api.Parts(ctx, key, id)
	require.NoError(t, err)
	require.Len(t, parts, 2)
	require.Equal(t, digest(one), parts[0].SHA256)
	require.NoError(t, api.CompleteMultipart(ctx, key, id, parts))
	require.NoError(t, api.CompleteMultipart(ctx, key, id, parts), "a second completion")

	o, err := api.Head(ctx, key)
	require.NoError(t, err)
	var got bytes.Buffer
	sum, size, err := worker.Fetch(ctx, key, o.ETag, &got)
	require.NoError(t, err)
	require.Equal(t, int64(len(one)+len(two)), size)
	require.Equal(t, digest(append(one, two...)), sum)

	_, _, err = worker.Fetch(ctx, key, `"not-this"`, io.Discard)
	require.ErrorIs(t, err, storage.ErrChanged)

	late, err := api.CreateMultipart(ctx, key)
	require.NoError(t, err)
	l, err := api.PresignPart(ctx, key, late, 1, digest(two), int64(len(two)), time.Minute)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, send(t, l, two, ""))
	parts, err = api.Parts(ctx, key, late)
	require.NoError(t, err)
	require.ErrorIs(t, api.CompleteMultipart(ctx, key, late, parts), storage.ErrExists, "a second object at the same key")
	require.NoError(t, api.AbortMultipart(ctx, key, late))
	require.NoError(t, api.AbortMultipart(ctx, key, late), "a second abandonment")
}

func TestEvidenceIsStoredOnce(t *testing.T) {
	ctx := t.Context()
	wo := uuid.NewString()
	body := []byte(`{"verdict":"pass"}`)
	sum, size, err := worker.PutEvidence(ctx, wo, bytes.NewReader(body), "application/json")
	require.NoError(t, err)
	require.Equal(t, digest(body), sum)
	require.Equal(t, int64(len(body)), size)
	again, _, err := worker.PutEvidence(ctx, wo, bytes.NewReader(body), "application/json")
	require.NoError(t, err)
	require.Equal(t, sum, again)

	r, n, err := api.Open(ctx, storage.EvidenceKey(wo, sum))
	require.NoError(t, err)
	defer r.Close()
	got, err := io.ReadAll(r)
	require.NoError(t, err)
	require.Equal(t, body, got)
	require.Equal(t, int64(len(body)), n)

	l, err := api.PresignGet(ctx, storage.EvidenceKey(wo, sum), "", "application/json", time.Minute)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, send(t, l, nil, ""))
}

// The worker's credentials must not be able to write or delete what a vendor delivered.
func TestWorkerCannotTouchDeliveries(t *testing.T) {
	ctx := t.Context()
	body := []byte("crate")
	key := newKey()
	l, err := api.PresignPut(ctx, key, digest(body), int64(len(body)), time.Minute)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, send(t, l, body, ""))
	require.Error(t, worker.Delete(ctx, key))
	forged, err := worker.PresignPut(ctx, newKey(), digest(body), int64(len(body)), time.Minute)
	require.NoError(t, err)
	require.Equal(t, http.StatusForbidden, send(t, forged, body, ""))
	_, err = api.Head(ctx, key)
	require.NoError(t, err)
}

func TestNotFound(t *testing.T) {
	_, err := api.Head(t.Context(), newKey())
	require.ErrorIs(t, err, storage.ErrNotFound)
	_, _, err = api.Fetch(t.Context(), newKey(), "", io.Discard)
	require.ErrorIs(t, err, storage.ErrNotFound)
	require.NoError(t, api.Delete(t.Context(), newKey()), "deleting what is not there")
	_, err = api.Parts(t.Context(), newKey(), uuid.NewString())
	require.True(t, errors.Is(err, storage.ErrNotFound), "%v", err)
}
