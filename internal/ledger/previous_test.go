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

// What an empty delivery left is nothing to compare with where an earlier one could be measured.
func TestEvidenceBeforeAnEmptyDelivery(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones[0].ID
	measured, empty := failing(), failing()
	measured.Findings = []ledger.Finding{{Check: "scene.size", Outcome: "fail", Blocks: true}}
	empty.Findings = []ledger.Finding{{Check: "file.roles", Outcome: "fail", Blocks: true}, {Ord: 1, Check: "scene.size", Outcome: "not_evaluated", FollowsFrom: "file.roles"}}
	empty.Objects[0].ObjectKey += "-empty"
	s.deliver(s.yard, ms)
	s.inspect(empty)
	s.deliver(s.yard, ms)
	second := s.inspect(measured)
	o, err := s.worker.EvidenceBefore(s.ctx(), second)
	require.NoError(t, err)
	require.Equal(t, empty.Objects[0].ObjectKey, o.ObjectKey, "there is nothing better")
	s.deliver(s.yard, ms)
	s.inspect(empty)
	d := s.deliver(s.yard, ms)
	fourth := s.claim()
	o, err = s.worker.EvidenceBefore(s.ctx(), fourth)
	require.NoError(t, err)
	require.Equal(t, measured.Objects[0], o)
	require.NoError(t, s.store.InTx(s.ctx(), s.yard, func(tx *ledger.Tx) error {
		past, err := tx.EvidenceBefore(s.ctx(), d)
		require.Equal(t, 2, past.Number)
		return err
	}))
}
