package ledger

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Story is what happened around one prop beside its milestones and deliveries, each list newest first.
type Story struct {
	Questions   []Question // with what was said
	Permissions []Permission
	Changes     []ChangeOrder
	Packs       []ReferencePack // of the order, without files
	Uses        []SetUse        // sets that the prop uses
	UsedBy      []SetUse        // props that use it, where it is a set or kit
	SignOffs    []SignOff
	Concessions []PropConcession
	Notes       []PropNote
	Maintenance []Maintenance
	Holds       []PaymentHold
	Handovers   []PropHandover // the studio's alone
	Origins     []Origin
	GoneOn      *Reassignment // the studio's alone
	Calendars   []OrderCalendar
	Facts       []Fact // of the order's log, without bodies; the newest storyFacts
}

// PropConcession is a concession with the delivery that it was granted on.
type PropConcession struct {
	Concession
	Delivery uuid.UUID
	Number   int
	Kind     string // of the delivery's milestone
}

// PropNote is a note with the delivery that it stands on.
type PropNote struct {
	ID       uuid.UUID
	Delivery uuid.UUID
	Number   int
	Kind     string // of the delivery's milestone
	Side     Side
	ByName   string
	Text     string
	Private  bool
	Pinned   bool
	At       time.Time
	Resolved bool
}

// Maintenance says why an accepted prop was opened again.
type Maintenance struct {
	Milestone uuid.UUID
	Reason    string
	ByName    string
	At        time.Time
}

// PropHandover is a hand-over with how many of its files are the prop's.
type PropHandover struct {
	ID     uuid.UUID
	Number int
	Files  int
	At     time.Time
}

// storyFacts is how many entries of the log, and storyNotes how many notes, a prop's story shows.
const (
	storyFacts = 200
	storyNotes = 200
)

// Story reads what happened around a prop that the caller may see.
func (tx *Tx) Story(ctx context.Context, p Prop) (s Story, err error) {
	for _, read := range []func() error{
		func() (err error) { s.Questions, err = tx.questionsOf(ctx, p.ID); return err },
		func() (err error) { s.Permissions, err = tx.permissionsOf(ctx, p); return err },
		func() (err error) { s.Changes, err = tx.changesOf(ctx, p); return err },
		func() (err error) { s.Packs, err = tx.ReferencePacks(ctx, p.WorkOrderID); return err },
		func() (err error) { s.Uses, err = tx.SetsOf(ctx, p.ID); return err },
		func() (err error) {
			if p.Kind != "prop" {
				s.UsedBy, err = tx.UsersOf(ctx, p.ID)
			}
			return err
		},
		func() (err error) { s.SignOffs, err = tx.signOffsOf(ctx, p); return err },
		func() (err error) { s.Concessions, err = tx.concessionsOf(ctx, p); return err },
		func() (err error) { s.Notes, err = tx.notesOf(ctx, p); return err },
		func() (err error) { s.Maintenance, err = tx.maintenanceOf(ctx, p); return err },
		func() (err error) {
			s.Holds, err = tx.paymentHolds(ctx, `h.prop_id = $2 ORDER BY h.id DESC`, p.ID)
			return err
		},
		func() (err error) {
			if tx.Who.Side == StudioSide {
				if s.Handovers, err = tx.handoversOf(ctx, p); err == nil {
					s.GoneOn, err = tx.ReassignmentOf(ctx, p.ID)
				}
			}
			return err
		},
		func() (err error) { s.Origins, err = tx.Origins(ctx, p.ID); return err },
		func() (err error) { s.Calendars, err = tx.OrderCalendars(ctx, p.WorkOrderID); return err },
		func() (err error) { s.Facts, err = tx.factsOf(ctx, p); return err },
	} {
		if err := read(); err != nil {
			return s, fmt.Errorf("story of prop %s: %w", p.ID, err)
		}
	}
	return s, nil
}

// questionsOf lists a prop's questions with what was said. Indexes: question_number_key, question_message's by question.
func (tx *Tx) questionsOf(ctx context.Context, prop uuid.UUID) ([]Question, error) {
	rows, err := tx.Query(ctx, tx.sql(questionSelect+` AND q.prop_id = $2 ORDER BY q.id DESC`), tx.Who.Party, prop)
	if err != nil {
		return nil, err
	}
	all, err := pgx.CollectRows(rows, scanQuestion)
	if err != nil || len(all) == 0 {
		return all, err
	}
	return all, tx.WithMessages(ctx, all)
}

// WithMessages fills in what was said in each question.
func (tx *Tx) WithMessages(ctx context.Context, all []Question) error {
	at, ids := map[uuid.UUID]*Question{}, make([]uuid.UUID, len(all))
	for i := range all {
		at[all[i].ID], ids[i] = &all[i], all[i].ID
	}
	rows, err := tx.Query(ctx, tx.sql(`SELECT question_id, id, side, event, coalesce(by_name, ''), text, spec_revision_id, at FROM ph.question_message
		WHERE {me} = $1 AND question_id = ANY ($2) ORDER BY id`), tx.Who.Party, ids)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var question uuid.UUID
		var m QuestionMessage
		if err := rows.Scan(&question, &m.ID, &m.Side, &m.Event, &m.ByName, &m.Text, &m.Spec, &m.At); err != nil {
			return err
		}
		at[question].Messages = append(at[question].Messages, m)
	}
	return rows.Err()
}

// permissionsOf lists the permissions that are about a prop, its kit or the whole order.
func (tx *Tx) permissionsOf(ctx context.Context, p Prop) ([]Permission, error) {
	rows, err := tx.Query(ctx, tx.sql(permissionSelect+`p.work_order_id = $2 AND (p.prop_id = $3 OR (p.prop_id IS NULL AND (p.kit IS NULL OR p.kit = $4))) ORDER BY p.id DESC`),
		tx.Who.Party, p.WorkOrderID, p.ID, p.Kit)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Permission])
}

func (tx *Tx) changesOf(ctx context.Context, p Prop) ([]ChangeOrder, error) {
	rows, err := tx.Query(ctx, tx.sql(changeSelect+`c.work_order_id = $2 AND c.prop_id = $3 ORDER BY c.id DESC`), tx.Who.Party, p.WorkOrderID, p.ID)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[ChangeOrder])
}

func (tx *Tx) signOffsOf(ctx context.Context, p Prop) ([]SignOff, error) {
	rows, err := tx.Query(ctx, `SELECT id, delivery_id, milestone_id, decision, reason, by_member, coalesce(by_name, ''), by_role, at, coalesce(cause, '') FROM ph.sign_off
		WHERE studio_id = $1 AND prop_id = $2 ORDER BY id DESC`, p.StudioID, p.ID)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (s SignOff, err error) {
		var by *uuid.UUID
		err = row.Scan(&s.ID, &s.DeliveryID, &s.MilestoneID, &s.Decision, &s.Reason, &by, &s.ByName, &s.ByRole, &s.At, &s.Cause)
		s.By = deref(by)
		return s, err
	})
}

func (tx *Tx) concessionsOf(ctx context.Context, p Prop) ([]PropConcession, error) {
	rows, err := tx.Query(ctx, `SELECT c.id, c.inspection_id, c.ord, c.chk, c.reason, coalesce(c.by_name, ''), c.at, c.permission_id, d.id, d.number, m.kind FROM ph.concession c
		JOIN ph.delivery d ON d.studio_id = c.studio_id AND d.id = c.delivery_id
		JOIN ph.milestone m ON m.studio_id = d.studio_id AND m.id = d.milestone_id
		WHERE d.studio_id = $1 AND d.prop_id = $2 ORDER BY c.id DESC`, p.StudioID, p.ID)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (c PropConcession, err error) {
		err = row.Scan(&c.ID, &c.Inspection, &c.Ord, &c.Check, &c.Reason, &c.ByName, &c.At, &c.Permission, &c.Delivery, &c.Number, &c.Kind)
		return c, err
	})
}

// notesOf lists a prop's notes; the policy of ph.note keeps a vendor from private ones.
func (tx *Tx) notesOf(ctx context.Context, p Prop) ([]PropNote, error) {
	rows, err := tx.Query(ctx, `SELECT n.id, d.id, d.number, m.kind, n.side, coalesce(n.by_name, ''), n.text, n.vendor_id IS NULL, n.pin IS NOT NULL, n.at,
		coalesce((SELECT r.resolved FROM ph.note_resolution r WHERE r.studio_id = n.studio_id AND r.note_id = n.id ORDER BY r.id DESC LIMIT 1), false)
		FROM ph.delivery d JOIN ph.note n ON n.studio_id = d.studio_id AND n.delivery_id = d.id
		JOIN ph.milestone m ON m.studio_id = d.studio_id AND m.id = d.milestone_id
		WHERE d.studio_id = $1 AND d.prop_id = $2 ORDER BY n.id DESC LIMIT $3`, p.StudioID, p.ID, storyNotes)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[PropNote])
}

func (tx *Tx) maintenanceOf(ctx context.Context, p Prop) ([]Maintenance, error) {
	rows, err := tx.Query(ctx, `SELECT milestone_id, reason, coalesce(by_name, ''), at FROM ph.maintenance WHERE studio_id = $1 AND prop_id = $2 ORDER BY id DESC`, p.StudioID, p.ID)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Maintenance])
}

func (tx *Tx) handoversOf(ctx context.Context, p Prop) ([]PropHandover, error) {
	rows, err := tx.Query(ctx, `SELECT h.id, h.number, count(*)::int, h.at FROM ph.handover h
		JOIN ph.handover_file l ON l.studio_id = h.studio_id AND l.handover_id = h.id
		JOIN ph.file f ON f.studio_id = l.studio_id AND f.id = l.file_id
		JOIN ph.delivery d ON d.studio_id = f.studio_id AND d.id = f.delivery_id
		WHERE h.studio_id = $1 AND h.work_order_id = $2 AND d.prop_id = $3 GROUP BY h.id, h.number, h.at ORDER BY h.number DESC`, p.StudioID, p.WorkOrderID, p.ID)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[PropHandover])
}

// factsOf lists what the order's log says of a prop, newest first. What facts are about is found by the prop's own rows;
// index: fact_of_subject.
func (tx *Tx) factsOf(ctx context.Context, p Prop) ([]Fact, error) {
	rows, err := tx.Query(ctx, `WITH d AS (SELECT id FROM ph.delivery WHERE studio_id = $1 AND prop_id = $3), subjects AS (
			SELECT $3::uuid AS id UNION ALL SELECT id FROM d
			UNION ALL SELECT id FROM ph.spec_revision WHERE studio_id = $1 AND prop_id = $3 UNION ALL SELECT id FROM ph.spec_ack WHERE studio_id = $1 AND prop_id = $3
			UNION ALL SELECT id FROM ph.inspection WHERE studio_id = $1 AND prop_id = $3 UNION ALL SELECT id FROM ph.sign_off WHERE studio_id = $1 AND prop_id = $3
			UNION ALL SELECT c.id FROM ph.concession c JOIN d ON d.id = c.delivery_id WHERE c.studio_id = $1
			UNION ALL SELECT n.id FROM ph.note n JOIN d ON d.id = n.delivery_id WHERE n.studio_id = $1
			UNION ALL SELECT r.id FROM ph.note_resolution r JOIN ph.note n ON n.studio_id = r.studio_id AND n.id = r.note_id JOIN d ON d.id = n.delivery_id WHERE r.studio_id = $1
			UNION ALL SELECT id FROM ph.payable WHERE studio_id = $1 AND prop_id = $3 UNION ALL SELECT id FROM ph.cancellation WHERE studio_id = $1 AND prop_id = $3
			UNION ALL SELECT id FROM ph.change_order WHERE studio_id = $1 AND prop_id = $3 UNION ALL SELECT id FROM ph.hold WHERE studio_id = $1 AND prop_id = $3
			UNION ALL SELECT id FROM ph.reminder WHERE studio_id = $1 AND prop_id = $3
			UNION ALL SELECT m.id FROM ph.question_message m JOIN ph.question q ON q.studio_id = m.studio_id AND q.id = m.question_id WHERE m.studio_id = $1 AND q.prop_id = $3
			UNION ALL SELECT id FROM ph.permission WHERE studio_id = $1 AND prop_id = $3
			UNION ALL SELECT e.id FROM ph.permission_decision e JOIN ph.permission s ON s.studio_id = e.studio_id AND s.id = e.permission_id WHERE e.studio_id = $1 AND s.prop_id = $3
			UNION ALL SELECT id FROM ph.origin_declaration WHERE studio_id = $1 AND prop_id = $3
			UNION ALL SELECT id FROM ph.set_use WHERE studio_id = $1 AND prop_id = $3 UNION ALL SELECT id FROM ph.maintenance WHERE studio_id = $1 AND prop_id = $3
			UNION ALL SELECT id FROM ph.payment_hold WHERE studio_id = $1 AND prop_id = $3
			UNION ALL SELECT e.id FROM ph.payment_hold_end e JOIN ph.payment_hold h ON h.studio_id = e.studio_id AND h.id = e.hold_id WHERE e.studio_id = $1 AND h.prop_id = $3)
		SELECT f.log_id, f.idx, f.kind, f.version, f.subject_id, f.recorded_at, f.actor, ''::bytea, coalesce(n.name, '') FROM ph.fact f
		LEFT JOIN ph.fact_person n ON n.studio_id = f.studio_id AND n.log_id = f.log_id AND n.idx = f.idx
		WHERE f.studio_id = $1 AND f.log_id = $2 AND f.subject_id IN (SELECT id FROM subjects) ORDER BY f.idx DESC LIMIT $4`, p.StudioID, p.WorkOrderID, p.ID, storyFacts)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Fact])
}

// PicturesOf finds the current inspections of a prop's deliveries that left a picture of this name, by delivery.
func (tx *Tx) PicturesOf(ctx context.Context, p Prop, name string) (map[uuid.UUID]uuid.UUID, error) {
	rows, err := tx.Query(ctx, `SELECT i.delivery_id, i.id FROM ph.inspection i JOIN ph.evidence e ON e.studio_id = i.studio_id AND e.inspection_id = i.id AND e.name = $3
		WHERE i.studio_id = $1 AND i.prop_id = $2 AND i.current`, p.StudioID, p.ID, name)
	if err != nil {
		return nil, fmt.Errorf("pictures of prop %s: %w", p.ID, err)
	}
	defer rows.Close()
	out := map[uuid.UUID]uuid.UUID{}
	for rows.Next() {
		var delivery, inspection uuid.UUID
		if err := rows.Scan(&delivery, &inspection); err != nil {
			return nil, fmt.Errorf("pictures of prop %s: %w", p.ID, err)
		}
		out[delivery] = inspection
	}
	return out, rows.Err()
}

// PastEvidence is the evidence of an earlier delivery, with that one's number.
type PastEvidence struct {
	Number int
	Object EvidenceObject
}

// EvidenceBefore is the evidence of the sealed delivery before this one in the same milestone to compare it with: the newest
// that could be measured, else the newest. Zero where it is the first.
func (tx *Tx) EvidenceBefore(ctx context.Context, d Delivery) (out PastEvidence, err error) {
	err = tx.QueryRow(ctx, tx.sql(`SELECT d.number, e.name, e.what, e.object_key, e.sha256, e.size, e.media_type FROM ph.delivery d
		JOIN ph.inspection i ON i.studio_id = d.studio_id AND i.delivery_id = d.id AND i.current
		JOIN ph.evidence e ON e.studio_id = i.studio_id AND e.inspection_id = i.id AND e.name = 'evidence.json'
		WHERE d.{me} = $1 AND d.milestone_id = $2 AND d.number < $3 AND d.state = 'sealed' ORDER BY `+measuredFirst+` LIMIT 1`), tx.Who.Party, d.MilestoneID, d.Number).
		Scan(&out.Number, &out.Object.Name, &out.Object.What, &out.Object.ObjectKey, &out.Object.SHA256, &out.Object.Size, &out.Object.MediaType)
	if err == pgx.ErrNoRows {
		return PastEvidence{}, nil
	}
	if err != nil {
		return out, fmt.Errorf("evidence before delivery %s: %w", d.ID, err)
	}
	return out, nil
}
