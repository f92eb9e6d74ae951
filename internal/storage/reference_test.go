package storage_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/storage"
)

func TestPutAndCopy(t *testing.T) {
	s, ctx := api, t.Context()
	from, to, data := newKey(), newKey(), []byte("a coil of rope")
	require.NoError(t, s.Put(ctx, from, data, "image/png"))
	require.ErrorIs(t, s.Put(ctx, from, []byte("another"), "image/png"), storage.ErrExists, "what is there stays")
	for range 2 {
		require.NoError(t, s.Copy(ctx, from, to), "twice is as once")
	}
	var got bytes.Buffer
	sum, size, err := s.Fetch(ctx, to, "", &got)
	require.NoError(t, err)
	require.Equal(t, data, got.Bytes())
	require.EqualValues(t, len(data), size)
	require.Equal(t, digest(data), sum)
	require.ErrorIs(t, s.Copy(ctx, newKey(), newKey()), storage.ErrNotFound)
}
