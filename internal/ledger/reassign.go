package ledger

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// NewReassignment lets a half-done prop go on with another vendor, under another work order of the studio's.
type NewReassignment struct {
	Prop       uuid.UUID
	WorkOrder  uuid.UUID // of the vendor that goes on
	PriceMinor int64     // for what is left, in that order's currency
	Reason     string    // the vendor that leaves reads it
	Document   []byte    // the spec to go on by; nil: the studio gives one later
	Digest     []byte    // of the document as resolved
}

// Reassignment is a prop that went on elsewhere. Only the studio sees it: neither vendor learns of the other, and nothing of
// price, names, notes or findings goes with the files.
type Reassignment struct {
	ID     uuid.UUID
	From   uuid.UUID
	To     Prop
	Pack   *ReferencePack // by which the files go on, published once they are copied; nil where there was nothing
	Copies []HandedFile
	Reason string
	ByName string
	At     time.Time
}

// HandedFile is one file to copy for the vendor that goes on.
type HandedFile struct {
	From, To string // keys of objects
	Size     int64
}

// Reassign cancels what is open of a prop, with the fee that its order promises, and orders the same milestones of another
// vendor. The newest sealed delivery of each milestone is handed on as references of the new order; the caller copies the
// objects and publishes the pack.
func (tx *Tx) Reassign(ctx context.Context, in NewReassignment) (Reassignment, error) {
	if err := tx.allow("giving a prop to another vendor", StudioSide, Producer); err != nil {
		return Reassignment{}, err
	}
	if in.Reason == "" || len([]rune(in.Reason)) > reasonMax {
		return Reassignment{}, invalid("reason", "needs 1 to %d characters", reasonMax)
	}
	p, err := tx.Prop(ctx, in.Prop)
	if err != nil {
		return Reassignment{}, err
	}
	target, err := tx.WorkOrder(ctx, in.WorkOrder)
	if err != nil {
		return Reassignment{}, err
	}
	if target.VendorID == p.VendorID {
		return Reassignment{}, invalid("work_order_id", "is one of the same vendor")
	}
	left, err := tx.endHere(ctx, p, in.Reason)
	if err != nil {
		return Reassignment{}, err
	}
	to, err := tx.CreateProp(ctx, NewProp{WorkOrder: in.WorkOrder, Code: p.Code, Title: p.Title, Tier: p.Tier, PriceMinor: in.PriceMinor, Milestones: left, Kind: p.Kind})
	if err != nil {
		return Reassignment{}, err
	}
	if in.Document != nil {
		if _, err := tx.CreateSpecRevision(ctx, NewSpecRevision{Prop: to.ID, Document: in.Document, Digest: in.Digest}); err != nil {
			return Reassignment{}, err
		}
	}
	pack, err := tx.handOn(ctx, p, in.WorkOrder)
	if err != nil {
		return Reassignment{}, err
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.reassignment (studio_id, id, from_prop, to_prop, pack_id, reason, by_member, by_name) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
		tx.Who.Party, id, p.ID, to.ID, pack, in.Reason, tx.Who.Member, tx.Who.Name); err != nil {
		return Reassignment{}, fmt.Errorf("reassign prop %s: %w", p.ID, err)
	}
	tx.fact(FactReassigned, tx.Who.Party, tx.Who.Party, id)
	return tx.Reassignment(ctx, id)
}

// endHere cancels the milestones of a prop that are not done, and says which go on, their shares scaled to the whole.
func (tx *Tx) endHere(ctx context.Context, p Prop, reason string) ([]NewMilestone, error) {
	var left []NewMilestone
	sum := 0
	for _, m := range p.Milestones {
		if m.State.Final() || m.Kind == kindMaintenance {
			continue
		}
		if _, err := tx.CancelMilestone(ctx, m.ID, reason, nil); err != nil {
			return nil, err
		}
		left = append(left, NewMilestone{Kind: m.Kind, ShareBP: m.ShareBP, Due: m.Due})
		sum += m.ShareBP
	}
	if len(left) == 0 {
		return nil, fmt.Errorf("%w: nothing of the prop is open, so nothing can go on elsewhere", ErrState)
	}
	rest := 10_000
	for i := range left {
		share := rest
		if i < len(left)-1 {
			share = (left[i].ShareBP*10_000 + sum/2) / max(1, sum)
			share = max(1, min(share, rest-(len(left)-1-i)))
		}
		left[i].ShareBP = share
		rest -= share
	}
	return left, nil
}

// handOn begins a pack of references with the files of the newest sealed delivery of each milestone. nil: there are none.
func (tx *Tx) handOn(ctx context.Context, p Prop, order uuid.UUID) (*uuid.UUID, error) {
	rows, err := tx.Query(ctx, `SELECT m.kind || '/' || f.path, 'other', f.size, f.sha256, f.media_type FROM ph.milestone m
		CROSS JOIN LATERAL (SELECT id FROM ph.delivery WHERE studio_id = m.studio_id AND milestone_id = m.id AND state = 'sealed' ORDER BY number DESC LIMIT 1) d
		JOIN ph.file f ON f.studio_id = m.studio_id AND f.delivery_id = d.id WHERE m.studio_id = $1 AND m.prop_id = $2 ORDER BY m.position, f.ord`, p.StudioID, p.ID)
	if err != nil {
		return nil, fmt.Errorf("files of prop %s: %w", p.ID, err)
	}
	files, err := pgx.CollectRows(rows, pgx.RowToStructByPos[NewReference])
	if err != nil || len(files) == 0 {
		return nil, err
	}
	pack, err := tx.beginPack(ctx, NewReferencePack{WorkOrder: order, Files: files})
	return &pack.ID, err
}

// Reassignment is one prop that went on elsewhere, with the objects to copy while its pack is not published.
func (tx *Tx) Reassignment(ctx context.Context, id uuid.UUID) (r Reassignment, err error) {
	var to uuid.UUID
	var pack *uuid.UUID
	if err := tx.QueryRow(ctx, `SELECT id, from_prop, to_prop, pack_id, reason, coalesce(by_name, ''), at FROM ph.reassignment WHERE studio_id = $1 AND id = $2`, tx.Who.Party, id).
		Scan(&r.ID, &r.From, &to, &pack, &r.Reason, &r.ByName, &r.At); err != nil {
		return r, fmt.Errorf("reassignment %s: %w", id, mapError(err))
	}
	if r.To, err = tx.Prop(ctx, to); err != nil || pack == nil {
		return r, err
	}
	whole, err := tx.ReferencePack(ctx, *pack)
	if err != nil || whole.PublishedAt != nil {
		r.Pack = &whole
		return r, err
	}
	r.Pack = &whole
	rows, err := tx.Query(ctx, `SELECT f.object_key, t.object_key, f.size FROM ph.milestone m
		CROSS JOIN LATERAL (SELECT id FROM ph.delivery WHERE studio_id = m.studio_id AND milestone_id = m.id AND state = 'sealed' ORDER BY number DESC LIMIT 1) d
		JOIN ph.file f ON f.studio_id = m.studio_id AND f.delivery_id = d.id
		JOIN ph.reference_file t ON t.studio_id = m.studio_id AND t.pack_id = $3 AND t.path = m.kind || '/' || f.path
		WHERE m.studio_id = $1 AND m.prop_id = $2 ORDER BY t.ord`, tx.Who.Party, r.From, *pack)
	if err != nil {
		return r, fmt.Errorf("reassignment %s: %w", id, err)
	}
	r.Copies, err = pgx.CollectRows(rows, pgx.RowToStructByPos[HandedFile])
	return r, err
}

// ReassignmentOf is what became of a prop, or where it came from; nil where it has always been where it is.
func (tx *Tx) ReassignmentOf(ctx context.Context, prop uuid.UUID) (*Reassignment, error) {
	var id uuid.UUID
	err := tx.QueryRow(ctx, `SELECT id FROM ph.reassignment WHERE studio_id = $1 AND (from_prop = $2 OR to_prop = $2) ORDER BY id DESC LIMIT 1`, tx.Who.Party, prop).Scan(&id)
	if err == pgx.ErrNoRows {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reassignment of prop %s: %w", prop, err)
	}
	r, err := tx.Reassignment(ctx, id)
	return &r, err
}
