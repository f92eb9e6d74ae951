package ledger_test

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// fullScene leaves at least one row of each vendor in every table that holds a party's data.
func fullScene(t *testing.T) *scene {
	s := newScene(t)
	for _, v := range []struct {
		who  ledger.Who
		prop ledger.Prop
	}{{s.yard, s.yardProp}, {s.lamp, s.lampProp}} {
		s.as(v.who, func(tx *ledger.Tx) error {
			if _, _, err := tx.StartSession(s.ctx(), 1e12, ledger.From{Via: ledger.ViaPassword}); err != nil {
				return err
			}
			if _, _, err := tx.CreateToken(s.ctx(), ledger.NewToken{Name: "build", Scopes: []ledger.Scope{ledger.ScopeDeliver}}); err != nil {
				return err
			}
			if _, _, err := tx.Invite(s.ctx(), ledger.NewInvitation{Party: v.who.Party, Email: "new-" + v.who.Party.String() + "@x.example", Roles: []ledger.Role{ledger.VendorArtist}}); err != nil {
				return err
			}
			if _, err := tx.SaveView(s.ctx(), "mine", "late=yes"); err != nil {
				return err
			}
			if _, err := tx.AcknowledgeSpec(s.ctx(), s.specOf(v.prop.ID)); err != nil {
				return err
			}
			_, _, err := ledger.Idempotent(s.ctx(), tx, ledger.Request{Method: "POST", Route: "/v1/x", Key: "same key"}, func() (ledger.Ref, error) {
				return ledger.Ref{Kind: "x", ID: v.who.Member}, nil
			})
			return err
		})
		m := multipart(v.prop.Milestones[0].ID)
		var d ledger.Delivery
		s.as(v.who, func(tx *ledger.Tx) (err error) { d, err = tx.OpenDelivery(s.ctx(), m); return err })
		s.seal(v.who, d)
		s.inspect(failing())
		s.as(v.who, func(tx *ledger.Tx) error {
			_, err := tx.AddNote(s.ctx(), ledger.NewNote{Delivery: d.ID, Text: "from the vendor"})
			return err
		})
		s.as(s.studio, func(tx *ledger.Tx) error {
			_, err := tx.AddNote(s.ctx(), ledger.NewNote{Delivery: d.ID, Text: "for us alone", Private: true})
			return err
		})
		_, err := s.signOff(s.studio, d.ID, ledger.AcceptAsIs, "as it is")
		require.NoError(t, err)
		s.doors(v.who)
		s.furtherActs(v.who, v.prop)
		s.aftercare(v.who)
		s.toldRows(v.who)
		s.as(s.studio, func(tx *ledger.Tx) error {
			_, err := tx.CancelMilestone(s.ctx(), v.prop.Milestones[2].ID, "cut", nil)
			return err
		})
	}
	s.goneOn()
	n, err := s.notary(t).AnchorOnce(s.ctx())
	require.NoError(t, err)
	require.Equal(t, 5, n)
	return s
}

// partyTables lists every table of the schema with how its rows belong to a party, read from the catalogue, so that a
// new table cannot be forgotten here.
func (s *scene) tables() map[string][]string {
	rows, err := s.owner.Query(s.ctx(), `SELECT c.relname, array_agg(a.attname::text) FROM pg_class c
		JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
		WHERE c.relnamespace = 'ph'::regnamespace AND c.relkind IN ('r', 'p') AND NOT c.relispartition AND c.relname <> 'goose_db_version'
		GROUP BY c.relname`)
	require.NoError(s.t, err)
	out := map[string][]string{}
	var name string
	var columns []string
	_, err = pgx.ForEachRow(rows, []any{&name, &columns}, func() error { out[name] = columns; return nil })
	require.NoError(s.t, err)
	return out
}

func has(list []string, word string) bool {
	for _, w := range list {
		if w == word {
			return true
		}
	}
	return false
}

func TestEveryTableForcesRowSecurity(t *testing.T) {
	s := newScene(t)
	rows, err := s.owner.Query(s.ctx(), `SELECT relname FROM pg_class WHERE relnamespace = 'ph'::regnamespace AND relkind IN ('r', 'p')
		AND NOT (relrowsecurity AND relforcerowsecurity) AND relname <> 'goose_db_version'`)
	require.NoError(t, err)
	open, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	require.Empty(t, open)

	var bypass []string
	rows, err = s.owner.Query(s.ctx(), `SELECT rolname FROM pg_roles WHERE rolname ^@ 'ph_' AND (rolbypassrls OR rolsuper OR rolcreaterole OR rolcreatedb) AND rolname <> 'ph_backup'`)
	require.NoError(t, err)
	bypass, err = pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	require.Empty(t, bypass)
}

// TestQueryWithoutWhereLeaksNothing reads every table whole, as each caller: exactly the rows of that party come.
func TestQueryWithoutWhereLeaksNothing(t *testing.T) {
	s := fullScene(t)
	s.studiosOwn()
	callers := map[string]ledger.Who{"studio": s.studio, "yard": s.yard, "lamp": s.lamp}
	other := s.db.Studio("Another Studio")
	callers["another studio"] = other
	tables := s.tables()
	require.Greater(t, len(tables), 25)
	names := make([]string, 0, len(tables))
	for name := range tables {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, table := range names {
		columns := tables[table]
		for caller, who := range callers {
			want, readable := s.expected(table, columns, who)
			t.Run(table+" as "+caller, func(t *testing.T) {
				got, err := s.count(who, table)
				if !readable {
					require.ErrorContains(t, err, "not allowed", "the role has no right to the table at all")
					return
				}
				require.NoError(t, err)
				require.Equal(t, want, got)
				if (has(columns, "vendor_id") || has(columns, "party_id")) && caller == "yard" && want == 0 {
					t.Fatalf("the scene has no row of the vendor in %s: this test shows nothing", table)
				}
				if has(columns, "studio_id") && caller == "studio" && want == 0 {
					t.Fatalf("the scene has no row of the studio in %s: this test shows nothing", table)
				}
			})
		}
	}
}

// studiosOwn leaves rows that are the studio's alone, or its own beside the vendors': what no vendor may see must be there.
func (s *scene) studiosOwn() {
	s.t.Helper()
	s.doors(s.studio)
	s.deliver(s.yard, s.prop(s.yardOrder.ID, "capstan").Milestones[0].ID)
	job := s.inspect(passing())
	lead := s.member(s.studio, "Lead", "lead@harbour.example", ledger.ArtLead)
	s.as(s.studio, func(tx *ledger.Tx) error {
		today := time.Now().UTC().Truncate(24 * time.Hour)
		if _, err := tx.Appoint(s.ctx(), ledger.NewDeputy{Role: ledger.ArtDirector, Member: lead.Member, From: today, Until: today.AddDate(0, 0, 7)}); err != nil {
			return err
		}
		_, _, err := tx.StartSession(s.ctx(), 1e12, ledger.From{Via: ledger.ViaPassword})
		if err == nil {
			_, _, err = tx.CreateToken(s.ctx(), ledger.NewToken{Name: "build", Scopes: []ledger.Scope{ledger.ScopeReview}})
		}
		if err == nil {
			_, err = tx.SaveView(s.ctx(), "mine", "late=yes")
		}
		if err == nil {
			_, err = tx.SaveNote(s.ctx(), "the edges are too sharp")
		}
		if err == nil {
			_, err = tx.PrepareSignOff(s.ctx(), ledger.NewPendingSignOff{NewSignOff: ledger.NewSignOff{Delivery: job.Delivery.ID, Decision: ledger.Accept}, Inspection: job.Inspection.ID})
		}
		return err
	})
}

// expected counts, as superuser, the rows that a caller should see.
func (s *scene) expected(table string, columns []string, who ledger.Who) (int, bool) {
	var cond string
	args := []any{who.Party}
	switch {
	case slices.Contains(postTables, table):
		return 0, false
	case table == "house_leaf" || table == "turn" || table == "orphan" || table == "attempt" || table == "sign_in":
		return 0, false
	case table == "checkpoint" || table == "house_hash" || table == "move" || table == "notary_key":
		cond = "$1::uuid IS NOT NULL"
	case table == "party":
		cond = "id = $1"
	case table == "session" || table == "device" || table == "token" || table == "idempotency" || table == "saved_view" || table == "mail_choice":
		cond, args = "party_id = $1 AND member_id = $2", append(args, who.Member)
	case table == "invitation":
		cond = "party_id = $1 OR engaged_by = $1"
	case has(columns, "party_id"):
		cond = "party_id = $1"
	case who.Side == ledger.VendorSide && !has(columns, "vendor_id"):
		cond = "$1::uuid IS NULL"
	case who.Side == ledger.VendorSide:
		cond = "vendor_id = $1"
	default:
		cond = "studio_id = $1"
	}
	var n int
	require.NoError(s.t, s.owner.QueryRow(s.ctx(), `SELECT count(*) FROM ph.`+table+` WHERE `+cond, args...).Scan(&n), table)
	return n, true
}

func (s *scene) count(who ledger.Who, table string) (n int, err error) {
	err = s.try(who, func(tx *ledger.Tx) error { return tx.QueryRow(s.ctx(), `SELECT count(*) FROM ph.`+table).Scan(&n) })
	return n, err
}

// TestNobodyWritesForAnother tries, as one vendor, to insert copies of the other vendor's rows and to change them, in
// every table.
func TestNobodyWritesForAnother(t *testing.T) {
	s := fullScene(t)
	for table, columns := range s.tables() {
		if !has(columns, "vendor_id") && !has(columns, "party_id") {
			continue
		}
		column, mine, theirs := "vendor_id", s.yard, s.lamp
		if !has(columns, "vendor_id") {
			column = "party_id"
		}
		t.Run(table, func(t *testing.T) {
			// A copy of a row of the other vendor, under a fresh id where there is one: refused by grant or policy.
			var row map[string]any
			require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT to_jsonb(x) FROM ph.`+table+` x WHERE `+column+` = $1 LIMIT 1`, theirs.Party).Scan(&row))
			for _, c := range []string{"due_sort"} { // generated
				delete(row, c)
			}
			if _, ok := row["id"]; ok {
				row["id"] = uuid.NewString()
			}
			// As a row begins, so that the guards of the state machine let it through to the policy.
			for c, v := range map[string]map[string]any{
				"milestone": {"state": "open", "last_event": nil}, "delivery": {"state": "open", "sealed_at": nil, "sealed_by": nil},
				"inspection":   {"state": "queued", "fence": 0, "attempts": 0, "current": false, "verdict": nil, "finished_at": nil, "findings_sha256": nil, "findings": nil, "issues": nil},
				"change_order": {"state": "for_studio", "last_event": "vendor_offers"},
				"question":     {"state": "asked", "last_event": "ask"}, "permission": {"state": "requested", "last_event": "vendor_requests"},
			}[table] {
				row[c] = v
			}
			names := make([]string, 0, len(row))
			for c := range row {
				names = append(names, c)
			}
			list := strings.Join(names, ", ")
			err := s.try(mine, func(tx *ledger.Tx) error {
				_, err := tx.Exec(s.ctx(), fmt.Sprintf(`INSERT INTO ph.%s (%s) SELECT %s FROM jsonb_populate_record(NULL::ph.%s, $1)`, table, list, list, table), row)
				return err
			})
			require.ErrorIs(t, err, ledger.ErrForbidden)

			for _, c := range columns {
				if c == "due_sort" {
					continue
				}
				err = s.try(mine, func(tx *ledger.Tx) error {
					tag, err := tx.Exec(s.ctx(), fmt.Sprintf(`UPDATE ph.%s SET %s = %s WHERE %s = $1`, table, c, c, column), theirs.Party)
					if err == nil && tag.RowsAffected() > 0 {
						return fmt.Errorf("changed %d rows of the other vendor by %s", tag.RowsAffected(), c)
					}
					return err
				})
				if err != nil {
					require.ErrorIs(t, err, ledger.ErrForbidden, c)
				}
			}
			err = s.try(mine, func(tx *ledger.Tx) error { _, err := tx.Exec(s.ctx(), `DELETE FROM ph.`+table); return err })
			require.ErrorIs(t, err, ledger.ErrForbidden, "nothing is ever deleted by the service")
		})
	}
}

// TestVendorCannotDecide: even with its own rows and any SQL, a vendor cannot do what is the studio's or the machine's.
func TestVendorCannotDecide(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones[0].ID
	d := s.deliver(s.yard, ms)
	for name, sql := range map[string]string{
		"accept its own milestone":     `UPDATE ph.milestone SET state = 'accepted', last_event = 'accept' WHERE id = $1`,
		"pass its own inspection":      `UPDATE ph.inspection SET state = 'done', verdict = 'pass' WHERE milestone_id = $1`,
		"raise its price":              `UPDATE ph.milestone SET amount_minor = 1 WHERE id = $1`,
		"insert a passed inspection":   `INSERT INTO ph.inspection SELECT (jsonb_populate_record(i, '{"state":"done","current":true}')).* FROM ph.inspection i WHERE milestone_id = $1`,
		"move as the machine would":    `UPDATE ph.milestone SET state = 'review', last_event = 'pass' WHERE id = $1`,
		"skip the state machine":       `UPDATE ph.milestone SET state = 'accepted' WHERE id = $1`,
		"write the findings itself":    `INSERT INTO ph.finding (studio_id, vendor_id, inspection_id, ord, chk, part, set_name, pose, file, outcome, blocks, follows_from, unit, limit_key) SELECT studio_id, vendor_id, id, 0, 'x', '', '', '', '', 'pass', true, '', '', '' FROM ph.inspection WHERE milestone_id = $1`,
		"write as the studio":          `INSERT INTO ph.note (studio_id, vendor_id, work_order_id, delivery_id, id, side, text, salt, by_member) SELECT studio_id, vendor_id, work_order_id, id, gen_random_uuid(), 'studio', 'accepted', '', opened_by FROM ph.delivery WHERE milestone_id = $1`,
		"grant its own permit":         `INSERT INTO ph.permission (studio_id, vendor_id, work_order_id, id, kind, chk, part, set_name, reason, state, last_event, side, by_member) SELECT studio_id, vendor_id, work_order_id, gen_random_uuid(), 'permit', 'x', '', '', 'mine', 'granted', 'studio_grants', 'vendor', id FROM ph.milestone WHERE id = $1`,
		"pin the studio's calendar":    `INSERT INTO ph.order_calendar (studio_id, vendor_id, work_order_id, id, side, calendar_id, number, time_zone, workdays, holidays, by_member) SELECT studio_id, vendor_id, work_order_id, gen_random_uuid(), 'studio', id, 1, 'UTC', '{7}', '{}', id FROM ph.milestone WHERE id = $1`,
		"put files under a seal":       `UPDATE ph.file SET etag = 'x' WHERE delivery_id = (SELECT id FROM ph.delivery WHERE milestone_id = $1)`,
		"open a sealed delivery again": `UPDATE ph.delivery SET state = 'open', sealed_at = NULL, sealed_by = NULL WHERE milestone_id = $1`,
	} {
		err := s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.Exec(s.ctx(), sql, ms); return err })
		require.Error(t, err, name)
		require.True(t, isOneOf(err, ledger.ErrForbidden, ledger.ErrState, ledger.ErrInvalid), "%s: %v", name, err)
	}
	require.Equal(t, ledger.MInspecting, s.state(ms))
	_ = d
}

func isOneOf(err error, kinds ...error) bool {
	for _, k := range kinds {
		if errorsIs(err, k) {
			return true
		}
	}
	return false
}

func TestHiddenIsMissing(t *testing.T) {
	s := newScene(t)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	job := s.inspect(passing())
	missing := uuid.New()
	for name, call := range map[string]func(tx *ledger.Tx, id uuid.UUID) error{
		"work order": func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.WorkOrder(s.ctx(), id); return err },
		"prop":       func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.Prop(s.ctx(), id); return err },
		"specs":      func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.SpecRevisions(s.ctx(), id); return err },
		"spec":       func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.SpecRevision(s.ctx(), id); return err },
		"extended": func(tx *ledger.Tx, id uuid.UUID) error {
			_, err := tx.SpecExtended(s.ctx(), id, ledger.SpecRef{Code: "crate_large", Revision: 1})
			return err
		},
		"delivery":   func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.Delivery(s.ctx(), id); return err },
		"open":       func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.OpenDelivery(s.ctx(), manifest(id)); return err },
		"seal":       func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.BeginSeal(s.ctx(), id); return err },
		"inspection": func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.Inspection(s.ctx(), id); return err },
		"findings":   func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.Findings(s.ctx(), id, ledger.Page{}); return err },
		"evidence":   func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.EvidenceObjects(s.ctx(), id); return err },
		"note": func(tx *ledger.Tx, id uuid.UUID) error {
			_, err := tx.AddNote(s.ctx(), ledger.NewNote{Delivery: id, Text: "x"})
			return err
		},
		"facts": func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.Facts(s.ctx(), id, -1, 10); return err },
		"receipt": func(tx *ledger.Tx, id uuid.UUID) error {
			_, err := tx.Receipt(s.ctx(), ledger.FactDeliverySealed, id)
			return err
		},
		"bundle": func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.Bundle(s.ctx(), id); return err },
		"verify": func(tx *ledger.Tx, id uuid.UUID) error { _, err := tx.Verify(s.ctx(), id); return err },
	} {
		ids := map[string]uuid.UUID{"work order": s.yardOrder.ID, "prop": s.yardProp.ID, "specs": s.yardProp.ID, "spec": job.Spec.ID, "extended": s.yardProp.ID, "delivery": d.ID,
			"open": s.yardProp.Milestones[1].ID, "seal": d.ID, "inspection": job.Inspection.ID, "findings": job.Inspection.ID, "evidence": job.Inspection.ID,
			"note": d.ID, "facts": s.yardOrder.ID, "receipt": d.ID, "bundle": s.yardOrder.ID, "verify": s.yardOrder.ID}
		hidden := s.try(s.lamp, func(tx *ledger.Tx) error { return call(tx, ids[name]) })
		absent := s.try(s.lamp, func(tx *ledger.Tx) error { return call(tx, missing) })
		require.ErrorIs(t, hidden, ledger.ErrNotFound, name)
		require.ErrorIs(t, absent, ledger.ErrNotFound, name)
		require.Equal(t, strings.ReplaceAll(absent.Error(), missing.String(), ""), strings.ReplaceAll(hidden.Error(), ids[name].String(), ""), name)
	}
	// The studio's own log, with its private acts, is not the vendor's.
	err := s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.Bundle(s.ctx(), s.studio.Party); return err })
	require.ErrorIs(t, err, ledger.ErrNotFound)
}

func TestSettingsDoNotOutliveTheTransaction(t *testing.T) {
	s := newScene(t)
	pool := s.db.Pool(ledger.RoleAPI)
	s.as(s.yard, func(tx *ledger.Tx) error { _, err := tx.Prop(s.ctx(), s.yardProp.ID); return err })
	var n int
	require.NoError(t, pool.QueryRow(s.ctx(), `SELECT count(*) FROM ph.prop`).Scan(&n))
	require.Zero(t, n)
	require.ErrorIs(t, s.try(ledger.Who{}, func(*ledger.Tx) error { return nil }), ledger.ErrCredentials)
}

// TestOtherRoles: each role of the database reaches what its program needs and no more.
func TestOtherRoles(t *testing.T) {
	s := newScene(t)
	for _, row := range []struct{ role, sql string }{
		{ledger.RoleLogin, `SELECT count(*) FROM ph.member`},
		{ledger.RoleLogin, `SELECT count(*) FROM ph.session`},
		{ledger.RoleWorker, `SELECT price_minor FROM ph.prop LIMIT 1`},
		{ledger.RoleWorker, `SELECT amount_minor FROM ph.milestone LIMIT 1`},
		{ledger.RoleWorker, `SELECT name FROM ph.member LIMIT 1`},
		{ledger.RoleWorker, `SELECT by_name FROM ph.inspection LIMIT 1`},
		{ledger.RoleWorker, `INSERT INTO ph.checkpoint (size, root, note) VALUES (1, '', '')`},
		{ledger.RoleLogin, `SELECT client_secret FROM ph.provider`},
		{ledger.RoleLogin, `SELECT count(*) FROM ph.sign_in`},
		{ledger.RoleLogin, `SELECT count(*) FROM ph.access`},
		{ledger.RoleClock, `SELECT name FROM ph.member LIMIT 1`},
		{ledger.RoleClock, `SELECT secret_hash FROM ph.session LIMIT 1`},
		{ledger.RoleClock, `SELECT text FROM ph.note LIMIT 1`},
		{ledger.RoleClock, `UPDATE ph.milestone SET amount_minor = 1`},
		{ledger.RoleClock, `INSERT INTO ph.checkpoint (size, root, note) VALUES (1, '', '')`},
		{ledger.RoleClock, `DELETE FROM ph.fact`},
		{ledger.RoleNotary, `SELECT count(*) FROM ph.fact`},
		{ledger.RoleNotary, `UPDATE ph.log SET size = 1`},
		{ledger.RoleAPI, `INSERT INTO ph.checkpoint (size, root, note) VALUES (1, '', '')`},
		{ledger.RoleAPI, `SELECT password_hash FROM ph.member LIMIT 1`},
		{ledger.RoleAPI, `SELECT secret_hash FROM ph.token LIMIT 1`},
		{ledger.RoleAPI, `SELECT client_secret FROM ph.provider LIMIT 1`},
		{ledger.RoleAPI, `SELECT subject FROM ph.identity LIMIT 1`},
		{ledger.RoleAPI, `DELETE FROM ph.access`},
		{ledger.RoleAPI, `UPDATE ph.access SET times = 0`},
		{ledger.RoleAPI, `CREATE TABLE ph.x ()`},
		{ledger.RoleAPI, `SELECT * FROM ph.login_password('mara@salvage.example')`},
		{ledger.RoleAPI, `DELETE FROM ph.fact`},
		{ledger.RoleWorker, `DELETE FROM ph.finding`},
		{ledger.RolePost, `SELECT price_minor FROM ph.prop LIMIT 1`},
		{ledger.RolePost, `SELECT secret_hash FROM ph.invitation LIMIT 1`},
		{ledger.RolePost, `SELECT password_hash FROM ph.member LIMIT 1`},
		{ledger.RolePost, `INSERT INTO ph.fact SELECT * FROM ph.fact`},
		{ledger.RolePost, `SELECT text FROM ph.note LIMIT 1`},
		{ledger.RoleAPI, `SELECT secret FROM ph.hook LIMIT 1`},
		{ledger.RoleAPI, `SELECT count(*) FROM ph.mail`},
	} {
		_, err := s.db.Pool(row.role).Exec(s.ctx(), row.sql)
		require.ErrorContains(t, err, "permission denied", "%s: %s", row.role, row.sql)
	}
}
