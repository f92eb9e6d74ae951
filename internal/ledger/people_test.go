package ledger_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

func TestPasswordsSessionsTokens(t *testing.T) {
	s := newScene(t)
	who, err := s.login.Password(s.ctx(), " Mara@Salvage.example ", testPassword)
	require.NoError(t, err)
	require.Equal(t, s.yard.Member, who.Member)
	require.Equal(t, []ledger.Role{ledger.VendorLead}, who.Roles)
	require.Equal(t, "Salvage Yard", who.PartyName)
	_, err = s.login.Password(s.ctx(), "mara@salvage.example", "another password")
	require.ErrorIs(t, err, ledger.ErrCredentials)
	_, err = s.login.Password(s.ctx(), "nobody@salvage.example", testPassword)
	require.ErrorIs(t, err, ledger.ErrCredentials)

	var session ledger.Session
	var cookie, bearer string
	var token ledger.Token
	s.as(who, func(tx *ledger.Tx) (err error) {
		if session, cookie, err = tx.StartSession(s.ctx(), time.Hour, ledger.From{Via: ledger.ViaPassword}); err != nil {
			return err
		}
		token, bearer, err = tx.CreateToken(s.ctx(), ledger.NewToken{Name: "build machine", Scopes: []ledger.Scope{ledger.ScopeDeliver}})
		return err
	})
	page, err := s.login.Session(s.ctx(), cookie)
	require.NoError(t, err)
	require.Equal(t, session.ID, page.Session)
	require.True(t, page.May(ledger.ScopeAdmin))
	program, err := s.login.Token(s.ctx(), bearer)
	require.NoError(t, err)
	require.Equal(t, token.ID, program.Token)
	require.True(t, program.May(ledger.ScopeDeliver) && program.May(ledger.ScopeRead))
	require.False(t, program.May(ledger.ScopeReview))
	require.True(t, strings.HasPrefix(bearer, token.Hint))
	_, err = s.login.Token(s.ctx(), cookie)
	require.ErrorIs(t, err, ledger.ErrCredentials, "one is not the other")
	err = s.try(program, func(tx *ledger.Tx) error {
		_, _, err := tx.CreateToken(s.ctx(), ledger.NewToken{Name: "more", Scopes: []ledger.Scope{ledger.ScopeReview}})
		return err
	})
	require.ErrorIs(t, err, ledger.ErrForbidden, "a token makes no stronger token")

	s.as(who, func(tx *ledger.Tx) error {
		tokens, err := tx.Tokens(s.ctx())
		require.NoError(t, err)
		require.Len(t, tokens, 1)
		require.NotNil(t, tokens[0].LastUsedAt)
		require.NoError(t, tx.RevokeToken(s.ctx(), token.ID))
		require.ErrorIs(t, tx.RevokeToken(s.ctx(), uuid.New()), ledger.ErrNotFound)
		return tx.EndSession(s.ctx(), session.ID)
	})
	_, err = s.login.Session(s.ctx(), cookie)
	require.ErrorIs(t, err, ledger.ErrCredentials)
	_, err = s.login.Token(s.ctx(), bearer)
	require.ErrorIs(t, err, ledger.ErrCredentials)

	// Secrets are stored as hashes only.
	var n int
	require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT count(*) FROM ph.token t WHERE to_jsonb(t)::text LIKE '%' || $1 || '%'`, bearer[10:]).Scan(&n))
	require.Zero(t, n)
}

func TestExpiredAndDisabled(t *testing.T) {
	s := newScene(t)
	var cookie, bearer string
	s.as(s.yard, func(tx *ledger.Tx) (err error) {
		if _, cookie, err = tx.StartSession(s.ctx(), time.Hour, ledger.From{Via: ledger.ViaPassword}); err != nil {
			return err
		}
		_, bearer, err = tx.CreateToken(s.ctx(), ledger.NewToken{Name: "x", Scopes: []ledger.Scope{ledger.ScopeRead}})
		return err
	})
	s.tamper(`UPDATE ph.session SET expires_at = now() - interval '1 second' WHERE member_id = $1`, s.yard.Member)
	_, err := s.login.Session(s.ctx(), cookie)
	require.ErrorIs(t, err, ledger.ErrCredentials)
	_, err = s.login.Token(s.ctx(), bearer)
	require.NoError(t, err)
	s.tamper(`UPDATE ph.member SET disabled_at = now() WHERE id = $1`, s.yard.Member)
	_, err = s.login.Token(s.ctx(), bearer)
	require.ErrorIs(t, err, ledger.ErrCredentials)
	_, err = s.login.Password(s.ctx(), "mara@salvage.example", testPassword)
	require.ErrorIs(t, err, ledger.ErrCredentials)
}

func TestChangePasswordEndsOtherSessions(t *testing.T) {
	s := newScene(t)
	var here, there string
	s.as(s.yard, func(tx *ledger.Tx) (err error) {
		if _, here, err = tx.StartSession(s.ctx(), time.Hour, ledger.From{Via: ledger.ViaPassword}); err != nil {
			return err
		}
		_, there, err = tx.StartSession(s.ctx(), time.Hour, ledger.From{Via: ledger.ViaPassword})
		return err
	})
	who, err := s.login.Session(s.ctx(), here)
	require.NoError(t, err)
	change := func(old, next string) error {
		return s.try(who, func(tx *ledger.Tx) error { return tx.ChangePassword(s.ctx(), old, next) })
	}
	require.ErrorIs(t, change("wrong", "a new long password"), ledger.ErrCredentials)
	require.ErrorIs(t, change(testPassword, "short"), ledger.ErrInvalid)
	require.NoError(t, change(testPassword, "a new long password"))
	_, err = s.login.Session(s.ctx(), here)
	require.NoError(t, err)
	_, err = s.login.Session(s.ctx(), there)
	require.ErrorIs(t, err, ledger.ErrCredentials)
	_, err = s.login.Password(s.ctx(), "mara@salvage.example", "a new long password")
	require.NoError(t, err)
}

func TestInvitations(t *testing.T) {
	s := newScene(t)
	var inv ledger.Invitation
	var secret string
	s.as(s.yard, func(tx *ledger.Tx) (err error) {
		inv, secret, err = tx.Invite(s.ctx(), ledger.NewInvitation{Party: s.yard.Party, Email: "Artist@salvage.example", Roles: []ledger.Role{ledger.VendorArtist}})
		return err
	})
	shown, err := s.login.Invitation(s.ctx(), secret)
	require.NoError(t, err)
	require.Equal(t, inv.ID, shown.ID)
	require.Equal(t, "artist@salvage.example", shown.Email)
	_, err = s.login.AcceptInvitation(s.ctx(), secret, "Ada", "short")
	require.ErrorIs(t, err, ledger.ErrInvalid)
	who, err := s.login.AcceptInvitation(s.ctx(), secret, "Ada", testPassword)
	require.NoError(t, err)
	require.Equal(t, s.yard.Party, who.Party)
	_, err = s.login.AcceptInvitation(s.ctx(), secret, "Ada", testPassword)
	require.ErrorIs(t, err, ledger.ErrCredentials, "once")
	_, err = s.login.Invitation(s.ctx(), secret)
	require.ErrorIs(t, err, ledger.ErrCredentials)

	// A studio may ask in a vendor's first member, never a second: it would see the vendor's work for others.
	err = s.try(s.studio, func(tx *ledger.Tx) error {
		_, _, err := tx.Invite(s.ctx(), ledger.NewInvitation{Party: s.yard.Party, Email: "spy@harbour.example", Roles: []ledger.Role{ledger.VendorLead}})
		return err
	})
	require.ErrorIs(t, err, ledger.ErrState)
	require.ErrorContains(t, err, s.yard.PartyName+" has people of its own; its lead invites further ones")

	for name, row := range map[string]struct {
		who  ledger.Who
		in   ledger.NewInvitation
		want error
	}{
		"into another party": {s.yard, ledger.NewInvitation{Party: s.lamp.Party, Email: "a@b.example", Roles: []ledger.Role{ledger.VendorLead}}, ledger.ErrForbidden},
		"into a stranger":    {s.studio, ledger.NewInvitation{Party: uuid.New(), Email: "a@b.example", Roles: []ledger.Role{ledger.VendorLead}}, ledger.ErrNotFound},
		"a studio role":      {s.yard, ledger.NewInvitation{Party: s.yard.Party, Email: "a@b.example", Roles: []ledger.Role{ledger.ArtDirector}}, ledger.ErrInvalid},
		"no role":            {s.yard, ledger.NewInvitation{Party: s.yard.Party, Email: "a@b.example"}, ledger.ErrInvalid},
		"no address":         {s.yard, ledger.NewInvitation{Party: s.yard.Party, Email: "nobody", Roles: []ledger.Role{ledger.VendorLead}}, ledger.ErrInvalid},
		"by one who may not": {who, ledger.NewInvitation{Party: s.yard.Party, Email: "a@b.example", Roles: []ledger.Role{ledger.VendorLead}}, ledger.ErrForbidden},
	} {
		err := s.try(row.who, func(tx *ledger.Tx) error { _, _, err := tx.Invite(s.ctx(), row.in); return err })
		require.ErrorIs(t, err, row.want, name)
	}
}

// Of two people whom a studio asks to be a vendor's first, the second learns why it is too late, and whose invitation to ask for.
func TestTheSecondToJoinAVendorLearnsWhy(t *testing.T) {
	s := newScene(t)
	var vendor ledger.Vendor
	secrets := map[string]string{}
	s.as(s.studio, func(tx *ledger.Tx) (err error) {
		if vendor, err = tx.CreateVendor(s.ctx(), ledger.NewVendor{Name: "Slack Water"}); err != nil {
			return err
		}
		for _, email := range []string{"first@slack.example", "second@slack.example"} {
			if _, secrets[email], err = tx.Invite(s.ctx(), ledger.NewInvitation{Party: vendor.ID, Email: email, Roles: []ledger.Role{ledger.VendorLead}}); err != nil {
				return err
			}
		}
		return nil
	})
	peopled := func(who ledger.Who, ids ...uuid.UUID) (found []uuid.UUID) {
		s.as(who, func(tx *ledger.Tx) (err error) { found, err = tx.Peopled(s.ctx(), ids); return err })
		return found
	}
	require.Empty(t, peopled(s.studio, vendor.ID))
	_, err := s.login.Invitation(s.ctx(), secrets["second@slack.example"])
	require.NoError(t, err, "it stands while nobody has joined")
	_, err = s.login.AcceptInvitation(s.ctx(), secrets["first@slack.example"], "First", testPassword)
	require.NoError(t, err)

	_, err = s.login.Invitation(s.ctx(), secrets["second@slack.example"])
	require.ErrorIs(t, err, ledger.ErrState)
	require.ErrorContains(t, err, "Slack Water has people of its own by now; ask its lead for an invitation")
	_, err = s.login.AcceptInvitation(s.ctx(), secrets["second@slack.example"], "Second", testPassword)
	require.ErrorIs(t, err, ledger.ErrState)

	require.Equal(t, []uuid.UUID{vendor.ID}, peopled(s.studio, uuid.New(), vendor.ID))
	require.Empty(t, peopled(s.yard, vendor.ID, s.lamp.Party), "a vendor learns of nobody's people")
}
