package ledger

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// PermissionState is where a permission stands.
type PermissionState string

// The states of a permission.
const (
	PermissionRequested PermissionState = "requested" // by the vendor
	PermissionGranted   PermissionState = "granted"
	PermissionRefused   PermissionState = "refused"
	PermissionWithdrawn PermissionState = "withdrawn" // by the vendor, before an answer
	PermissionRevoked   PermissionState = "revoked"   // by the studio: what was accepted under it stays
)

// NewPermission allows a check to fail: before the work (kind "permit", ISO 9000's deviation permit) or after it (kind
// "concession"), for more than one finding. With neither prop nor kit it is for the whole order. It does not cover a
// finding that measures worse than Worst: there it lapses.
type NewPermission struct {
	WorkOrder uuid.UUID
	Kind      string // permit, concession
	Prop      uuid.UUID
	Kit       string
	Check     string
	Part, Set string   // "" any
	Worst     *float64 // in the check's own unit; nil: any value
	Until     *Date    // its last day, in UTC; nil: no end
	Reason    string
}

// Permission is one permission and what became of it.
type Permission struct {
	ID            uuid.UUID
	WorkOrderID   uuid.UUID
	Kind          string
	Prop          *uuid.UUID
	Kit           string
	Check         string
	Part, Set     string
	Worst         *float64
	Until         *Date
	Reason        string
	State         PermissionState
	Since         time.Time
	Side          Side // who began it
	ByName        string
	At            time.Time
	DecidedReason string
}

// Permit asks for a permission, as the vendor, or grants one, as the art director.
func (tx *Tx) Permit(ctx context.Context, in NewPermission) (Permission, error) {
	event := "vendor_requests"
	if tx.Who.Side == StudioSide {
		event = "studio_grants"
		if err := tx.decides(ctx, "granting a permission"); err != nil {
			return Permission{}, err
		}
	}
	var studio, vendor uuid.UUID
	if err := tx.QueryRow(ctx, tx.sql(`SELECT studio_id, vendor_id FROM ph.work_order WHERE {me} = $1 AND id = $2`), tx.Who.Party, in.WorkOrder).Scan(&studio, &vendor); err != nil {
		return Permission{}, fmt.Errorf("work order %s: %w", in.WorkOrder, mapError(err))
	}
	id, err := tx.permit(ctx, studio, vendor, in, event)
	if err != nil {
		return Permission{}, err
	}
	return tx.Permission(ctx, id)
}

// decides checks that the caller may accept nonconformities: the art director, or a deputy of theirs.
func (tx *Tx) decides(ctx context.Context, what string) error {
	if err := tx.allow(what, StudioSide); err != nil {
		return err
	}
	_, _, err := tx.decider(ctx, what, []Role{ArtDirector})
	return err
}

func (tx *Tx) permit(ctx context.Context, studio, vendor uuid.UUID, in NewPermission, event string) (uuid.UUID, error) {
	switch {
	case in.Kind != "permit" && in.Kind != "concession":
		return uuid.Nil, invalid("kind", "is not permit or concession")
	case in.Prop != uuid.Nil && in.Kit != "":
		return uuid.Nil, invalid("kit", "and prop_id exclude each other")
	case in.Kit != "" && !codeForm.MatchString(in.Kit):
		return uuid.Nil, invalid("kit", "is not a code")
	case len(in.Check) < 1 || len(in.Check) > 100:
		return uuid.Nil, invalid("check", "needs 1 to 100 characters")
	case in.Reason == "" || len([]rune(in.Reason)) > reasonMax:
		return uuid.Nil, invalid("reason", "needs 1 to %d characters", reasonMax)
	}
	to, _ := step(machinePermission, "", event, tx.actor())
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.permission (studio_id, vendor_id, work_order_id, id, kind, prop_id, kit, chk, part, set_name, worst, until_on, reason,
		state, last_event, side, by_member, by_name) VALUES ($1, $2, $3, $4, $5, $6, nullif($7, ''), $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18)`,
		studio, vendor, in.WorkOrder, id, in.Kind, idOrNull(in.Prop), in.Kit, in.Check, in.Part, in.Set, in.Worst, in.Until, in.Reason, to, event,
		tx.Who.Side, tx.Who.Member, tx.Who.Name); err != nil {
		return id, fmt.Errorf("permission for %s in work order %s: %w", in.Check, in.WorkOrder, err)
	}
	tx.fact(FactPermissionBegun, studio, in.WorkOrder, id)
	return id, nil
}

// DecidePermission grants, refuses, withdraws or revokes. Granting and what follows from it bind from now on; sign-offs
// given under a permission stay.
func (tx *Tx) DecidePermission(ctx context.Context, id uuid.UUID, event, reason string) (Permission, error) {
	if tx.Who.Side == StudioSide {
		if err := tx.decides(ctx, "deciding on a permission"); err != nil {
			return Permission{}, err
		}
	}
	if len([]rune(reason)) > reasonMax || (event == "refuse" && reason == "") {
		return Permission{}, invalid("reason", "needs 1 to %d characters", reasonMax)
	}
	var studio, order uuid.UUID
	var from string
	if err := tx.QueryRow(ctx, tx.sql(`SELECT studio_id, work_order_id, state FROM ph.permission WHERE {me} = $1 AND id = $2 FOR UPDATE`), tx.Who.Party, id).Scan(&studio, &order, &from); err != nil {
		return Permission{}, fmt.Errorf("permission %s: %w", id, mapError(err))
	}
	to, ok := step(machinePermission, from, event, tx.actor())
	if !ok {
		return Permission{}, fmt.Errorf("%w: a permission that is %s takes no %s from the %s", ErrState, from, event, tx.actor())
	}
	if _, err := tx.Exec(ctx, `UPDATE ph.permission SET state = $3, last_event = $4 WHERE studio_id = $1 AND id = $2`, studio, id, to, event); err != nil {
		return Permission{}, fmt.Errorf("permission %s: %w", id, err)
	}
	decision := newID() // granted and later revoked: each is an act of its own
	if _, err := tx.Exec(ctx, `INSERT INTO ph.permission_decision (studio_id, vendor_id, work_order_id, permission_id, id, side, event, reason, by_member, by_name)
		SELECT studio_id, vendor_id, work_order_id, id, $3, $4, $5, $6, $7, $8 FROM ph.permission WHERE studio_id = $1 AND id = $2`,
		studio, id, decision, tx.Who.Side, event, reason, tx.Who.Member, tx.Who.Name); err != nil {
		return Permission{}, fmt.Errorf("permission %s: %w", id, err)
	}
	tx.fact(FactPermissionDecided, studio, order, decision)
	return tx.Permission(ctx, id)
}

const permissionSelect = `SELECT p.id, p.work_order_id, p.kind, p.prop_id, coalesce(p.kit, ''), p.chk, p.part, p.set_name, p.worst, p.until_on, p.reason, p.state, p.since, p.side,
	coalesce(p.by_name, ''), p.at, coalesce((SELECT d.reason FROM ph.permission_decision d WHERE d.studio_id = p.studio_id AND d.permission_id = p.id ORDER BY d.id DESC LIMIT 1), '')
	FROM ph.permission p WHERE p.{me} = $1 AND `

// Permission is one permission that the caller may see.
func (tx *Tx) Permission(ctx context.Context, id uuid.UUID) (Permission, error) {
	rows, err := tx.Query(ctx, tx.sql(permissionSelect+`p.id = $2`), tx.Who.Party, id)
	if err != nil {
		return Permission{}, fmt.Errorf("permission %s: %w", id, err)
	}
	p, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Permission])
	return p, mapError(err)
}

// Permissions lists a work order's permissions, newest first.
func (tx *Tx) Permissions(ctx context.Context, order uuid.UUID, p Page) (List[Permission], error) {
	after, err := p.afterID(lastID)
	if err != nil {
		return List[Permission]{}, err
	}
	rows, err := tx.Query(ctx, tx.sql(permissionSelect+`p.work_order_id = $2 AND p.id < $3 ORDER BY p.id DESC LIMIT $4`), tx.Who.Party, order, after, p.limit()+1)
	if err != nil {
		return List[Permission]{}, fmt.Errorf("permissions of work order %s: %w", order, err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Permission])
	if err != nil {
		return List[Permission]{}, fmt.Errorf("permissions of work order %s: %w", order, err)
	}
	return listOf(items, p.limit(), func(p Permission) string { return cursor(p.ID.String()) }), nil
}

// standing is a granted permission as far as findings are held against it.
type standing struct {
	ID        uuid.UUID
	Check     string
	Part, Set string
	Worst     *float64
}

// standingFor reads the permissions that count for a prop today. Index: permission_granted.
func (tx *Tx) standingFor(ctx context.Context, studio, prop uuid.UUID) ([]standing, error) {
	rows, err := tx.Query(ctx, `SELECT s.id, s.chk, s.part, s.set_name, s.worst FROM ph.prop p
		JOIN ph.permission s ON s.studio_id = p.studio_id AND s.work_order_id = p.work_order_id AND s.state = 'granted'
		WHERE p.studio_id = $1 AND p.id = $2 AND (s.prop_id IS NULL OR s.prop_id = p.id) AND (s.kit IS NULL OR s.kit = p.kit)
		  AND (s.until_on IS NULL OR s.until_on >= (now() AT TIME ZONE 'UTC')::date) ORDER BY s.id`, studio, prop)
	if err != nil {
		return nil, fmt.Errorf("permissions for prop %s: %w", prop, err)
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (s standing, err error) {
		err = row.Scan(&s.ID, &s.Check, &s.Part, &s.Set, &s.Worst)
		return s, err
	})
}

// covers says whether the permission holds for a finding that failed. Which way is worse the finding itself shows: it
// failed by lying over its limit, or under it.
func (s standing) covers(f Finding) bool {
	if s.Check != f.Check || (s.Part != "" && s.Part != f.Part) || (s.Set != "" && s.Set != f.Set) || f.Outcome != "fail" {
		return false
	}
	switch {
	case s.Worst == nil:
		return true
	case f.Measured == nil || f.Limit == nil:
		return false
	case *f.Measured > *f.Limit:
		return *f.Measured <= *s.Worst
	}
	return *f.Measured >= *s.Worst
}

// covering is the first permission that holds for a finding, or nil.
func covering(list []standing, f Finding) *standing {
	for i := range list {
		if list[i].covers(f) {
			return &list[i]
		}
	}
	return nil
}

// permitted counts the blocking findings that failed and that a permission covers.
func permitted(list []standing, findings []Finding) int {
	n := 0
	for _, f := range findings {
		if f.Blocks && covering(list, f) != nil {
			n++
		}
	}
	return n
}
