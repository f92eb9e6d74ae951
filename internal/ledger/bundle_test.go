package ledger_test

import (
	"bytes"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// A record that is written part by part has the bytes of one that is made whole, over more than one part of each list.
func TestRecordWrittenInPartsIsTheWholeOne(t *testing.T) {
	s := newScene(t)
	order := s.yardOrder.ID
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	s.inspect(failing())
	for range 3 {
		s.as(s.studio, func(tx *ledger.Tx) error {
			for i := range 120 {
				if _, err := tx.AddNote(s.ctx(), ledger.NewNote{Delivery: d.ID, Text: fmt.Sprintf("Note %d: <quay> & \u2028 \"pier\"", i)}); err != nil {
					return err
				}
			}
			return nil
		})
	}
	d = s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	s.inspect(passing())
	_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	var whole, inOne []byte
	s.as(s.yard, func(tx *ledger.Tx) (err error) {
		if whole, err = tx.MarshalledBundle(s.ctx(), order); err != nil {
			return err
		}
		inOne, err = tx.Bundle(s.ctx(), order)
		return err
	})
	var parts bytes.Buffer
	require.NoError(t, s.store.WriteBundle(s.ctx(), s.yard, order, &parts))
	require.Greater(t, bytes.Count(whole, []byte(`"index":`)), 360)
	require.True(t, bytes.Equal(whole, inOne))
	require.True(t, bytes.Equal(whole, parts.Bytes()))
	report, err := ledger.VerifyBundle(parts.Bytes(), nil)
	require.NoError(t, err)
	require.Empty(t, report.Problems)

	parts.Reset()
	require.ErrorIs(t, s.store.WriteBundle(s.ctx(), s.lamp, order, &parts), ledger.ErrNotFound)
	require.Zero(t, parts.Len(), "nothing is written of what may not be read")
	require.Error(t, s.store.WriteBundle(s.ctx(), s.yard, order, shortWriter{}), "what cannot be written is no record")
}

type shortWriter struct{}

func (shortWriter) Write([]byte) (int, error) { return 0, fmt.Errorf("the other end is gone") }
