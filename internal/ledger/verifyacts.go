package ledger

import (
	"context"
	"fmt"
	"maps"
	"math"
	"strings"
	"time"

	"github.com/google/uuid"
)

// actColumns says in which columns a row repeats when its fact was recorded and who acted; "" where it does not.
var actColumns = map[string]struct{ table, id, at, by string }{
	FactProjectCreated: {"project", "id", "created_at", "created_by"}, FactVendorEngaged: {"engagement", "vendor_id", "created_at", "created_by"},
	FactWorkOrderPlaced: {"work_order", "id", "placed_at", "placed_by"}, FactPropOrdered: {"prop", "id", "ordered_at", "ordered_by"},
	FactSpecRevised: {"spec_revision", "id", "created_at", "by_member"}, FactSpecAcknowledged: {"spec_ack", "id", "at", "by_member"},
	FactDeliveryOpened: {"delivery", "id", "opened_at", "opened_by"}, FactDeliverySealed: {"delivery", "id", "sealed_at", "sealed_by"},
	FactDeliveryAbandoned: {"delivery", "id", "abandoned_at", "abandoned_by"}, FactInspectionRequested: {"inspection", "id", "queued_at", "requested_by"},
	FactInspectionRecorded: {"inspection", "id", "finished_at", ""}, FactConcessionGranted: {"concession", "id", "at", "by_member"},
	FactSignedOff: {"sign_off", "id", "at", "by_member"}, FactPayable: {"payable", "id", "at", ""}, FactCancelled: {"cancellation", "id", "at", "by_member"},
	FactNoteWritten: {"note", "id", "at", "by_member"}, FactNoteResolved: {"note_resolution", "id", "at", "by_member"},
	FactCalendarPinned: {"order_calendar", "id", "at", "by_member"}, FactChangeOffered: {"change_order", "id", "offered_at", "offered_by"},
	FactChangeDecided: {"change_order", "id", "since", "decided_by"}, FactHeld: {"hold", "id", "at", "by_member"}, FactReminded: {"reminder", "id", "at", ""},
	FactBatchOpened: {"batch", "id", "opened_at", "opened_by"}, FactBatchSealed: {"batch", "id", "sealed_at", ""}, FactQuestion: {"question_message", "id", "at", "by_member"},
	FactPermissionBegun: {"permission", "id", "at", "by_member"}, FactPermissionDecided: {"permission_decision", "id", "at", "by_member"},
	FactDeputyNamed: {"deputy", "id", "at", "by_member"}, FactSecrecyAcknowledged: {"nda_ack", "id", "at", "by_member"},
	FactReferencesGiven: {"reference_pack", "id", "published_at", ""}, FactReferencesAcknowledged: {"reference_ack", "id", "at", "by_member"},
	FactMaintenance: {"maintenance", "id", "at", "by_member"}, FactPaymentHeld: {"payment_hold", "id", "at", ""},
	FactPaymentHoldEnded: {"payment_hold_end", "id", "at", "by_member"}, FactSetUsed: {"set_use", "id", "at", "by_member"},
	FactHandover: {"handover", "id", "at", "by_member"}, FactPersonErased: {"erasure", "id", "at", "by_member"},
	FactOriginDeclared: {"origin_declaration", "id", "at", "by_member"}, FactReassigned: {"reassignment", "id", "at", "by_member"},
	FactRetentionSet: {"retention", "id", "at", "by_member"}, FactBytesRemoved: {"removal", "id", "at", ""},
}

// verifyActs compares when a row says that it was made, and by whom, with its leaf.
func (tx *Tx) verifyActs(ctx context.Context, v *verification, h logHead) error {
	byKind := map[string][]uuid.UUID{}
	at := map[string]map[uuid.UUID]int{}
	for i, l := range v.leaves {
		if at[l.Kind] == nil {
			at[l.Kind] = map[uuid.UUID]int{}
		}
		at[l.Kind][l.Subject] = i
		byKind[l.Kind] = append(byKind[l.Kind], l.Subject)
	}
	for kind, ids := range byKind {
		c, ok := actColumns[kind]
		if !ok {
			continue
		}
		by := c.by
		if by == "" {
			by = "NULL::uuid"
		}
		rows, err := tx.Query(ctx, fmt.Sprintf(`SELECT %s, %s, %s FROM ph.%s WHERE studio_id = $1 AND %s = ANY ($2)`, c.id, c.at, by, c.table, c.id), h.studio, ids)
		if err != nil {
			return fmt.Errorf("rows of %s: %w", kind, err)
		}
		for rows.Next() {
			var id uuid.UUID
			var when *time.Time
			var who *uuid.UUID
			if err := rows.Scan(&id, &when, &who); err != nil {
				rows.Close()
				return err
			}
			l := v.leaves[at[kind][id]]
			if when == nil || stamp(*when) != l.RecordedAt || (c.by != "" && deref(who) != deref(l.Member)) {
				v.report.problem(int64(at[kind][id]), "%s: the row says at %s by %s, the leaf at %s by %s", kind, stamp(deref(when)), deref(who), l.RecordedAt, deref(l.Member))
			}
		}
		if err := rows.Err(); err != nil {
			return err
		}
	}
	return nil
}

// ownedTables hold rows of a work order; those with a milestone say its prop too.
var (
	ownedTables = strings.Fields(`prop spec_revision spec_ack milestone cancellation delivery file inspection evidence sign_off concession payable note note_resolution
		order_calendar change_order hold reminder batch question question_message permission permission_decision nda_ack reference_pack reference_file reference_ack
		set_use maintenance payment_hold payment_hold_end origin_declaration retention removal removal_file`)
	milestoneTables = strings.Fields(`cancellation delivery inspection sign_off payable change_order hold reminder maintenance payment_hold`)
)

// verifyOwners looks for rows of the work order that say another vendor, or another prop than their milestone's.
func (tx *Tx) verifyOwners(ctx context.Context, v *verification, h logHead) error {
	var checks []string
	check := func(table, cond string) {
		checks = append(checks, fmt.Sprintf(`SELECT '%s', count(*) FROM ph.%s t WHERE t.studio_id = $1 AND %s`, table, table, cond))
	}
	for _, table := range ownedTables {
		check(table, `t.work_order_id = $2 AND t.vendor_id <> (SELECT w.vendor_id FROM ph.work_order w WHERE w.studio_id = $1 AND w.id = $2)`)
	}
	for _, table := range milestoneTables {
		check(table, `t.work_order_id = $2 AND NOT EXISTS (SELECT FROM ph.milestone m WHERE m.studio_id = t.studio_id AND m.id = t.milestone_id AND m.prop_id = t.prop_id AND m.work_order_id = $2)`)
	}
	for _, table := range []string{"finding", "evidence"} {
		check(table, `EXISTS (SELECT FROM ph.inspection i WHERE i.studio_id = t.studio_id AND i.id = t.inspection_id AND i.work_order_id = $2 AND i.vendor_id <> t.vendor_id)`)
	}
	check("evidence", `EXISTS (SELECT FROM ph.inspection i WHERE i.studio_id = t.studio_id AND i.id = t.inspection_id AND i.work_order_id = $2 AND t.work_order_id <> $2)`)
	check("file", `EXISTS (SELECT FROM ph.delivery d WHERE d.studio_id = t.studio_id AND d.id = t.delivery_id AND d.work_order_id = $2 AND t.work_order_id <> $2)`)
	check("reference_file", `EXISTS (SELECT FROM ph.reference_pack p WHERE p.studio_id = t.studio_id AND p.id = t.pack_id AND p.work_order_id = $2 AND t.work_order_id <> $2)`)
	check("fact", `t.log_id = $2 AND t.vendor_id IS DISTINCT FROM (SELECT l.vendor_id FROM ph.log l WHERE l.studio_id = $1 AND l.id = $2)`)
	check("erasure", `t.log_id = $2 AND t.vendor_id IS DISTINCT FROM (SELECT l.vendor_id FROM ph.log l WHERE l.studio_id = $1 AND l.id = $2)`)
	check("spec_revision", `t.work_order_id = $2 AND t.document_sha256 <> sha256(t.document)`)
	rows, err := tx.Query(ctx, strings.Join(checks, " UNION ALL "), h.studio, h.Log)
	if err != nil {
		return fmt.Errorf("whose rows they are: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var table string
		var n int64
		if err := rows.Scan(&table, &n); err != nil {
			return err
		}
		if n > 0 {
			v.report.problem(-1, "%d rows of %s say another owner than their order", n, table)
		}
	}
	return rows.Err()
}

// standingOf is what leaves say of a milestone beside its state.
type standingOf struct {
	since                time.Time
	last                 Event
	rounds               int
	reworkVendor         int
	reworkStudio         int
	change               int64
	vendor, studio, test int64 // seconds on each desk
}

// step takes a milestone's standing one move on: the same sums as the database's trigger.
func (s *standingOf) step(from MilestoneState, ev Event, at time.Time, cause string) {
	passed := max(0, int64(math.Round(at.Sub(s.since).Seconds())))
	switch from.Desk() {
	case DeskVendor:
		s.vendor += passed
	case DeskInspector:
		s.test += passed
	default:
		s.studio += passed
	}
	s.since, s.last = at, ev
	if ev == EvSeal {
		s.rounds++
		switch Cause(cause) {
		case Nonconformity:
			s.reworkVendor++
		case ChangedMind:
			s.reworkStudio++
		}
	}
}

// verifyStandings compares what is kept beside the states with what the leaves lead to.
func (tx *Tx) verifyStandings(ctx context.Context, v *verification, h logHead) error {
	rows, err := tx.Query(ctx, `SELECT id, coalesce(last_event, ''), since, rounds, rework_vendor, rework_studio, change_minor, vendor_secs, studio_secs, inspector_secs, kind = 'maintenance' AND share_bp <> 0
		FROM ph.milestone WHERE studio_id = $1 AND work_order_id = $2`, h.studio, h.Log)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var id uuid.UUID
		var got standingOf
		var odd bool
		if err := rows.Scan(&id, &got.last, &got.since, &got.rounds, &got.reworkVendor, &got.reworkStudio, &got.change, &got.vendor, &got.studio, &got.test, &odd); err != nil {
			return err
		}
		want := deref(v.standing[id])
		if odd || !got.since.Equal(want.since) {
			v.report.problem(-1, "milestone %s is in its state since %s, the leaves say %s", id, stamp(got.since), stamp(want.since))
		}
		got.since, want.since = time.Time{}, time.Time{}
		if got != want {
			v.report.problem(-1, "milestone %s counts %+v, the leaves lead to %+v", id, got, want)
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	return tx.verifyInForce(ctx, v, h)
}

// verifyInForce does the same for the spec in force of each prop, and for which inspection of a delivery counts.
func (tx *Tx) verifyInForce(ctx context.Context, v *verification, h logHead) error {
	rows, err := tx.Query(ctx, `SELECT 'spec of prop', id, spec_in_force FROM ph.prop WHERE studio_id = $1 AND work_order_id = $2
		UNION ALL SELECT 'inspection of delivery', d.id, (SELECT i.id FROM ph.inspection i WHERE i.studio_id = d.studio_id AND i.delivery_id = d.id AND i.current)
		FROM ph.delivery d WHERE d.studio_id = $1 AND d.work_order_id = $2`, h.studio, h.Log)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var what string
		var of uuid.UUID
		var got *uuid.UUID
		if err := rows.Scan(&what, &of, &got); err != nil {
			return err
		}
		if deref(got) != v.inForce[of] {
			v.report.problem(-1, "the %s %s is %s, the leaves lead to %s", what, of, deref(got), v.inForce[of])
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	return tx.verifyDelivered(ctx, v, h)
}

// verifyDelivered does the same for the state of each delivery. One that is being sealed has no leaf for that yet.
func (tx *Tx) verifyDelivered(ctx context.Context, v *verification, h logHead) error {
	rows, err := tx.Query(ctx, `SELECT id, state FROM ph.delivery WHERE studio_id = $1 AND work_order_id = $2`, h.studio, h.Log)
	if err != nil {
		return err
	}
	defer rows.Close()
	missing := maps.Clone(v.delivered)
	for rows.Next() {
		var id uuid.UUID
		var state DeliveryState
		if err := rows.Scan(&id, &state); err != nil {
			return err
		}
		delete(missing, id)
		if want := v.delivered[id]; state != want && !(state == DSealing && want == DOpen) {
			v.report.problem(-1, "delivery %s is %s, the leaves lead to %q", id, state, want)
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	for id := range missing {
		v.report.problem(-1, "delivery %s, of which the leaves speak, is not among the order's", id)
	}
	return nil
}

// replayStanding follows what stands beside the states: since when, how often, which spec and which inspection count.
func (v *verification) replayStanding(l leaf, d leafData) {
	at, _ := time.Parse("2006-01-02T15:04:05.000000Z", l.RecordedAt)
	switch l.Kind {
	case FactPropOrdered:
		for _, m := range d.Milestones {
			v.standing[m.ID], v.propOf[m.ID] = &standingOf{since: at}, l.Subject
		}
	case FactMaintenance:
		v.standing[d.Milestone] = &standingOf{since: at}
		v.propOf[d.Milestone] = d.Prop
	case FactSpecRevised:
		if !v.began[d.Prop] {
			v.inForce[d.Prop] = l.Subject
		}
	case FactSpecAcknowledged:
		v.inForce[d.Prop], v.began[d.Prop] = d.SpecRevision, true
	case FactDeliveryOpened:
		v.began[v.propOf[d.Milestone]] = true
		v.delivered[l.Subject] = DOpen
	case FactDeliverySealed:
		v.delivered[l.Subject] = DSealed
	case FactDeliveryAbandoned:
		v.delivered[l.Subject] = DAbandoned
	case FactInspectionRecorded:
		v.inForce[d.Delivery] = l.Subject
	case FactChangeDecided:
		if s := v.standing[d.Milestone]; s != nil && ChangeState(d.State) == ChangeAgreed {
			s.change += d.DeltaMinor
		}
	}
}
