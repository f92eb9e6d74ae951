package ledger_test

import (
	"errors"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

func TestIdempotencyKeys(t *testing.T) {
	s := newScene(t)
	runs := 0
	post := func(who ledger.Who, key, body string, fail error) (ref ledger.Ref, replayed bool, err error) {
		err = s.try(who, func(tx *ledger.Tx) (err error) {
			ref, replayed, err = ledger.Idempotent(s.ctx(), tx, ledger.Request{Method: "POST", Route: "/v1/projects", Key: key, Body: []byte(body)}, func() (ledger.Ref, error) {
				runs++
				if fail != nil {
					return ledger.Ref{}, fail
				}
				return ledger.Ref{Kind: "project", ID: uuid.New()}, nil
			})
			return err
		})
		return ref, replayed, err
	}
	first, replayed, err := post(s.studio, "k1", "body", nil)
	require.NoError(t, err)
	require.False(t, replayed)
	again, replayed, err := post(s.studio, "k1", "body", nil)
	require.NoError(t, err)
	require.True(t, replayed)
	require.Equal(t, first, again)
	require.Equal(t, 1, runs)
	_, _, err = post(s.studio, "k1", "another body", nil)
	require.ErrorIs(t, err, ledger.ErrKeyReused)
	_, replayed, err = post(s.yard, "k1", "body", nil)
	require.NoError(t, err)
	require.False(t, replayed, "another caller's key is another key")
	boom := errors.New("boom")
	_, _, err = post(s.studio, "k2", "body", boom)
	require.ErrorIs(t, err, boom)
	_, replayed, err = post(s.studio, "k2", "body", nil)
	require.NoError(t, err)
	require.False(t, replayed, "what failed was not kept")
	a, _, err := post(s.studio, "", "body", nil)
	require.NoError(t, err)
	b, _, err := post(s.studio, "", "body", nil)
	require.NoError(t, err)
	require.NotEqual(t, a, b, "no key, no memory")

	s.tamper(`UPDATE ph.idempotency SET created_at = now() - interval '49 hours' WHERE key = 'k1'`)
	n, err := s.store.SweepKeys(s.ctx())
	require.NoError(t, err)
	require.EqualValues(t, 2, n)
}

// TestKeyInFlight: a repeat that comes while the first still runs is told so at once.
func TestKeyInFlight(t *testing.T) {
	s := newScene(t)
	r := ledger.Request{Method: "POST", Route: "/v1/projects", Key: "k"}
	inside, leave, done := make(chan struct{}), make(chan struct{}), make(chan error, 1)
	go func() {
		done <- s.try(s.studio, func(tx *ledger.Tx) error {
			_, _, err := ledger.Idempotent(s.ctx(), tx, r, func() (ledger.Ref, error) {
				close(inside)
				<-leave
				return ledger.Ref{Kind: "x", ID: uuid.New()}, nil
			})
			return err
		})
	}()
	<-inside
	never := func() (ledger.Ref, error) { return ledger.Ref{}, errors.New("ran twice") }
	err := s.try(s.studio, func(tx *ledger.Tx) error { _, _, err := ledger.Idempotent(s.ctx(), tx, r, never); return err })
	require.ErrorIs(t, err, ledger.ErrInFlight)
	close(leave)
	require.NoError(t, <-done)
	err = s.try(s.studio, func(tx *ledger.Tx) error {
		_, replayed, err := ledger.Idempotent(s.ctx(), tx, r, never)
		require.True(t, replayed)
		return err
	})
	require.NoError(t, err)
}
