//go:build full

package ledger_test

import (
	"fmt"
	"sort"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// notEvidence are columns that no leaf speaks of, with the reason: changing them changes no promise.
var notEvidence = map[string]string{
	"due_sort": "sorts lists", "since": "when the state was entered; the leaf has the time", "by_name": "a name, erasable; the leaf holds its commitment",
	"headline": "in the evidence, whose digest the leaf holds", "first_issue": "the same", "work_began_at": "kept for the price box; the opening is a leaf",
	"lease_owner": "the queue's", "lease_until": "the queue's", "queued_at": "the queue's", "started_at": "the queue's", "finished_at": "the leaf has its time",
	"last_event": "the state is checked, and it is the event that led there", "ord": "the order of a list",
	"swept_at": "the sweeper's", "cleared_at": "the sweeper's", "trace": "the operator's, to find a request in the logs", "upload_id": "storage's", "version_id": "storage's", "sealing_at": "a step on the way",
	"anchored_size": "what is anchored next", "anchored_at": "the checkpoint has its own order",
}

// derivedOrTimes are table.column pairs that follow from leaves or repeat the time that a leaf has.
var derivedOrTimes = map[string]string{
	"engagement.studio_name": "the studio's own name, copied", "file.media_type": "a hint for browsers", "reference_file.media_type": "a hint for browsers",
	"file.part_size": "how it was sent", "order_calendar.calendar_id": "the row that it was copied from", "work_order.project_id": "the studio's own grouping, which the vendor does not see",
	"inspection.spec_number": "repeats the revision's number", "milestone.review_due_at": "worked out by the pinned calendar; what binds is in the reminder's leaf",
	"milestone.position": "the order of a prop's stages", "prop.blocked_by": "a clock beside the questions, whose leaves time it", "prop.blocked_secs": "the same", "milestone.waited_secs": "the same", "question.waited_secs": "the same",
	"reference_file.id": "the object's key, which the leaf has, holds it", "reference_file.published": "follows the pack's publication, which is a leaf", "reference_pack.at": "when it was begun; its publication is a leaf",
	"reference_pack.by_member": "who began it; who published is in the leaf", "question.asked_at": "the first message's leaf has it", "question.asked_by": "the first message's leaf has it",
	"sign_off.opened_by": "copied for the rule that nobody signs their own; the opening's leaf has it", "sign_off.sealed_by": "the same", "handover_file.studio_id": "whose it is",
}

// TestEveryColumnTamperedWith changes one value of one row in every column of every table that holds a contract, with
// constraints and triggers out of the way, and prints how much of it verification finds.
func TestEveryColumnTamperedWith(t *testing.T) {
	s, n, _ := acted(t)
	_, err := s.owner.Exec(s.ctx(), `SET session_replication_role = replica`)
	require.NoError(t, err)
	s.dropChecks()
	var after uuid.UUID
	require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT id FROM ph.work_order WHERE code LIKE 'AFTER-%'`).Scan(&after))
	logs := []uuid.UUID{s.yardOrder.ID, after, s.studio.Party}
	for _, log := range logs {
		require.Empty(t, s.verify(log, n.Verifier()).Problems)
	}
	found, tried := 0, 0
	var missed []string
	for _, c := range s.contractColumns() {
		ok, log := s.tamperColumn(c, logs, n.Verifier())
		if log == uuid.Nil {
			continue // no row with a value
		}
		tried++
		if ok {
			found++
			continue
		}
		name := c.table + "." + c.name
		if notEvidence[c.name] == "" && derivedOrTimes[name] == "" {
			missed = append(missed, name)
		}
	}
	t.Logf("tampering: %d of %d columns found; %d are not evidence, for a reason", found, tried, tried-found-len(missed))
	require.Empty(t, missed, "tampered with and not found")
	require.Greater(t, found, 400)
	for _, log := range logs {
		require.Empty(t, s.verify(log, n.Verifier()).Problems, "all put right again")
	}
}

func (s *scene) dropChecks() {
	rows, err := s.owner.Query(s.ctx(), `SELECT c.conrelid::regclass::text, c.conname FROM pg_constraint c JOIN pg_class t ON t.oid = c.conrelid
		WHERE t.relnamespace = 'ph'::regnamespace AND c.contype = 'c' AND c.coninhcount = 0`)
	require.NoError(s.t, err)
	type check struct{ Table, Name string }
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[check])
	require.NoError(s.t, err)
	for _, c := range list {
		_, err := s.owner.Exec(s.ctx(), fmt.Sprintf(`ALTER TABLE %s DROP CONSTRAINT IF EXISTS %s`, c.Table, c.Name))
		require.NoError(s.t, err)
	}
}

type column struct{ table, name, kind string }

// contractColumns lists the columns of every table whose rows belong to a log.
func (s *scene) contractColumns() []column {
	rows, err := s.owner.Query(s.ctx(), `SELECT c.table_name, c.column_name, c.udt_name FROM information_schema.columns c
		JOIN information_schema.tables b USING (table_schema, table_name) JOIN pg_class r ON r.relnamespace = 'ph'::regnamespace AND r.relname = c.table_name AND NOT r.relispartition
		WHERE c.table_schema = 'ph' AND c.table_name NOT IN ('party', 'member', 'invitation', 'session', 'device', 'provider', 'identity', 'sign_in', 'attempt', 'access', 'token', 'idempotency', 'move', 'goose_db_version', 'calendar',
			'capacity', 'quota', 'check_count', 'milestone_count', 'prop_line', 'saved_view', 'pending_sign_off', 'saved_note', 'turn', 'orphan', 'stored', 'house_leaf', 'house_hash', 'checkpoint', 'notary_key', 'log', 'log_hash', 'fact_person', 'file_part', 'anchor') AND c.is_generated = 'NEVER'
			AND EXISTS (SELECT FROM information_schema.columns o WHERE o.table_schema = 'ph' AND o.table_name = c.table_name AND o.column_name = 'studio_id')`) // a row of a contract says whose it is
	require.NoError(s.t, err)
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (c column, err error) {
		err = row.Scan(&c.table, &c.name, &c.kind)
		return c, err
	})
	require.NoError(s.t, err)
	sort.Slice(list, func(i, j int) bool { return list[i].table+"."+list[i].name < list[j].table+"."+list[j].name })
	return list
}

// otherValue is another value of the same type, in SQL.
func otherValue(c column) string {
	name := `"` + c.name + `"`
	switch c.kind {
	case "int2", "int4", "int8", "float8", "date":
		return name + " + 1"
	case "text":
		return name + " || 'x'"
	case "bytea":
		return "sha256(" + name + ")"
	case "uuid":
		return "gen_random_uuid()"
	case "bool":
		return "NOT " + name
	case "timestamptz":
		return name + " + interval '1 day'"
	case "jsonb":
		return name + ` || '{"x": 1}'`
	case "_text":
		return name + " || 'x'::text"
	case "_int2":
		return name + " || 7::smallint"
	case "_date":
		return name + " || date '2031-01-01'"
	}
	return ""
}

// tamperColumn changes one value and puts it back. log is the zero id where no row of these logs has a value.
func (s *scene) tamperColumn(c column, logs []uuid.UUID, verifier string) (found bool, log uuid.UUID) {
	columns := s.tables()[c.table]
	of := "studio_id"
	switch {
	case has(columns, "log_id"):
		of = "log_id"
	case c.table == "work_order":
		of = "id"
	case c.table == "handover" || c.table == "handover_file":
	case has(columns, "work_order_id"):
		of = "work_order_id"
	case c.table == "finding" || c.table == "evidence":
		of = "(SELECT i.work_order_id FROM ph.inspection i WHERE i.id = x.inspection_id)"
	}
	if c.table == "evidence" {
		of = "(SELECT i.work_order_id FROM ph.inspection i WHERE i.id = x.inspection_id)"
	}
	if c.table == "file" {
		of = "(SELECT d.work_order_id FROM ph.delivery d WHERE d.id = x.delivery_id AND d.state = 'sealed')"
	}
	if c.table == "note" || c.table == "note_resolution" {
		of = "CASE WHEN vendor_id IS NULL THEN studio_id ELSE work_order_id END"
	}
	other := otherValue(c)
	require.NotEmpty(s.t, other, "%s.%s is of type %s", c.table, c.name, c.kind)
	var old, at, where string
	err := s.owner.QueryRow(s.ctx(), fmt.Sprintf(`SELECT "%s"::text, x.ctid::text, x.tableoid::regclass::text, (%s) FROM ph.%s x WHERE "%s" IS NOT NULL AND (%s) = ANY ($1) LIMIT 1`,
		c.name, of, c.table, c.name, of), logs).Scan(&old, &at, &where, &log)
	if err == pgx.ErrNoRows {
		return false, uuid.Nil
	}
	require.NoError(s.t, err, "%s.%s", c.table, c.name)
	var now string
	err = s.owner.QueryRow(s.ctx(), fmt.Sprintf(`UPDATE %s SET "%s" = %s WHERE ctid = $1 RETURNING ctid::text`, where, c.name, other), at).Scan(&now)
	if err != nil { // a unique key or the partition's bounds refuse even this
		require.True(s.t, strings.Contains(err.Error(), "23505") || strings.Contains(err.Error(), "23514"), "%s.%s: %v", c.table, c.name, err)
		return true, log
	}
	r := s.tryVerify(log, verifier)
	_, err = s.owner.Exec(s.ctx(), fmt.Sprintf(`UPDATE %s SET "%s" = $2::text::%s WHERE ctid = $1`, where, c.name, c.kind), now, old)
	require.NoError(s.t, err, "%s.%s", c.table, c.name)
	return r, log
}

// tryVerify says whether verification finds something wrong, or finds no log at all.
func (s *scene) tryVerify(log uuid.UUID, verifier string) bool {
	var r ledger.Report
	err := s.store.InSnapshot(s.ctx(), s.studio, func(tx *ledger.Tx) (err error) {
		r, err = tx.Verify(s.ctx(), log, verifier)
		return err
	})
	return err != nil || !r.OK()
}
