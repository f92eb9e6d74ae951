package ledger_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// What the database adds up is what the rows add up to, in any period, for the studio and for each vendor; and the first rows are the
// first of all.
func TestPayableSumsAreThoseOfTheRows(t *testing.T) {
	s := newScene(t)
	for vendor, p := range map[*ledger.Who]ledger.Prop{&s.yard: s.yardProp, &s.lamp: s.lampProp} {
		d := s.deliver(*vendor, p.Milestones[0].ID)
		s.inspect(passing())
		_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
		require.NoError(t, err)
	}
	now := time.Now()
	type key struct {
		vendor   uuid.UUID
		currency string
	}
	for _, f := range []ledger.PayableFilter{{}, {From: now.Add(-time.Hour), To: now.Add(time.Hour)}, {To: now.Add(-time.Hour)}, {Vendor: s.lamp.Party}} {
		for _, who := range []ledger.Who{s.studio, s.yard, s.lamp} {
			s.as(who, func(tx *ledger.Tx) error {
				rows, err := tx.PayablesOf(s.ctx(), f)
				require.NoError(t, err)
				require.True(t, slices.IsSortedFunc(rows, func(a, b ledger.Payable) int { return a.At.Compare(b.At) }), "oldest first")
				each := []ledger.Payable{}
				require.NoError(t, tx.EachPayable(s.ctx(), f, func(p ledger.Payable) error { each = append(each, p); return nil }))
				require.Equal(t, rows, each)
				sums, err := tx.PayableSums(s.ctx(), f)
				require.NoError(t, err)
				want, got := map[key]int64{}, map[key]int64{}
				n := 0
				for _, r := range rows {
					want[key{r.VendorID, r.Currency}] += r.AmountMinor
				}
				for _, one := range sums {
					got[key{one.Vendor, one.Currency}] += one.AmountMinor
					n += one.Count
				}
				require.Equal(t, want, got)
				require.Len(t, rows, n)
				first, err := tx.FirstPayables(s.ctx(), f, 1)
				require.NoError(t, err)
				require.Equal(t, rows[:min(1, len(rows))], first)
				return nil
			})
		}
	}
	s.as(s.studio, func(tx *ledger.Tx) error {
		sums, err := tx.PayableSums(s.ctx(), ledger.PayableFilter{})
		require.Len(t, sums, 2, "both vendors are owed something")
		return err
	})
}
