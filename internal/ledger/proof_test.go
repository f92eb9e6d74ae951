package ledger_test

import (
	"errors"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// At a screen: a session whose member showed who they are so long ago.
func atScreen(who ledger.Who, ago time.Duration) ledger.Who {
	who.Session, who.ProofAge = uuid.New(), ago
	return who
}

// Acts on money and on ways in want a proof that is young enough; other acts do not. Nothing is done where it is too old.
func TestMoneyWantsAFreshProof(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones
	d := s.deliver(s.yard, ms[0].ID)
	job := s.inspect(passing())
	var change ledger.ChangeOrder
	s.as(s.yard, func(tx *ledger.Tx) (err error) {
		change, err = tx.OfferChange(s.ctx(), ledger.NewChangeOrder{Milestone: ms[1].ID, Title: "A hinge", Reason: "it swings", DeltaMinor: 500})
		return err
	})
	other := s.member(s.studio, "Ida", "ida@studio.example", ledger.TechnicalArtist)
	day := time.Date(2027, 8, 1, 0, 0, 0, 0, time.UTC)
	count := func() (n int) {
		require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT (SELECT count(*) FROM ph.fact) + (SELECT count(*) FROM ph.token) + (SELECT count(*) FROM ph.invitation)
			+ (SELECT count(*) FROM ph.provider WHERE removed_at IS NULL) + (SELECT count(*) FROM ph.pending_sign_off)`).Scan(&n))
		return n
	}
	for _, act := range []struct {
		name string
		do   func(tx *ledger.Tx) error
	}{
		{"prepare an acceptance", func(tx *ledger.Tx) error {
			_, err := tx.PrepareSignOff(s.ctx(), ledger.NewPendingSignOff{NewSignOff: ledger.NewSignOff{Delivery: d.ID, Decision: ledger.Accept}, Inspection: job.Inspection.ID, Wait: true})
			return err
		}},
		{"accept", func(tx *ledger.Tx) error {
			_, err := tx.SignOff(s.ctx(), ledger.NewSignOff{Delivery: d.ID, Decision: ledger.Accept})
			return err
		}},
		{"agree to a price", func(tx *ledger.Tx) error { _, err := tx.DecideChange(s.ctx(), change.ID, "agree", ""); return err }},
		{"cancel for a fee", func(tx *ledger.Tx) error {
			_, err := tx.CancelMilestone(s.ctx(), ms[2].ID, "cut", nil)
			return err
		}},
		{"name a deputy", func(tx *ledger.Tx) error {
			_, err := tx.Appoint(s.ctx(), ledger.NewDeputy{Role: ledger.ArtDirector, Member: other.Member, From: day, Until: day})
			return err
		}},
		{"make a token", func(tx *ledger.Tx) error {
			_, _, err := tx.CreateToken(s.ctx(), ledger.NewToken{Name: "build", Scopes: []ledger.Scope{ledger.ScopeRead}})
			return err
		}},
		{"invite", func(tx *ledger.Tx) error {
			_, _, err := tx.Invite(s.ctx(), ledger.NewInvitation{Party: s.studio.Party, Email: "new@studio.example", Roles: []ledger.Role{ledger.ArtDirector}})
			return err
		}},
		{"set a provider", func(tx *ledger.Tx) error {
			_, err := tx.PutProvider(s.ctx(), ledger.SetProvider{Issuer: issuer, ClientID: "house"})
			return err
		}},
		{"remove a provider", func(tx *ledger.Tx) error { return tx.RemoveProvider(s.ctx()) }},
	} {
		before := count()
		for _, ago := range []time.Duration{ledger.ProofFor + time.Second, ledger.Unproved} {
			var stale *ledger.StaleProof
			require.ErrorAs(t, s.try(atScreen(s.studio, ago), act.do), &stale, act.name)
			require.Equal(t, ledger.ProofFor, stale.Most)
		}
		require.Equal(t, before, count(), "%s is refused whole", act.name)
		s.as(atScreen(s.studio, ledger.ProofFor), act.do)
		require.NotEqual(t, before, count(), "%s is done", act.name)
	}
	// What moves no money is done by the oldest session, and a token and the clock are asked for no proof.
	s.as(atScreen(s.studio, ledger.Unproved), func(tx *ledger.Tx) error { _, err := tx.SaveNote(s.ctx(), "the seam"); return err })
	next := s.deliver(s.yard, ms[1].ID)
	s.inspect(passing())
	s.as(atScreen(s.studio, ledger.Unproved), func(tx *ledger.Tx) error {
		_, err := tx.SignOff(s.ctx(), ledger.NewSignOff{Delivery: next.ID, Decision: ledger.Return, Reason: "it leans"})
		return err
	})
	again := s.deliver(s.yard, ms[1].ID)
	s.inspect(passing())
	program := s.studio
	program.Token = uuid.New()
	_, err := s.signOff(program, again.ID, ledger.Accept, "")
	require.NoError(t, err)
}

func TestUseProofKeepsToItsBounds(t *testing.T) {
	s := newScene(t)
	for asked, want := range map[time.Duration]time.Duration{0: ledger.ProofLeast, time.Second: ledger.ProofLeast, time.Hour: time.Hour, 24 * time.Hour: ledger.ProofMost} {
		s.store.UseProof(asked)
		require.Equal(t, want, s.store.ProofFor())
	}
}

// A session knows when its member showed who they are: at a log-in with a password, when a provider says it asked, or by the
// password given again.
func TestProofOfASession(t *testing.T) {
	s := newScene(t)
	begin := func(from ledger.From) (who ledger.Who, cookie string) {
		s.as(s.yard, func(tx *ledger.Tx) (err error) {
			_, cookie, err = tx.StartSession(s.ctx(), time.Hour, from)
			return err
		})
		who, err := s.login.Session(s.ctx(), cookie)
		require.NoError(t, err)
		return who, cookie
	}
	hourAgo, tomorrow := time.Now().Add(-time.Hour), time.Now().Add(24*time.Hour)
	for name, row := range map[string]struct {
		from  ledger.From
		least time.Duration
		most  time.Duration
	}{
		"password":                          {ledger.From{Via: ledger.ViaPassword}, 0, time.Minute},
		"invitation":                        {ledger.From{Via: ledger.ViaInvitation}, 0, time.Minute},
		"a provider that asked an hour ago": {ledger.From{Via: ledger.ViaProvider, ProvedAt: &hourAgo}, 59 * time.Minute, 61 * time.Minute},
		"a provider whose clock is ahead":   {ledger.From{Via: ledger.ViaProvider, ProvedAt: &tomorrow}, 0, time.Minute},
		"a provider that does not say":      {ledger.From{Via: ledger.ViaProvider}, ledger.Unproved, ledger.Unproved},
	} {
		who, _ := begin(row.from)
		require.GreaterOrEqual(t, who.ProofAge, row.least, name)
		require.LessOrEqual(t, who.ProofAge, row.most, name)
	}

	who, cookie := begin(ledger.From{Via: ledger.ViaPassword})
	s.tamper(`UPDATE ph.session SET proved_at = now() - interval '2 hours' WHERE id = $1`, who.Session)
	who, err := s.login.Session(s.ctx(), cookie)
	require.NoError(t, err)
	require.Greater(t, who.ProofAge, time.Hour)
	require.ErrorIs(t, s.try(who, func(tx *ledger.Tx) error { return tx.Prove(s.ctx(), "a wrong password") }), ledger.ErrCredentials)
	still, err := s.login.Session(s.ctx(), cookie)
	require.NoError(t, err)
	require.Greater(t, still.ProofAge, time.Hour)
	s.as(who, func(tx *ledger.Tx) error { return tx.Prove(s.ctx(), testPassword) })
	who, err = s.login.Session(s.ctx(), cookie)
	require.NoError(t, err)
	require.Less(t, who.ProofAge, time.Minute)

	token := s.yard
	token.Token = uuid.New()
	require.ErrorIs(t, s.try(token, func(tx *ledger.Tx) error { return tx.Prove(s.ctx(), testPassword) }), ledger.ErrState, "a token has no session")

	// Where the party takes no passwords, its provider is named.
	p := s.providerOf(s.yard)
	s.tamper(`UPDATE ph.provider SET required = true WHERE id = $1`, p.ID)
	var required *ledger.ProviderRequired
	require.ErrorAs(t, s.try(who, func(tx *ledger.Tx) error { return tx.Prove(s.ctx(), testPassword) }), &required)
	var stale *ledger.StaleProof
	who.ProofAge = ledger.Unproved
	require.ErrorAs(t, s.try(who, func(tx *ledger.Tx) error { return tx.RemoveProvider(s.ctx()) }), &stale)
	require.Equal(t, p.ID, stale.Provider)
}

// The secret of a log-in provider rests sealed; a key is replaced without anybody setting anything anew.
func TestSecretsAreSealedAnew(t *testing.T) {
	s := newScene(t)
	key := func(first string) ledger.PostKey {
		k, err := ledger.ParsePostKey(first + "2VhbHMgdGhlIHNlY3JldHMgb2YgdGhlIHRlc3RzISE=")
		require.NoError(t, err)
		return k
	}
	one, two, three := key("c"), key("d"), key("e")
	set := func() error {
		return s.try(s.yard, func(tx *ledger.Tx) error {
			_, err := tx.PutProvider(s.ctx(), ledger.SetProvider{Issuer: issuer, ClientID: "house", ClientSecret: secretText("from the provider")})
			return err
		})
	}
	require.ErrorIs(t, set(), ledger.ErrInvalid, "without a key no secret is kept")
	s.store.UsePost(one)
	require.NoError(t, set())
	var p ledger.Provider
	s.as(s.yard, func(tx *ledger.Tx) (err error) { p, err = tx.Provider(s.ctx()); return err })
	var hook ledger.Hook
	s.as(s.yard, func(tx *ledger.Tx) (err error) {
		if hook, _, err = tx.CreateHook(s.ctx(), one, ledger.NewHook{URL: "https://hooks.yard.example/in"}); err == nil {
			_, _, err = tx.RotateHook(s.ctx(), one, hook.ID, time.Hour)
		}
		return err
	})
	rests := func() (text string) {
		require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT client_secret FROM ph.provider WHERE id = $1`, p.ID).Scan(&text))
		return text
	}
	reads := func(k ledger.PostKey) (string, error) {
		l := ledger.NewLogin(s.db.Pool(ledger.RoleLogin))
		l.UsePost(k)
		client, err := l.Provider(s.ctx(), p.ID)
		return client.ClientSecret, err
	}
	require.NotContains(t, rests(), "from the provider")
	text, err := reads(one)
	require.NoError(t, err)
	require.Equal(t, "from the provider", text)
	for _, wrong := range []ledger.PostKey{two, {}} {
		_, err = reads(wrong)
		require.Error(t, err)
	}
	was := rests()
	_, err = ledger.Reseal(s.ctx(), s.db.AdminURL(), two, three)
	require.ErrorContains(t, err, s.yard.Party.String(), "it says whose it is")
	require.Equal(t, was, rests(), "nothing is changed where something does not open")
	n, err := ledger.Reseal(s.ctx(), s.db.AdminURL(), two, three, one)
	require.NoError(t, err)
	require.Equal(t, 3, n, "the provider's, the webhook's and its one before")
	text, err = reads(two)
	require.NoError(t, err)
	require.Equal(t, "from the provider", text)
	_, err = reads(one)
	require.Error(t, err)
	n, err = ledger.Reseal(s.ctx(), s.db.AdminURL(), two)
	require.NoError(t, err, "again, and the webhook opens with the new key")
	require.Equal(t, 3, n)

	// As programs from before kept it.
	s.tamper(`UPDATE ph.provider SET client_secret = 'kept plain' WHERE id = $1`, p.ID)
	text, err = reads(two)
	require.NoError(t, err)
	require.Equal(t, "kept plain", text)
	_, err = ledger.Reseal(s.ctx(), s.db.AdminURL(), two)
	require.NoError(t, err)
	require.NotContains(t, rests(), "kept plain")
	require.True(t, errors.Is(func() error { _, err := ledger.Reseal(s.ctx(), s.db.AdminURL(), ledger.PostKey{}); return err }(), ledger.ErrNoPost))
}
