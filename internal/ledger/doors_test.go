package ledger_test

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
)

const issuer = "https://login.yard.example"

func secretText(s string) *string { return &s }

// doors leaves a row of the party in every table of logging in.
func (s *scene) doors(who ledger.Who) {
	s.t.Helper()
	var p ledger.Provider
	s.as(who, func(tx *ledger.Tx) (err error) {
		if _, err = tx.KnowDevice(s.ctx()); err != nil {
			return err
		}
		p, err = tx.PutProvider(s.ctx(), ledger.SetProvider{Issuer: issuer, ClientID: "house"})
		return err
	})
	l := ledger.NewLogin(s.db.Pool(ledger.RoleLogin))
	require.NoError(s.t, l.BeginSignIn(s.ctx(), p.ID, "state", "browser", ledger.SignIn{Nonce: "n", Verifier: "v", Next: "/"}))
	_, err := l.Identity(s.ctx(), p.ID, ledger.Vouched{Issuer: issuer, Subject: "1", Email: s.emailOf(who)}, ledger.TakenSignIn{})
	require.NoError(s.t, err)
}

func (s *scene) emailOf(who ledger.Who) (email string) {
	require.NoError(s.t, s.owner.QueryRow(s.ctx(), `SELECT email FROM ph.member WHERE id = $1`, who.Member).Scan(&email))
	return email
}

func (s *scene) providerOf(who ledger.Who) (p ledger.Provider) {
	s.as(who, func(tx *ledger.Tx) (err error) {
		p, err = tx.PutProvider(s.ctx(), ledger.SetProvider{Issuer: issuer, ClientID: "house"})
		return err
	})
	return p
}

// Who a provider vouches for is a member of its own party already, or holds an invitation to it; a provider reaches into no
// other party, and its subject, not the e-mail, is who somebody is from then on.
func TestProviderVouchesWithinItsParty(t *testing.T) {
	s := newScene(t)
	l := ledger.NewLogin(s.db.Pool(ledger.RoleLogin))
	p := s.providerOf(s.yard)
	yard := s.emailOf(s.yard)
	none := ledger.TakenSignIn{}
	vouch := func(subject, email string) (ledger.Who, error) {
		return l.Identity(s.ctx(), p.ID, ledger.Vouched{Issuer: issuer, Subject: subject, Email: email}, none)
	}
	for name, email := range map[string]string{
		"nobody": "nobody@yard.example", "a member of the studio": s.emailOf(s.studio), "a member of another vendor": s.emailOf(s.lamp), "an e-mail that is not verified": "",
	} {
		_, err := vouch("x", email)
		require.ErrorIs(t, err, ledger.ErrCredentials, name)
	}
	_, err := l.Identity(s.ctx(), p.ID, ledger.Vouched{Issuer: "https://other.example", Subject: "1", Email: yard}, none)
	require.ErrorIs(t, err, ledger.ErrCredentials, "another issuer than the party's")
	who, err := vouch("1", "  "+yard)
	require.NoError(t, err)
	require.Equal(t, s.yard.Member, who.Member)
	who, err = vouch("1", "renamed@yard.example")
	require.NoError(t, err, "the subject is known; the e-mail may change")
	require.Equal(t, s.yard.Member, who.Member)
	_, err = vouch("2", yard)
	require.ErrorIs(t, err, ledger.ErrCredentials, "the e-mail was given to somebody else at the provider")
	var members int
	require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT count(*) FROM ph.member WHERE email LIKE '%nobody%' OR email LIKE 'renamed%'`).Scan(&members))
	require.Zero(t, members, "no account is made without an invitation")
}

func TestJoiningByAProvider(t *testing.T) {
	s := newScene(t)
	l := ledger.NewLogin(s.db.Pool(ledger.RoleLogin))
	p := s.providerOf(s.yard)
	invite := func(who ledger.Who, email string) (secret string) {
		s.as(who, func(tx *ledger.Tx) (err error) {
			_, secret, err = tx.Invite(s.ctx(), ledger.NewInvitation{Party: who.Party, Email: email, Roles: []ledger.Role{ledger.VendorArtist}})
			return err
		})
		return secret
	}
	back := func(secret string) ledger.TakenSignIn {
		require.NoError(t, l.BeginSignIn(s.ctx(), p.ID, secret+"s", "b", ledger.SignIn{Nonce: "n", Verifier: "v", Next: "/", Invitation: secret}))
		taken, err := l.TakeSignIn(s.ctx(), p.ID, secret+"s", "b")
		require.NoError(t, err)
		return taken
	}
	mine, other := back(invite(s.yard, "new@yard.example")), back(invite(s.lamp, "new@lamp.example"))
	_, err := l.Identity(s.ctx(), p.ID, ledger.Vouched{Issuer: issuer, Subject: "9", Email: "somebody@yard.example"}, mine)
	require.ErrorIs(t, err, ledger.ErrCredentials, "the invitation is for another e-mail")
	_, err = l.Identity(s.ctx(), p.ID, ledger.Vouched{Issuer: issuer, Subject: "9", Email: "new@lamp.example"}, other)
	require.ErrorIs(t, err, ledger.ErrCredentials, "the invitation is another party's")
	who, err := l.Identity(s.ctx(), p.ID, ledger.Vouched{Issuer: issuer, Subject: "9", Email: "New@Yard.example", Name: "Nele\nVoss"}, mine)
	require.NoError(t, err)
	require.Equal(t, s.yard.Party, who.Party)
	require.Equal(t, []ledger.Role{ledger.VendorArtist}, who.Roles)
	require.Equal(t, "NeleVoss", who.Name)
	_, err = l.Identity(s.ctx(), p.ID, ledger.Vouched{Issuer: issuer, Subject: "10", Email: "new@yard.example"}, mine)
	require.ErrorIs(t, err, ledger.ErrCredentials, "an invitation works once")
	_, err = l.Password(s.ctx(), "new@yard.example", "")
	require.ErrorIs(t, err, ledger.ErrCredentials, "there is no password, and the empty one is none")
}

func TestSignInComesBackOnceToTheBrowserThatBegan(t *testing.T) {
	s := newScene(t)
	l := ledger.NewLogin(s.db.Pool(ledger.RoleLogin))
	mine, theirs := s.providerOf(s.yard), s.providerOf(s.lamp)
	begin := func() {
		require.NoError(t, l.BeginSignIn(s.ctx(), mine.ID, "state", "browser", ledger.SignIn{Nonce: "n", Verifier: "v", Next: "/x"}))
	}
	begin()
	for name, try := range map[string][2]string{"another browser": {"state", "stranger"}, "another state": {"guess", "browser"}} {
		_, err := l.TakeSignIn(s.ctx(), mine.ID, try[0], try[1])
		require.ErrorIs(t, err, ledger.ErrCredentials, name)
	}
	_, err := l.TakeSignIn(s.ctx(), theirs.ID, "state", "browser")
	require.ErrorIs(t, err, ledger.ErrCredentials, "an answer of another provider")
	got, err := l.TakeSignIn(s.ctx(), mine.ID, "state", "browser")
	require.NoError(t, err)
	require.Equal(t, "n v /x", got.Nonce+" "+got.Verifier+" "+got.Next)
	_, err = l.TakeSignIn(s.ctx(), mine.ID, "state", "browser")
	require.ErrorIs(t, err, ledger.ErrCredentials, "twice")
	begin()
	s.tamper(`UPDATE ph.sign_in SET created_at = now() - interval '11 minutes'`)
	_, err = l.TakeSignIn(s.ctx(), mine.ID, "state", "browser")
	require.ErrorIs(t, err, ledger.ErrCredentials, "too late")
	require.ErrorIs(t, l.BeginSignIn(s.ctx(), uuid.New(), "s", "b", ledger.SignIn{}), ledger.ErrNotFound)
}

func TestRequiredProviderStopsPasswords(t *testing.T) {
	s := newScene(t)
	l := ledger.NewLogin(s.db.Pool(ledger.RoleLogin))
	first := ledger.FirstMember{Name: "Ana", Email: "ana@harbour.example", Password: "a password of the tests"}
	ana, err := ledger.BootstrapStudio(s.ctx(), s.db.AdminURL(), "Harbour Two", first)
	require.NoError(t, err)
	p := s.providerOf(ana)
	set := ledger.SetProvider{Issuer: issuer, ClientID: "house", Required: true}
	begin := func(who ledger.Who, via string) (ledger.Who, string) {
		var session ledger.Session
		var cookie string
		s.as(who, func(tx *ledger.Tx) (err error) {
			session, cookie, err = tx.StartSession(s.ctx(), time.Hour, ledger.From{Via: via})
			return err
		})
		who.Session = session.ID
		return who, cookie
	}
	by, passwordCookie := begin(ana, ledger.ViaPassword)
	require.ErrorIs(t, s.try(by, func(tx *ledger.Tx) error { _, err := tx.PutProvider(s.ctx(), set); return err }), ledger.ErrState, "not tried yet")
	vouched, err := l.Identity(s.ctx(), p.ID, ledger.Vouched{Issuer: issuer, Subject: "1", Email: first.Email}, ledger.TakenSignIn{})
	require.NoError(t, err)
	by, providerCookie := begin(vouched, ledger.ViaProvider)
	s.as(by, func(tx *ledger.Tx) error { _, err := tx.PutProvider(s.ctx(), set); return err })

	_, err = l.Password(s.ctx(), first.Email, first.Password)
	var required *ledger.ProviderRequired
	require.ErrorAs(t, err, &required)
	require.Equal(t, p.ID, required.Provider)
	_, err = l.Password(s.ctx(), first.Email, "a wrong password")
	require.False(t, errors.As(err, &required), "who does not know the password learns nothing")
	_, err = l.Session(s.ctx(), passwordCookie)
	require.ErrorIs(t, err, ledger.ErrCredentials, "sessions that a password began are over")
	_, err = l.Session(s.ctx(), providerCookie)
	require.NoError(t, err)
	var secret string
	s.as(by, func(tx *ledger.Tx) (err error) {
		_, secret, err = tx.Invite(s.ctx(), ledger.NewInvitation{Party: by.Party, Email: "b@harbour.example", Roles: []ledger.Role{ledger.Producer}})
		return err
	})
	_, err = l.AcceptInvitation(s.ctx(), secret, "B", "a password of the tests")
	require.ErrorAs(t, err, &required)
	_, err = s.db.Pool(ledger.RoleLogin).Exec(s.ctx(), `SELECT * FROM ph.accept_invitation($1, gen_random_uuid(), 'B', '$argon2id$x')`, []byte("x"))
	require.NoError(t, err)

	s.as(by, func(tx *ledger.Tx) error { return tx.RemoveProvider(s.ctx()) })
	_, err = l.Password(s.ctx(), first.Email, first.Password)
	require.NoError(t, err, "without a provider the password is good again")
	_, err = l.Identity(s.ctx(), p.ID, ledger.Vouched{Issuer: issuer, Subject: "1", Email: first.Email}, ledger.TakenSignIn{})
	require.ErrorIs(t, err, ledger.ErrCredentials, "a provider that was removed vouches for nobody")
}

func TestWhoMaySetAProvider(t *testing.T) {
	s := newScene(t)
	artist := s.yard
	artist.Roles = []ledger.Role{ledger.VendorArtist}
	good := ledger.SetProvider{Issuer: issuer, ClientID: "house"}
	require.ErrorIs(t, s.try(artist, func(tx *ledger.Tx) error { _, err := tx.PutProvider(s.ctx(), good); return err }), ledger.ErrForbidden)
	require.ErrorIs(t, s.try(artist, func(tx *ledger.Tx) error { return tx.RemoveProvider(s.ctx()) }), ledger.ErrForbidden)
	for _, address := range []string{"", "login.example", "ftp://login.example", "https://", "https://a:b@login.example", "https://login.example?x=1", "javascript:alert(1)"} {
		err := s.try(s.yard, func(tx *ledger.Tx) error {
			_, err := tx.PutProvider(s.ctx(), ledger.SetProvider{Issuer: address, ClientID: "house"})
			return err
		})
		require.ErrorIs(t, err, ledger.ErrInvalid, address)
	}
	_, err := s.db.Pool(ledger.RoleAPI).Exec(s.ctx(), `SELECT client_secret FROM ph.provider`)
	require.ErrorContains(t, err, "permission denied")
	require.ErrorIs(t, s.try(s.yard, func(tx *ledger.Tx) error { return tx.RemoveProvider(s.ctx()) }), ledger.ErrNotFound)
}

// A session ends after half an hour without a request, however long it may last; each request begins the half hour anew.
func TestIdleSessionsEnd(t *testing.T) {
	s := newScene(t)
	l := ledger.NewLogin(s.db.Pool(ledger.RoleLogin))
	var cookie string
	s.as(s.yard, func(tx *ledger.Tx) (err error) {
		_, cookie, err = tx.StartSession(s.ctx(), 12*time.Hour, ledger.From{Via: ledger.ViaPassword, Agent: "A\x00gent", Address: "192.0.2.7"})
		return err
	})
	s.tamper(`UPDATE ph.session SET created_at = now() - interval '29 minutes'`)
	_, err := l.Session(s.ctx(), cookie)
	require.NoError(t, err)
	s.tamper(`UPDATE ph.session SET created_at = now() - interval '2 hours'`)
	_, err = l.Session(s.ctx(), cookie)
	require.NoError(t, err, "seen a moment ago")
	s.as(s.yard, func(tx *ledger.Tx) error {
		list, err := tx.Sessions(s.ctx())
		require.Len(t, list, 1)
		require.Equal(t, "Agent 192.0.2.7 password", list[0].Agent+" "+list[0].Address+" "+list[0].Via)
		return err
	})
	s.tamper(`UPDATE ph.session SET last_seen_at = now() - interval '31 minutes'`)
	_, err = l.Session(s.ctx(), cookie)
	require.ErrorIs(t, err, ledger.ErrCredentials)
	s.as(s.yard, func(tx *ledger.Tx) error {
		list, err := tx.Sessions(s.ctx())
		require.Empty(t, list)
		return err
	})
}

func TestOwnSessionsAlone(t *testing.T) {
	s := newScene(t)
	start := func(who ledger.Who) (session ledger.Session) {
		s.as(who, func(tx *ledger.Tx) (err error) {
			session, _, err = tx.StartSession(s.ctx(), time.Hour, ledger.From{Via: ledger.ViaPassword})
			return err
		})
		return session
	}
	here, there, theirs := start(s.yard), start(s.yard), start(s.lamp)
	require.ErrorIs(t, s.try(s.yard, func(tx *ledger.Tx) error { return tx.EndSession(s.ctx(), theirs.ID) }), ledger.ErrNotFound)
	caller := s.yard
	caller.Session = here.ID
	s.as(caller, func(tx *ledger.Tx) error { return tx.EndOtherSessions(s.ctx()) })
	s.as(caller, func(tx *ledger.Tx) error {
		list, err := tx.Sessions(s.ctx())
		require.Len(t, list, 1)
		require.Equal(t, here.ID, list[0].ID)
		return err
	})
	_ = there
	s.as(s.lamp, func(tx *ledger.Tx) error {
		list, err := tx.Sessions(s.ctx())
		require.Len(t, list, 1)
		return err
	})
}

// Attempts are counted in the database: two processes share them.
func TestAttemptsAreCountedTogether(t *testing.T) {
	s := newScene(t)
	one, two := ledger.NewLogin(s.db.Pool(ledger.RoleLogin)), ledger.NewLogin(s.db.Pool(ledger.RoleLogin))
	take := func(l *ledger.Login, key string) time.Duration {
		wait, err := l.Attempt(s.ctx(), key, time.Hour, 3)
		require.NoError(t, err)
		return wait
	}
	require.Zero(t, take(one, "a"))
	require.Zero(t, take(two, "a"))
	require.Zero(t, take(one, "a"))
	wait := take(two, "a")
	require.InDelta(t, time.Hour.Seconds(), wait.Seconds(), 60)
	require.Zero(t, take(two, "b"))
	s.tamper(`UPDATE ph.attempt SET until = until - interval '61 minutes'`)
	require.Zero(t, take(one, "a"), "one more has come")
	require.Positive(t, take(one, "a"))
	s.tamper(`UPDATE ph.attempt SET until = now() - interval '100 days'`)
	for range 3 {
		require.Zero(t, take(one, "a"), "no more than the burst is saved up")
	}
	require.Positive(t, take(one, "a"))
}

func TestKnownDevices(t *testing.T) {
	s := newScene(t)
	l := ledger.NewLogin(s.db.Pool(ledger.RoleLogin))
	var secret string
	s.as(s.yard, func(tx *ledger.Tx) (err error) { secret, err = tx.KnowDevice(s.ctx()); return err })
	known := func(who ledger.Who, secret string) bool {
		ok, err := l.KnownDevice(s.ctx(), s.emailOf(who), secret)
		require.NoError(t, err)
		return ok
	}
	require.True(t, known(s.yard, secret))
	require.False(t, known(s.lamp, secret), "somebody else's e-mail in this browser")
	require.False(t, known(s.yard, ""))
	require.False(t, known(s.yard, "phd_guess"))
	s.as(s.yard, func(tx *ledger.Tx) error { return tx.EndOtherSessions(s.ctx()) })
	require.False(t, known(s.yard, secret))
}

func TestAccessLog(t *testing.T) {
	s := newScene(t)
	l := ledger.NewLogin(s.db.Pool(ledger.RoleLogin))
	d := uuid.New()
	for range 3 {
		s.as(s.yard, func(tx *ledger.Tx) error { return tx.NoteAccess(s.ctx(), ledger.ActReadDelivery, d, "192.0.2.1") })
		require.NoError(t, l.Failed(s.ctx(), s.emailOf(s.yard), ledger.ActLogInFailed, "198.51.100.9"))
	}
	require.NoError(t, l.Failed(s.ctx(), "nobody@x.example", ledger.ActLogInFailed, "198.51.100.9"))
	read := func(who ledger.Who, f ledger.AccessFilter, p ledger.Page) (list ledger.List[ledger.Access]) {
		s.as(who, func(tx *ledger.Tx) (err error) { list, err = tx.Accesses(s.ctx(), f, p); return err })
		return list
	}
	list := read(s.yard, ledger.AccessFilter{}, ledger.Page{})
	times := map[string]int{}
	for _, a := range list.Items {
		times[a.Act] = a.Times
	}
	require.Equal(t, map[string]int{ledger.ActReadDelivery: 1, ledger.ActLogInFailed: 3}, times)
	require.Len(t, read(s.yard, ledger.AccessFilter{Subject: d}, ledger.Page{}).Items, 1)
	require.Len(t, read(s.yard, ledger.AccessFilter{Act: ledger.ActReadAccess}, ledger.Page{}).Items, 1, "looking is noted")
	require.Empty(t, read(s.lamp, ledger.AccessFilter{}, ledger.Page{}).Items)
	var seen []ledger.Access
	for p := (ledger.Page{Limit: 1}); ; {
		list := read(s.yard, ledger.AccessFilter{}, p)
		seen = append(seen, list.Items...)
		if p.After = list.Next; p.After == "" {
			break
		}
	}
	require.Len(t, seen, 3)
	require.True(t, slices.IsSortedFunc(seen, func(a, b ledger.Access) int { return b.FirstAt.Compare(a.FirstAt) }), "the newest first, within an hour too")
	artist := s.yard
	artist.Roles = []ledger.Role{ledger.VendorArtist}
	require.ErrorIs(t, s.try(artist, func(tx *ledger.Tx) error {
		_, err := tx.Accesses(s.ctx(), ledger.AccessFilter{}, ledger.Page{})
		return err
	}), ledger.ErrForbidden)
	require.ErrorIs(t, s.try(s.yard, func(tx *ledger.Tx) error {
		_, err := tx.Accesses(s.ctx(), ledger.AccessFilter{}, ledger.Page{After: "x"})
		return err
	}), ledger.ErrInvalid)
	s.tamper(`UPDATE ph.access SET hour = hour - interval '181 days' WHERE act = 'read_delivery'`)
	store, err := ledger.NewStore(s.db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	n, err := store.SweepAccess(s.ctx())
	require.NoError(t, err)
	require.EqualValues(t, 1, n)
}

// A key that is missing is not made anew in silence once the record is signed, and another one is not taken for it.
func TestNotaryKeyIsNotMadeAnew(t *testing.T) {
	s := newScene(t)
	dir := t.TempDir()
	file := filepath.Join(dir, "notary.key")
	pool := s.db.Pool(ledger.RoleNotary)
	n, err := ledger.NewNotary(pool, file)
	require.NoError(t, err, "made on first use")
	_, err = n.AnchorOnce(s.ctx())
	require.NoError(t, err)
	_, err = ledger.NewNotary(pool, file)
	require.NoError(t, err)

	require.NoError(t, os.Rename(file, file+".away"))
	_, err = ledger.NewNotary(pool, file)
	require.ErrorIs(t, err, ledger.ErrNotaryKey)
	require.ErrorContains(t, err, "put the key file back")
	require.NoFileExists(t, file)
	_, err = ledger.NewNotary(ledgertest.New(t).Pool(ledger.RoleNotary), file) // another house's key, in this one's place
	require.NoError(t, err)
	_, err = ledger.NewNotary(pool, file)
	require.ErrorIs(t, err, ledger.ErrNotaryKey)
	require.NoError(t, os.Rename(file+".away", file))
	_, err = ledger.NewNotary(pool, file)
	require.NoError(t, err)

	_, _, err = ledger.RotateKey(s.ctx(), pool, file)
	require.NoError(t, err)
	n, err = ledger.NewNotary(pool, file)
	require.NoError(t, err, "the key that took over")
	_, err = n.AnchorOnce(s.ctx())
	require.NoError(t, err)
}
