package ledger_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// Whoever opens a further way into a log-in, or puts another in the place of the one before, cannot keep its owner from hearing of it:
// OWASP ASVS 4.0.3, 2.2.3 and 2.5.5. Who joins is not told of the way by which they came, and who is disabled of nothing.
func TestMembersAreToldOfChangedDoors(t *testing.T) {
	s := newScene(t)
	p := s.post()
	artist := s.member(s.yard, "Artist", "artist@salvage.example", ledger.VendorArtist)
	require.Empty(t, s.letters(p), "joining is no change")
	told := func(why string) {
		t.Helper()
		letters := s.letters(p)
		require.Len(t, letters, 1, why)
		l := letters[0]
		require.Equal(t, []string{"door", why, "artist@salvage.example", "Artist"}, []string{l.Kind, l.Why, l.Address, l.Name})
	}
	s.as(artist, func(tx *ledger.Tx) error {
		return tx.ChangePassword(s.ctx(), testPassword, "another password of the tests")
	})
	told("password")
	s.as(artist, func(tx *ledger.Tx) error {
		return tx.ChangePassword(s.ctx(), "another password of the tests", testPassword)
	})
	told("password") // as often as it happens
	s.as(artist, func(tx *ledger.Tx) error {
		_, _, err := tx.CreateToken(s.ctx(), ledger.NewToken{Name: "build", Scopes: []ledger.Scope{ledger.ScopeRead}})
		return err
	})
	told("token")
	_, err := s.owner.Exec(s.ctx(), `INSERT INTO ph.identity (party_id, member_id, issuer, subject) VALUES ($1, $2, 'https://login.salvage.example', 'a-1')`, artist.Party, artist.Member)
	require.NoError(t, err)
	told("identity")
	require.ErrorIs(t, s.try(artist, func(tx *ledger.Tx) error { return tx.ChangePassword(s.ctx(), "a wrong password of the tests", "x") }), ledger.ErrCredentials)
	require.Empty(t, s.letters(p), "nothing has changed")
}

// A password set by a link leaves what one that is changed leaves: a note, and no browser that is still known.
func TestAResetIsNotedAndForgetsBrowsers(t *testing.T) {
	s := newScene(t)
	key := s.postKey()
	p := s.postWith(key)
	s.login.UsePost(key)
	var device string
	s.as(s.yard, func(tx *ledger.Tx) (err error) { device, err = tx.KnowDevice(s.ctx()); return err })
	known, err := s.login.KnownDevice(s.ctx(), "mara@salvage.example", device)
	require.NoError(t, err)
	require.True(t, known)
	require.NoError(t, s.login.AskReset(s.ctx(), key, "mara@salvage.example"))
	letters := s.letters(p)
	require.Len(t, letters, 1)
	require.NoError(t, s.login.FinishReset(s.ctx(), letters[0].Secret, "another password of the tests"))
	letters = s.letters(p)
	require.Len(t, letters, 1)
	require.Equal(t, "door password", letters[0].Kind+" "+letters[0].Why)
	known, err = s.login.KnownDevice(s.ctx(), "mara@salvage.example", device)
	require.NoError(t, err)
	require.False(t, known, "whoever set it may not be at that browser")
	s.as(s.yard, func(tx *ledger.Tx) error {
		list, err := tx.Accesses(s.ctx(), ledger.AccessFilter{Member: s.yard.Member}, ledger.Page{})
		require.NoError(t, err)
		var acts []string
		for _, a := range list.Items {
			acts = append(acts, a.Act)
		}
		require.Contains(t, acts, ledger.ActPasswordChanged)
		return nil
	})
}
