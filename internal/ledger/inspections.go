package ledger

import (
	"context"
	"fmt"
	"slices"
	"strconv"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// queueInspection adds an inspection under the spec in force, and a ticket that wakes a worker.
func (tx *Tx) queueInspection(ctx context.Context, m lockedMilestone, delivery uuid.UUID, reason string) uuid.UUID {
	id := newID()
	var by *uuid.UUID
	var name *string
	if reason != "" {
		by, name = &tx.Who.Member, &tx.Who.Name
	}
	tx.late.later(lateStatement{
		doing: fmt.Sprintf("queue inspection of delivery %s", delivery),
		sql: `INSERT INTO ph.inspection (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id, id, spec_revision_id, spec_number, reason, requested_by, by_name, trace)
		SELECT $1, $2, $3, $4, $5, $6, $7, s.id, s.number, $8, $9, $10, nullif($11, '')
		FROM ph.prop p JOIN ph.spec_revision s ON s.studio_id = p.studio_id AND s.id = p.spec_in_force
		WHERE p.studio_id = $1 AND p.id = $4`,
		args: []any{m.studio, m.vendor, m.workOrder, m.prop, m.id, delivery, id, reason, by, name, TraceOf(ctx)},
		check: func(tag pgconn.CommandTag) error {
			if tag.RowsAffected() != 1 {
				return fmt.Errorf("%w: the prop has no spec in force", ErrState)
			}
			return nil
		},
	})
	tx.tickets++
	return id
}

const inspectionColumns = `id, studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id, spec_revision_id, state, attempts,
       queued_at, started_at, finished_at, coalesce(engine, ''), coalesce(engine_digest, ''), coalesce(verdict, ''), coalesce(headline, ''), coalesce(cause, ''),
       evidence_sha256, findings_sha256, coalesce(issues, 0), current, coalesce(permitted, 0)`

// Inspection is one inspection.
func (tx *Tx) Inspection(ctx context.Context, id uuid.UUID) (Inspection, error) {
	return tx.inspection(ctx, `id = $2`, id)
}

// CurrentInspection is the one that counts for a delivery. ErrNotFound until one is done.
func (tx *Tx) CurrentInspection(ctx context.Context, delivery uuid.UUID) (Inspection, error) {
	studio, err := tx.studioOfDelivery(ctx, delivery)
	if err != nil {
		return Inspection{}, err
	}
	return tx.inspection(ctx, `studio_id = $3 AND delivery_id = $2 AND current`, delivery, studio)
}

func (tx *Tx) inspection(ctx context.Context, cond string, args ...any) (Inspection, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT `+inspectionColumns+` FROM ph.inspection WHERE {me} = $1 AND `+cond), append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return Inspection{}, fmt.Errorf("inspection: %w", err)
	}
	i, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Inspection])
	return i, mapError(err)
}

func (tx *Tx) studioOfDelivery(ctx context.Context, delivery uuid.UUID) (uuid.UUID, error) {
	var studio uuid.UUID
	err := tx.QueryRow(ctx, tx.sql(`SELECT studio_id FROM ph.delivery WHERE {me} = $1 AND id = $2`), tx.Who.Party, delivery).Scan(&studio)
	if err != nil {
		return studio, fmt.Errorf("delivery %s: %w", delivery, mapError(err))
	}
	return studio, nil
}

// Inspections lists a delivery's inspections, newest first.
func (tx *Tx) Inspections(ctx context.Context, delivery uuid.UUID) ([]Inspection, error) {
	studio, err := tx.studioOfDelivery(ctx, delivery)
	if err != nil {
		return nil, err
	}
	rows, err := tx.Query(ctx, `SELECT `+inspectionColumns+` FROM ph.inspection WHERE studio_id = $1 AND delivery_id = $2 ORDER BY id DESC`, studio, delivery)
	if err != nil {
		return nil, fmt.Errorf("inspections of delivery %s: %w", delivery, err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Inspection])
}

const findingColumns = `ord, chk, part, set_name, lod, tile, pose, file, outcome, blocks, follows_from, measured, unit, limit_key, limit_value`

// Findings lists an inspection's findings in their order.
func (tx *Tx) Findings(ctx context.Context, inspection uuid.UUID, p Page) (List[Finding], error) {
	after := -1
	if p.After != "" {
		keys, err := p.keys(1)
		if err != nil {
			return List[Finding]{}, err
		}
		if after, err = strconv.Atoi(keys[0]); err != nil {
			return List[Finding]{}, invalid("cursor", "is not one of ours")
		}
	}
	if _, err := tx.Inspection(ctx, inspection); err != nil {
		return List[Finding]{}, err
	}
	rows, err := tx.Query(ctx, tx.sql(`SELECT `+findingColumns+` FROM ph.finding WHERE {me} = $1 AND inspection_id = $2 AND ord > $3 ORDER BY ord LIMIT $4`),
		tx.Who.Party, inspection, after, p.limit()+1)
	if err != nil {
		return List[Finding]{}, fmt.Errorf("findings of inspection %s: %w", inspection, err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Finding])
	if err != nil {
		return List[Finding]{}, fmt.Errorf("findings of inspection %s: %w", inspection, err)
	}
	return listOf(items, p.limit(), func(f Finding) string { return cursor(strconv.Itoa(f.Ord)) }), nil
}

// EvidenceObjects lists the stored files of an inspection's evidence, by name.
func (tx *Tx) EvidenceObjects(ctx context.Context, inspection uuid.UUID) ([]EvidenceObject, error) {
	i, err := tx.Inspection(ctx, inspection)
	if err != nil {
		return nil, err
	}
	rows, err := tx.Query(ctx, `SELECT name, what, object_key, sha256, size, media_type FROM ph.evidence WHERE studio_id = $1 AND inspection_id = $2 ORDER BY name`, i.StudioID, inspection)
	if err != nil {
		return nil, fmt.Errorf("evidence of inspection %s: %w", inspection, err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[EvidenceObject])
}

// Reinspect queues another run of a sealed delivery under the spec in force now: after a newer engine, a newer spec,
// or an inspection that could not be made. Only the newest delivery of a milestone that is not decided yet.
func (tx *Tx) Reinspect(ctx context.Context, delivery uuid.UUID, reason string) (Inspection, error) {
	if err := tx.allow("re-inspecting", StudioSide, TechnicalArtist, ArtDirector, Producer); err != nil {
		return Inspection{}, err
	}
	if reason == "" || len([]rune(reason)) > reasonMax {
		return Inspection{}, invalid("reason", "needs 1 to %d characters", reasonMax)
	}
	m, err := tx.lockNewestSealed(ctx, delivery)
	if err != nil {
		return Inspection{}, err
	}
	if err := tx.move(ctx, m, EvReinspect); err != nil {
		return Inspection{}, err
	}
	id := tx.queueInspection(ctx, m, delivery, reason)
	tx.fact(FactInspectionRequested, m.studio, m.workOrder, id)
	return tx.Inspection(ctx, id)
}

var errNewer = fmt.Errorf("%w: a newer delivery has been sealed for this milestone", ErrState)

// lockNewestSealed locks the milestone and makes sure that the delivery is its newest sealed one, with no other under
// way: a decision is about what the vendor sent last.
func (tx *Tx) lockNewestSealed(ctx context.Context, delivery uuid.UUID) (lockedMilestone, error) {
	m, state, err := tx.lockDelivery(ctx, delivery)
	if err != nil {
		return m, err
	}
	if state != DSealed {
		return m, fmt.Errorf("%w: the delivery is %s, not sealed", ErrState, state)
	}
	var newer bool
	if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM ph.delivery n JOIN ph.delivery d ON d.studio_id = n.studio_id AND d.milestone_id = n.milestone_id
		WHERE d.studio_id = $1 AND d.id = $2 AND n.number > d.number AND n.state IN ('sealing', 'sealed'))`, m.studio, delivery).Scan(&newer); err != nil {
		return m, fmt.Errorf("delivery %s: %w", delivery, err)
	}
	if newer {
		return m, errNewer
	}
	return m, nil
}

// FirstIssues are the first issues of inspections as data, by inspection; those without one, and those recorded before it was kept, are
// left out. Index: inspection_pkey.
func (tx *Tx) FirstIssues(ctx context.Context, studio uuid.UUID, inspections []uuid.UUID) (map[uuid.UUID][]byte, error) {
	out := map[uuid.UUID][]byte{}
	if len(inspections) == 0 {
		return out, nil
	}
	rows, err := tx.Query(ctx, `SELECT id, first_issue FROM ph.inspection WHERE studio_id = $1 AND id = ANY ($2) AND first_issue IS NOT NULL ORDER BY id`, studio, inspections)
	if err != nil {
		return nil, fmt.Errorf("first issues: %w", err)
	}
	var id uuid.UUID
	var says []byte
	_, err = pgx.ForEachRow(rows, []any{&id, &says}, func() error { out[id] = slices.Clone(says); return nil })
	if err != nil {
		return nil, fmt.Errorf("first issues: %w", err)
	}
	return out, nil
}
