package seed

import (
	"fmt"
	"strings"
	"time"
)

// tableSpec says which columns of a table are written, and by which of the loading connections.
type tableSpec struct {
	name, columns string
	loader        int
}

const (
	loaders = 3
	parties = "studio_id, vendor_id, work_order_id, "
)

// The findings are half of all bytes and the logs a third of the rest: each has a connection of its own.
var tableSpecs = []tableSpec{
	{"finding", "studio_id, vendor_id, inspection_id, ord, chk, part, set_name, lod, tile, pose, file, outcome, blocks, follows_from, measured, unit, limit_key, limit_value", 0},

	{"fact", "studio_id, vendor_id, log_id, idx, kind, version, subject_id, actor, member_id, recorded_at, body", 1},
	{"fact_person", "studio_id, vendor_id, log_id, idx, salt, name", 1},
	{"log_hash", "studio_id, vendor_id, log_id, idx, hash", 1},

	{"engagement", "studio_id, vendor_id, studio_name, vendor_name, created_at, created_by", 2},
	{"project", "studio_id, id, code, title, created_at, created_by, by_name", 2},
	{"work_order", "studio_id, vendor_id, id, project_id, code, title, currency, rounds_included, review_days, terms, placed_at, placed_by, by_name", 2},
	{"prop", parties + "id, code, title, tier, price_minor, ordered_at, ordered_by, by_name, work_began_at, spec_in_force, kit, blocked_by, blocked_since, blocked_secs", 2},
	{"milestone", parties + "prop_id, id, position, kind, share_bp, amount_minor, due_on, due_sort, state, last_event, since, rounds, rework_vendor, rework_studio, review_due_at, vendor_secs, studio_secs, inspector_secs", 2},
	{"spec_revision", parties + "prop_id, id, number, parent_id, document, document_sha256, digest, note, by_member, by_name, created_at", 2},
	{"spec_ack", parties + "prop_id, spec_revision_id, id, by_member, by_name, at", 2},
	{"delivery", parties + "prop_id, milestone_id, id, number, state, note, manifest_sha256, spec_revision_id, files, bytes, opened_by, by_name, opened_at, sealing_at, sealed_at, sealed_by, abandoned_at, abandoned_by, round_cause, swept_at", 2},
	{"file", parties + "delivery_id, id, ord, path, role, size, sha256, media_type, object_key, part_size, etag", 2},
	{"inspection", parties + "prop_id, milestone_id, delivery_id, id, spec_revision_id, spec_number, reason, state, fence, attempts, queued_at, started_at, finished_at, engine, engine_digest, verdict, headline, cause, evidence_sha256, findings_sha256, findings, issues, current, permitted", 2},
	{"evidence", parties + "inspection_id, name, what, object_key, sha256, size, media_type", 2},
	{"concession", parties + "delivery_id, inspection_id, ord, chk, id, reason, by_member, by_name, at", 2},
	{"sign_off", parties + "prop_id, milestone_id, delivery_id, inspection_id, id, decision, reason, by_member, by_name, by_role, opened_by, sealed_by, at, cause", 2},
	{"payable", parties + "prop_id, milestone_id, sign_off_id, id, amount_minor, currency, at, kind", 2},
	{"note", parties + "delivery_id, id, side, text, salt, by_member, by_name, at", 2},
	{"question", parties + "prop_id, id, number, blocks, state, last_event, since, waited_secs, asked_by, by_name, asked_at", 2},
	{"question_message", parties + "question_id, id, side, event, text, salt, by_member, by_name, at", 2},
	{"log", "studio_id, vendor_id, id, size, root, frontier", 2},
}

// tables collect the rows of one stretch of time.
type tables struct{ by map[string]*rows }

func newTables() *tables {
	t := &tables{by: map[string]*rows{}}
	for _, s := range tableSpecs {
		if s.name != "finding" {
			t.by[s.name] = &rows{}
		}
	}
	return t
}

func (t *tables) of(name string) *rows { return t.by[name] }

// begin begins a row of a table, with all of its columns.
func (t *tables) begin(name string) *rows { return t.of(name).begin(columnsOf[name]) }

var columnsOf = func() map[string]int {
	of := map[string]int{}
	for _, s := range tableSpecs {
		of[s.name] = strings.Count(s.columns, ",") + 1
	}
	return of
}()

// findings are the rows of the part of the findings' table that holds the inspections of a half year.
func (t *tables) findings(at time.Time) *rows {
	name := partOf(at)
	if t.by[name] == nil {
		t.by[name] = &rows{}
	}
	return t.by[name]
}

// parts are the names of the findings' tables that have rows.
func (t *tables) parts() []string {
	var out []string
	for name, r := range t.by {
		if strings.HasPrefix(name, "finding_") && len(r.end) > 0 {
			out = append(out, name)
		}
	}
	return out
}

func partOf(at time.Time) string {
	if y := at.Year(); y >= 2026 && y <= 2029 { // as the migrations make them
		return fmt.Sprintf("finding_%d_h%d", y, (int(at.Month())-1)/6+1)
	}
	return "finding_rest"
}

// owned begins a row with whose it is.
func (t *tables) owned(name string, o *order) *rows {
	return t.begin(name).id(o.studio.id).id(o.vendor.id).id(o.id)
}
