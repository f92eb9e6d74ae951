package ledger_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// A first delivery has none before it; the next is compared with the newest before it that left evidence, which an
// inspection that could not be made does not.
func TestEvidenceBefore(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones[0].ID
	s.deliver(s.yard, ms)
	first := s.inspect(failing())
	_, err := s.worker.EvidenceBefore(s.ctx(), first)
	require.ErrorIs(t, err, ledger.ErrNotFound)

	s.deliver(s.yard, ms)
	second := s.inspect(unable())
	o, err := s.worker.EvidenceBefore(s.ctx(), second)
	require.NoError(t, err)
	require.Equal(t, failing().Objects[0], o)

	s.deliver(s.yard, ms)
	third := s.claim()
	o, err = s.worker.EvidenceBefore(s.ctx(), third)
	require.NoError(t, err)
	require.Equal(t, failing().Objects[0], o, "the second left none")
}
