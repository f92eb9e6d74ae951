package ledger_test

import (
	"crypto/sha256"
	"fmt"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// TestApprovalByTierAndDeputy: a hero prop is the art director's alone, and a deputy's on the days named.
func TestApprovalByTierAndDeputy(t *testing.T) {
	s := newScene(t)
	lead := s.member(s.studio, "Lead", "lead@harbour.example", ledger.ArtLead)
	ta := s.member(s.studio, "Tech", "tech@harbour.example", ledger.TechnicalArtist)
	today := time.Now().UTC().Truncate(24 * time.Hour)
	decide := func(who ledger.Who, tier string) error {
		s.tamper(`UPDATE ph.prop SET tier = $2 WHERE id = $1`, s.yardProp.ID, tier)
		d, err := s.newest(s.yardProp.Milestones[0].ID)
		require.NoError(t, err)
		tx := s.try(who, func(tx *ledger.Tx) error {
			if _, err := tx.SignOff(s.ctx(), ledger.NewSignOff{Delivery: d, Decision: ledger.Accept}); err != nil {
				return err
			}
			return errDone // only looked: rolled back
		})
		return tx
	}
	s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	s.inspect(passing())
	for _, row := range []struct {
		who  ledger.Who
		tier string
		may  bool
	}{{ta, "background", true}, {ta, "mid", false}, {lead, "background", true}, {lead, "mid", true}, {lead, "hero", false}, {lead, "close_up", false}, {s.studio, "hero", true}} {
		err := decide(row.who, row.tier)
		require.Equal(t, row.may, errorsIs(err, errDone), "%s on %s: %v", row.who.Name, row.tier, err)
	}
	appoint := func(by ledger.Who, in ledger.NewDeputy) error {
		return s.try(by, func(tx *ledger.Tx) error { _, err := tx.Appoint(s.ctx(), in); return err })
	}
	require.ErrorIs(t, appoint(lead, ledger.NewDeputy{Role: ledger.ArtDirector, Member: lead.Member, From: today, Until: today}), ledger.ErrForbidden)
	require.ErrorIs(t, appoint(s.studio, ledger.NewDeputy{Role: ledger.ArtDirector, Member: s.yard.Member, From: today, Until: today}), ledger.ErrNotFound)
	require.NoError(t, appoint(s.studio, ledger.NewDeputy{Role: ledger.ArtDirector, Member: lead.Member, From: today.AddDate(0, 0, 7), Until: today.AddDate(0, 0, 14)}))
	require.ErrorIs(t, decide(lead, "hero"), ledger.ErrForbidden, "not yet")
	require.NoError(t, appoint(s.studio, ledger.NewDeputy{Role: ledger.ArtDirector, Member: lead.Member, From: today.AddDate(0, 0, -1), Until: today.AddDate(0, 0, 1)}))
	d, err := s.newest(s.yardProp.Milestones[0].ID)
	require.NoError(t, err)
	so, err := s.signOff(lead, d, ledger.Accept, "")
	require.NoError(t, err)
	require.Equal(t, ledger.ArtDirector, so.ByRole)
	require.NotNil(t, so.Deputy)
	require.Empty(t, s.verify(s.studio.Party).Problems)
}

var errDone = ledger.ErrInFlight // an error that no rule of these tests gives

// TestSourceFilesHoldThePayment: acceptance stands, the money waits for the source files or for a reason.
func TestSourceFilesHoldThePayment(t *testing.T) {
	s := newScene(t)
	order, _, prop := s.aftercare(s.yard)
	s.as(s.yard, func(tx *ledger.Tx) error { // the leaver's delivery
		list, err := tx.Deliveries(s.ctx(), ledger.DeliveryFilter{Prop: prop.ID}, ledger.Page{})
		if err == nil {
			_, err = tx.Abandon(s.ctx(), list.Items[0].ID)
		}
		return err
	})
	d := s.deliver(s.yard, prop.Milestones[0].ID)
	s.inspect(passing())
	so, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	require.Nil(t, so.Payable)
	require.Equal(t, ledger.MAccepted, s.state(prop.Milestones[0].ID))
	var hold ledger.PaymentHold
	s.as(s.yard, func(tx *ledger.Tx) error {
		list, err := tx.PaymentHolds(s.ctx(), order.ID)
		require.NoError(t, err)
		hold = list[0]
		require.Equal(t, []string{"source.scene"}, hold.Missing)
		return nil
	})
	end := func(reason string) (h ledger.PaymentHold, err error) {
		err = s.try(s.studio, func(tx *ledger.Tx) (err error) { h, err = tx.EndPaymentHold(s.ctx(), hold.ID, reason); return err })
		return h, err
	}
	_, err = end("")
	require.ErrorIs(t, err, ledger.ErrInvalid)
	// They come with a maintenance delivery, which is judged, signed and not paid.
	var ms ledger.Milestone
	s.as(s.studio, func(tx *ledger.Tx) (err error) {
		ms, err = tx.OpenMaintenance(s.ctx(), prop.ID, "the archive")
		return err
	})
	err = s.try(s.studio, func(tx *ledger.Tx) error { _, err := tx.OpenMaintenance(s.ctx(), prop.ID, "twice"); return err })
	require.ErrorIs(t, err, ledger.ErrState)
	m := manifest(ms.ID)
	m.Files[1].Path, m.Files[1].Role = "boat.scene", "source.scene"
	s.as(s.yard, func(tx *ledger.Tx) (err error) { d, err = tx.OpenDelivery(s.ctx(), m); return err })
	s.seal(s.yard, d)
	require.Equal(t, "final", s.inspect(passing()).Milestone, "judged as what it takes the place of")
	h, err := end("")
	require.NoError(t, err)
	require.NotNil(t, h.EndedAt)
	so, err = s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	require.Nil(t, so.Payable, "the price is untouched")
	var total int64
	s.as(s.yard, func(tx *ledger.Tx) error {
		w, err := tx.WorkOrder(s.ctx(), order.ID)
		total = w.PayableMinor
		return err
	})
	require.EqualValues(t, 2000, total)
	require.Empty(t, s.verify(order.ID).Problems)
	s.tamper(`UPDATE ph.payment_hold SET amount_minor = 1 WHERE id = $1`, hold.ID)
	require.NotEmpty(t, s.verify(order.ID).Problems)
}

// TestHandoverNamesAndChanges: only what is accepted, under engine names, and what changed since the last one.
func TestHandoverNamesAndChanges(t *testing.T) {
	s := newScene(t)
	order, set, _ := s.aftercare(s.yard)
	hand := func(pattern string) (h ledger.Handover, err error) {
		err = s.try(s.studio, func(tx *ledger.Tx) (err error) { h, err = tx.HandOver(s.ctx(), order.ID, pattern); return err })
		return h, err
	}
	for _, bad := range []string{"", "/{prop}", "../{prop}", "{prop}//x", "{code}", "{prop} x"} {
		_, err := hand(bad)
		require.ErrorIs(t, err, ledger.ErrInvalid, bad)
	}
	_, err := hand("{prop}")
	require.ErrorIs(t, err, ledger.ErrInvalid, "two files, one name")
	h, err := hand("{prop}/{role}{ext}")
	require.NoError(t, err)
	require.Equal(t, 2, h.Number)
	require.Equal(t, "paint_set/game.glb", h.Files[0].Name)
	require.Equal(t, "same", h.Files[0].Change)
	require.Contains(t, h.SHA256SUMS(), "  paint_set/map_normal.png\n")
	var ms uuid.UUID
	require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT id FROM ph.milestone WHERE prop_id = $1 AND kind = 'maintenance'`, set.ID).Scan(&ms))
	m := manifest(ms)
	m.Files = m.Files[:1]
	m.Files[0].SHA256 = append([]byte{1}, m.Files[0].SHA256[1:]...)
	var d ledger.Delivery
	s.as(s.yard, func(tx *ledger.Tx) (err error) { d, err = tx.OpenDelivery(s.ctx(), m); return err })
	s.seal(s.yard, d)
	s.inspect(passing())
	_, err = s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	h, err = hand("{prop}/{role}{ext}")
	require.NoError(t, err)
	require.Equal(t, []string{"altered", "gone"}, []string{h.Files[0].Change, h.Files[1].Change})
	s.as(s.studio, func(tx *ledger.Tx) error {
		users, err := tx.UsersOf(s.ctx(), set.ID)
		require.NoError(t, err)
		require.Len(t, users, 1)
		require.Equal(t, "boat", users[0].PropCode)
		require.False(t, users[0].Newest, "the set changed: this prop is touched")
		return nil
	})
	s.as(s.yard, func(tx *ledger.Tx) error {
		_, err := tx.UseSet(s.ctx(), users0(t, s, set.ID), set.ID)
		if err == nil {
			var now []ledger.SetUse
			now, err = tx.UsersOf(s.ctx(), set.ID)
			require.True(t, now[0].Newest)
		}
		return err
	})
	require.Empty(t, s.verify(order.ID).Problems)
	require.Empty(t, s.verify(s.studio.Party).Problems)
}

func users0(t *testing.T, s *scene, set uuid.UUID) (prop uuid.UUID) {
	t.Helper()
	require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT prop_id FROM ph.set_use WHERE set_id = $1 LIMIT 1`, set).Scan(&prop))
	return prop
}

// TestUploadsNeverSealedAreSwept: after a week the machine gives them up; their objects are listed until they are gone.
func TestUploadsNeverSealedAreSwept(t *testing.T) {
	s := newScene(t)
	d := s.open(s.yard, s.yardProp.Milestones[0].ID)
	young := s.open(s.lamp, s.lampProp.Milestones[0].ID)
	s.tamper(`UPDATE ph.delivery SET opened_at = opened_at - interval '8 days' WHERE id = $1`, d.ID)
	clock := s.clock()
	for range 2 { // broken off in between, say
		gone, err := clock.GiveUp(s.ctx())
		require.NoError(t, err)
		require.Len(t, gone, 1)
		require.Equal(t, d.ID, gone[0].Delivery)
		require.Len(t, gone[0].Files, 2)
		require.Equal(t, d.Files[0].ObjectKey, gone[0].Files[0].ObjectKey)
	}
	gone, err := clock.GiveUp(s.ctx())
	require.NoError(t, err)
	require.NoError(t, clock.Cleared(s.ctx(), gone[0]))
	gone, err = clock.GiveUp(s.ctx())
	require.NoError(t, err)
	require.Empty(t, gone)
	s.tamper(`UPDATE ph.delivery SET opened_at = opened_at + interval '8 days' WHERE id = $1`, d.ID)
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
	s.seal(s.lamp, young)
}

// TestDisabledAtOnce: sessions and tokens of a member end with them.
func TestDisabledAtOnce(t *testing.T) {
	s := newScene(t)
	artist := s.member(s.yard, "Artist", "artist@salvage.example", ledger.VendorArtist)
	var secret string
	s.as(artist, func(tx *ledger.Tx) (err error) {
		_, secret, err = tx.CreateToken(s.ctx(), ledger.NewToken{Name: "build", Scopes: []ledger.Scope{ledger.ScopeDeliver}})
		return err
	})
	_, err := s.login.Token(s.ctx(), secret)
	require.NoError(t, err)
	disable := func(by ledger.Who, id uuid.UUID) error {
		return s.try(by, func(tx *ledger.Tx) error { _, err := tx.DisableMember(s.ctx(), id); return err })
	}
	require.ErrorIs(t, disable(s.yard, s.yard.Member), ledger.ErrForbidden)
	require.ErrorIs(t, disable(artist, s.yard.Member), ledger.ErrForbidden)
	require.ErrorIs(t, disable(s.studio, artist.Member), ledger.ErrNotFound, "another party's people are not there")
	require.ErrorIs(t, s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.EraseMember(s.ctx(), artist.Member, "x"); return err }), ledger.ErrState)
	require.NoError(t, disable(s.yard, artist.Member))
	require.NoError(t, disable(s.yard, artist.Member))
	_, err = s.login.Token(s.ctx(), secret)
	require.ErrorIs(t, err, ledger.ErrCredentials)
	_, err = s.login.Password(s.ctx(), "artist@salvage.example", testPassword)
	require.ErrorIs(t, err, ledger.ErrCredentials)
}

// A seal that nobody finishes gives its objects up as an upload does that nobody seals: counted from when the seal began.
func TestSealsNeverFinishedAreSwept(t *testing.T) {
	s := newScene(t)
	d := s.open(s.yard, s.yardProp.Milestones[0].ID)
	s.as(s.yard, func(tx *ledger.Tx) error { _, err := tx.BeginSeal(s.ctx(), d.ID); return err })
	age := func(column string) {
		t.Helper()
		s.tamper(`UPDATE ph.delivery SET `+column+` = `+column+` - $1::interval WHERE id = $2`, ledger.SweepAfter+time.Hour, d.ID)
	}
	age("opened_at")
	gone, err := s.clock().GiveUp(s.ctx())
	require.NoError(t, err)
	require.Empty(t, gone, "its seal has just begun")
	age("sealing_at")
	gone, err = s.clock().GiveUp(s.ctx())
	require.NoError(t, err)
	require.Len(t, gone, 1)
	require.Equal(t, d.ID, gone[0].Delivery)
	require.Len(t, gone[0].Files, len(d.Files))
	s.open(s.yard, s.yardProp.Milestones[0].ID) // the milestone is free again
	s.tamper(`UPDATE ph.delivery SET opened_at = opened_at + $1::interval WHERE id = $2`, ledger.SweepAfter+time.Hour, d.ID)
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

// The names of a hand-over are plain relative paths whatever a vendor calls its files: they are unpacked by somebody.
func TestHandoverNamesStayInsideTheirFolder(t *testing.T) {
	s := newScene(t)
	sum := sha256.Sum256([]byte("mesh"))
	for i, row := range []struct{ file, pattern string }{
		{"...glb", "{name}/{role}{ext}"},     // the name without its ending is ..
		{"..glb", "{name}/{role}{ext}"},      // .
		{".glb", "{name}/{prop}{ext}"},       // nothing
		{"crate.glb", "{kit}/{prop}{ext}"},   // a prop of no kit
		{"crate.glb", "a/{kit}/{prop}{ext}"}, // a folder without a name
		{".glb", "{name}"},                   // no name at all
	} {
		order, prop := s.order(s.yard, fmt.Sprintf("WO-NAMES-%d", i), "bollard")
		var d ledger.Delivery
		s.as(s.yard, func(tx *ledger.Tx) (err error) {
			d, err = tx.OpenDelivery(s.ctx(), ledger.Manifest{Milestone: prop.Milestones[0].ID, Files: []ledger.NewFile{{Path: row.file, Role: "game", Size: 4, SHA256: sum[:], MediaType: "model/gltf-binary"}}})
			return err
		})
		s.seal(s.yard, d)
		s.inspect(passing())
		_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
		require.NoError(t, err)
		var h ledger.Handover
		err = s.try(s.studio, func(tx *ledger.Tx) (err error) { h, err = tx.HandOver(s.ctx(), order.ID, row.pattern); return err })
		require.ErrorIs(t, err, ledger.ErrInvalid, "%s by %s: %v", row.file, row.pattern, h.Files)
		s.as(s.studio, func(tx *ledger.Tx) error { _, err := tx.HandOver(s.ctx(), order.ID, "{prop}_{role}{ext}"); return err })
	}
}
