package ledger_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// Of a member who is erased no table of the service keeps name or address, whatever they did before.
func TestNothingNamesWhoIsErased(t *testing.T) {
	s := newScene(t)
	const name, email = "Quillon Vasterhaven", "quillon@salvage.example"
	key := s.postKey()
	s.store.UsePost(key)
	s.login.UsePost(key)
	artist := s.member(s.yard, name, email, ledger.VendorArtist, ledger.VendorLead)
	require.NoError(t, s.login.AskReset(s.ctx(), key, email))
	require.NoError(t, s.login.MailLocked(s.ctx(), email))
	require.NoError(t, s.login.Failed(s.ctx(), email, ledger.ActLogInFailed, "192.0.2.9"))
	d := s.deliver(artist, s.yardProp.Milestones[0].ID)
	s.inspect(failing())
	s.as(artist, func(tx *ledger.Tx) error {
		if _, _, err := tx.StartSession(s.ctx(), time.Hour, ledger.From{Via: ledger.ViaPassword, Agent: "browser", Address: "192.0.2.9"}); err != nil {
			return err
		}
		if _, err := tx.AddNote(s.ctx(), ledger.NewNote{Delivery: d.ID, Text: "mended"}); err != nil {
			return err
		}
		_, err := tx.Ask(s.ctx(), ledger.NewQuestion{Prop: s.yardProp.ID, Text: "how long"})
		return err
	})
	s.furtherActs(artist, s.prop(s.yardOrder.ID, "further"))
	s.as(s.yard, func(tx *ledger.Tx) error {
		if _, err := tx.DisableMember(s.ctx(), artist.Member); err != nil {
			return err
		}
		_, err := tx.EraseMember(s.ctx(), artist.Member, "they asked for it")
		return err
	})
	rows, err := s.owner.Query(s.ctx(), `SELECT table_name FROM information_schema.tables WHERE table_schema = 'ph' AND table_type = 'BASE TABLE' ORDER BY 1`)
	require.NoError(t, err)
	var tables []string
	for rows.Next() {
		var table string
		require.NoError(t, rows.Scan(&table))
		tables = append(tables, table)
	}
	require.NoError(t, rows.Err())
	require.Greater(t, len(tables), 60)
	for _, table := range tables {
		var n int
		require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT count(*) FROM ph.`+table+` x WHERE to_jsonb(x)::text ILIKE ANY (ARRAY['%quillon%', '%vasterhaven%', '%192.0.2.9%'])`).Scan(&n))
		require.Zero(t, n, "rows of %s name them", table)
	}
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}
