package ledger_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// letters claims every mail that is due by now or gathers news.
func (s *scene) letters(p *ledger.Post) (list []ledger.Letter) {
	s.t.Helper()
	_, err := s.owner.Exec(s.ctx(), `UPDATE ph.mail SET next_at = now() WHERE state = 'due' AND tries = 0`)
	require.NoError(s.t, err)
	for {
		some, err := p.ClaimMails(s.ctx(), 10)
		require.NoError(s.t, err)
		if len(some) == 0 {
			return list
		}
		for _, l := range some {
			require.NoError(s.t, p.Mailed(s.ctx(), l, ledger.Outcome{}))
		}
		list = append(list, some...)
	}
}

// TestFortyDecisionsAreOneMail accepts a batch of forty: who sent it gets one mail, their lead and the studio get none at once.
func TestFortyDecisionsAreOneMail(t *testing.T) {
	s := newScene(t)
	p := s.post()
	artist := s.member(s.yard, "Artist", "artist@salvage.example", ledger.VendorArtist)
	const props = 40
	var manifests []ledger.Manifest
	for i := range props {
		prop := s.prop(s.yardOrder.ID, "plank_"+string(rune('a'+i/26))+string(rune('a'+i%26)))
		manifests = append(manifests, manifest(prop.Milestones[0].ID))
	}
	var b ledger.Batch
	s.as(artist, func(tx *ledger.Tx) (err error) {
		b, err = tx.OpenBatch(s.ctx(), ledger.NewBatch{WorkOrder: s.yardOrder.ID, Title: "Friday", Deliveries: manifests})
		return err
	})
	s.sealBatch(artist, b)
	for range props {
		s.inspect(passing())
	}
	s.tell(p)
	require.Empty(t, s.letters(p), "what arrived and what was found waits for the morning")
	for _, half := range [][]ledger.Delivery{b.Deliveries[:34], b.Deliveries[34:]} { // in two transactions, as a reviewer sends them
		s.as(s.studio, func(tx *ledger.Tx) error {
			for _, d := range half {
				if _, err := tx.SignOff(s.ctx(), ledger.NewSignOff{Delivery: d.ID, Decision: ledger.Accept}); err != nil {
					return err
				}
			}
			return nil
		})
		s.tell(p)
	}
	got := s.letters(p)
	require.Len(t, got, 1)
	require.Equal(t, []any{"news", artist.Member, props}, []any{got[0].Kind, got[0].Member, len(got[0].News)})
	for _, n := range got[0].News {
		require.Equal(t, ledger.NewsAccepted, n.Kind)
	}
	require.NotEmpty(t, got[0].Stop)

	// Who wants it otherwise gets it otherwise.
	s.as(s.yard, func(tx *ledger.Tx) error {
		return tx.ChooseMail(s.ctx(), map[ledger.Topic]ledger.How{ledger.TopicDecision: ledger.AtOnce})
	})
	s.as(artist, func(tx *ledger.Tx) error {
		return tx.ChooseMail(s.ctx(), map[ledger.Topic]ledger.How{ledger.TopicDecision: ledger.Never})
	})
	d := s.deliver(artist, s.yardProp.Milestones[0].ID)
	s.inspect(passing())
	_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	s.tell(p)
	got = s.letters(p)
	require.Len(t, got, 1)
	require.Equal(t, s.yard.Member, got[0].Member)
}

// TestSilenceIsAnnouncedByMail: those who could decide are mailed at once when the clock reminds, and nobody of the vendor.
func TestSilenceIsAnnouncedByMail(t *testing.T) {
	s := newScene(t)
	p := s.post()
	director := s.member(s.studio, "Director", "director@harbour.example", ledger.ArtDirector)
	s.member(s.studio, "Technician", "ta@harbour.example", ledger.TechnicalArtist)
	s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	s.inspect(passing())
	s.reviewDueIn(s.yardProp.Milestones[0].ID, 24*time.Hour)
	_, err := s.clock().Tick(s.ctx())
	require.NoError(t, err)
	s.tell(p)
	to := map[uuid.UUID]bool{}
	for _, l := range s.letters(p) {
		to[l.Member] = true
		require.Equal(t, ledger.NewsSilence, l.News[0].Kind)
		require.Contains(t, string(l.News[0].Body), `"effective_at":"20`)
	}
	require.Equal(t, map[uuid.UUID]bool{s.studio.Member: true, director.Member: true}, to)
}

// TestWhoLeavesLeavesNoAddress: an erased member's mails go with them, and a disabled one is written to no more.
func TestWhoLeavesLeavesNoAddress(t *testing.T) {
	s := newScene(t)
	p := s.post()
	leaver := s.member(s.yard, "Leaver", "leaver@salvage.example", ledger.VendorArtist)
	require.NoError(t, s.login.MailLocked(s.ctx(), "leaver@salvage.example"))
	s.as(s.yard, func(tx *ledger.Tx) error { _, err := tx.DisableMember(s.ctx(), leaver.Member); return err })
	require.Empty(t, s.letters(p), "dropped")
	s.as(s.yard, func(tx *ledger.Tx) error {
		_, err := tx.EraseMember(s.ctx(), leaver.Member, "asked to be forgotten")
		return err
	})
	var text string
	require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT coalesce(string_agg(m::text, ' '), '') FROM ph.mail m`).Scan(&text))
	require.False(t, strings.Contains(text, "leaver@"), text)
}
