package ledger

import (
	"context"
	"crypto/sha256"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// NewReferencePack is what the vendor is to look at: concepts, a scale drawing, an accepted prop as yardstick, what not to
// do. The studio uploads its files, then publishes it.
type NewReferencePack struct {
	WorkOrder uuid.UUID
	Note      string
	Files     []NewReference
}

// NewReference is one file of a pack.
type NewReference struct {
	Path      string
	What      string // concept, scale, material_board, neighbour, block_out_view, yardstick, avoid, other
	Size      int64
	SHA256    []byte
	MediaType string
}

// ReferencePack is one version of an order's references.
type ReferencePack struct {
	ID             uuid.UUID
	WorkOrderID    uuid.UUID
	Number         int
	Note           string
	ByName         string
	At             time.Time
	PublishedAt    *time.Time
	AcknowledgedAt *time.Time
	Files          []Reference
}

// Reference is one file of a pack.
type Reference struct {
	ID        uuid.UUID
	Path      string
	What      string
	Size      int64
	SHA256    []byte
	MediaType string
	ObjectKey string // ref/<work order>/<pack>/<file>
}

var referenceKinds = map[string]bool{"concept": true, "scale": true, "material_board": true, "neighbour": true, "block_out_view": true, "yardstick": true, "avoid": true, "other": true}

const referencesMax = 200

// CreateReferencePack begins a pack; the vendor sees nothing of it before it is published.
func (tx *Tx) CreateReferencePack(ctx context.Context, in NewReferencePack) (ReferencePack, error) {
	if err := tx.allow("giving references", StudioSide); err != nil {
		return ReferencePack{}, err
	}
	if len(in.Files) < 1 || len(in.Files) > referencesMax {
		return ReferencePack{}, invalid("files", "needs 1 to %d", referencesMax)
	}
	return tx.beginPack(ctx, in)
}

// beginPack begins a pack of any number of files.
func (tx *Tx) beginPack(ctx context.Context, in NewReferencePack) (ReferencePack, error) {
	var vendor uuid.UUID
	if err := tx.QueryRow(ctx, `SELECT vendor_id FROM ph.work_order WHERE studio_id = $1 AND id = $2`, tx.Who.Party, in.WorkOrder).Scan(&vendor); err != nil {
		return ReferencePack{}, fmt.Errorf("work order %s: %w", in.WorkOrder, mapError(err))
	}
	id := newID()
	batch := &pgx.Batch{}
	batch.Queue(`INSERT INTO ph.reference_pack (studio_id, vendor_id, work_order_id, id, number, note, by_member, by_name)
		VALUES ($1, $2, $3, $4, (SELECT coalesce(max(number), 0) + 1 FROM ph.reference_pack WHERE studio_id = $1 AND work_order_id = $3), $5, $6, $7)`,
		tx.Who.Party, vendor, in.WorkOrder, id, in.Note, tx.Who.Member, tx.Who.Name)
	for i, f := range in.Files {
		if !referenceKinds[f.What] || len(f.SHA256) != sha256.Size || f.Size < 0 {
			return ReferencePack{}, invalid(fmt.Sprintf("files[%d]", i), "needs what it shows, its size and its digest")
		}
		file := newID()
		batch.Queue(`INSERT INTO ph.reference_file (studio_id, vendor_id, work_order_id, pack_id, id, ord, path, what, size, sha256, media_type, object_key)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`,
			tx.Who.Party, vendor, in.WorkOrder, id, file, i, f.Path, f.What, f.Size, f.SHA256, f.MediaType, fmt.Sprintf("ref/%s/%s/%s", in.WorkOrder, id, file))
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return ReferencePack{}, fmt.Errorf("references of work order %s: %w", in.WorkOrder, err)
	}
	return tx.ReferencePack(ctx, id)
}

// PublishReferencePack offers a pack to the vendor. The caller has looked that every object is there.
func (tx *Tx) PublishReferencePack(ctx context.Context, id uuid.UUID) (ReferencePack, error) {
	if err := tx.allow("giving references", StudioSide); err != nil {
		return ReferencePack{}, err
	}
	var order uuid.UUID
	err := tx.QueryRow(ctx, `UPDATE ph.reference_pack SET published_at = now() WHERE studio_id = $1 AND id = $2 AND published_at IS NULL RETURNING work_order_id`, tx.Who.Party, id).Scan(&order)
	switch {
	case err == pgx.ErrNoRows:
		return tx.ReferencePack(ctx, id)
	case err != nil:
		return ReferencePack{}, fmt.Errorf("publish references %s: %w", id, err)
	}
	if _, err := tx.Exec(ctx, `UPDATE ph.reference_file SET published = true WHERE studio_id = $1 AND pack_id = $2`, tx.Who.Party, id); err != nil {
		return ReferencePack{}, fmt.Errorf("publish references %s: %w", id, err)
	}
	tx.fact(FactReferencesGiven, tx.Who.Party, order, id)
	return tx.ReferencePack(ctx, id)
}

// AcknowledgeReferences says for the vendor that a pack was looked at.
func (tx *Tx) AcknowledgeReferences(ctx context.Context, id uuid.UUID) (ReferencePack, error) {
	if err := tx.allow("acknowledging references", VendorSide, VendorLead); err != nil {
		return ReferencePack{}, err
	}
	p, err := tx.ReferencePack(ctx, id)
	if err != nil || p.AcknowledgedAt != nil {
		return p, err
	}
	ack := newID()
	var studio uuid.UUID
	if err := tx.QueryRow(ctx, `INSERT INTO ph.reference_ack (studio_id, vendor_id, work_order_id, pack_id, id, by_member, by_name)
		SELECT studio_id, vendor_id, work_order_id, id, $3, $4, $5 FROM ph.reference_pack WHERE vendor_id = $1 AND id = $2 RETURNING studio_id`,
		tx.Who.Party, id, ack, tx.Who.Member, tx.Who.Name).Scan(&studio); err != nil {
		return p, fmt.Errorf("acknowledge references %s: %w", id, mapError(err))
	}
	tx.fact(FactReferencesAcknowledged, studio, p.WorkOrderID, ack)
	return tx.ReferencePack(ctx, id)
}

const packSelect = `SELECT p.id, p.work_order_id, p.number, p.note, coalesce(p.by_name, ''), p.at, p.published_at, a.at FROM ph.reference_pack p
	LEFT JOIN ph.reference_ack a ON a.studio_id = p.studio_id AND a.pack_id = p.id WHERE p.{me} = $1 AND `

// ReferencePack is one pack with its files. A vendor's member sees the files only after saying that the order's secrecy
// binds them, where it asks for that (ErrForbidden).
func (tx *Tx) ReferencePack(ctx context.Context, id uuid.UUID) (ReferencePack, error) {
	packs, err := tx.packs(ctx, `p.id = $2`, id)
	if err != nil {
		return ReferencePack{}, fmt.Errorf("references %s: %w", id, err)
	}
	if len(packs) == 0 {
		return ReferencePack{}, ErrNotFound
	}
	p := packs[0]
	if err := tx.mayLook(ctx, p.WorkOrderID); err != nil {
		return ReferencePack{}, err
	}
	rows, err := tx.Query(ctx, tx.sql(`SELECT id, path, what, size, sha256, media_type, object_key FROM ph.reference_file WHERE {me} = $1 AND pack_id = $2 ORDER BY ord`), tx.Who.Party, id)
	if err != nil {
		return p, fmt.Errorf("references %s: %w", id, err)
	}
	p.Files, err = pgx.CollectRows(rows, pgx.RowToStructByPos[Reference])
	return p, err
}

func (tx *Tx) packs(ctx context.Context, cond string, args ...any) ([]ReferencePack, error) {
	rows, err := tx.Query(ctx, tx.sql(packSelect+cond+` ORDER BY p.number DESC`), append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (p ReferencePack, err error) {
		err = row.Scan(&p.ID, &p.WorkOrderID, &p.Number, &p.Note, &p.ByName, &p.At, &p.PublishedAt, &p.AcknowledgedAt)
		return p, err
	})
}

// ReferencePacks lists an order's packs without their files, newest first.
func (tx *Tx) ReferencePacks(ctx context.Context, order uuid.UUID) ([]ReferencePack, error) {
	packs, err := tx.packs(ctx, `p.work_order_id = $2`, order)
	if err != nil {
		return nil, fmt.Errorf("references of work order %s: %w", order, err)
	}
	return packs, nil
}

// mayLook keeps a vendor's member from an order's references until they have acknowledged its secrecy.
func (tx *Tx) mayLook(ctx context.Context, order uuid.UUID) error {
	if tx.Who.Side == StudioSide {
		return nil
	}
	var owed bool
	if err := tx.QueryRow(ctx, `SELECT nda_required AND NOT EXISTS (SELECT FROM ph.nda_ack a WHERE a.studio_id = w.studio_id AND a.work_order_id = w.id AND a.by_member = $3)
		FROM ph.work_order w WHERE w.vendor_id = $1 AND w.id = $2`, tx.Who.Party, order, tx.Who.Member).Scan(&owed); err != nil {
		return fmt.Errorf("work order %s: %w", order, mapError(err))
	}
	if owed {
		return fmt.Errorf("%w: the references of this order are secret: acknowledge that first", ErrForbidden)
	}
	return nil
}

// ReferencePackHead is one pack without its files, which anybody of the order may see.
func (tx *Tx) ReferencePackHead(ctx context.Context, id uuid.UUID) (ReferencePack, error) {
	packs, err := tx.packs(ctx, `p.id = $2`, id)
	switch {
	case err != nil:
		return ReferencePack{}, fmt.Errorf("references %s: %w", id, err)
	case len(packs) == 0:
		return ReferencePack{}, ErrNotFound
	}
	return packs[0], nil
}

// AcknowledgeSecrecy says that the order's secrecy binds the caller. Repeating it is fine.
func (tx *Tx) AcknowledgeSecrecy(ctx context.Context, order uuid.UUID) error {
	if err := tx.allow("acknowledging secrecy", VendorSide); err != nil {
		return err
	}
	id := newID()
	var studio uuid.UUID
	err := tx.QueryRow(ctx, `INSERT INTO ph.nda_ack (studio_id, vendor_id, work_order_id, id, by_member, by_name)
		SELECT studio_id, vendor_id, id, $3, $4, $5 FROM ph.work_order w WHERE vendor_id = $1 AND id = $2
		  AND NOT EXISTS (SELECT FROM ph.nda_ack a WHERE a.studio_id = w.studio_id AND a.work_order_id = w.id AND a.by_member = $4) RETURNING studio_id`,
		tx.Who.Party, order, id, tx.Who.Member, tx.Who.Name).Scan(&studio)
	if err == pgx.ErrNoRows {
		_, err := tx.WorkOrder(ctx, order)
		return err
	}
	if err != nil {
		return fmt.Errorf("acknowledge the secrecy of work order %s: %w", order, err)
	}
	tx.fact(FactSecrecyAcknowledged, studio, order, id)
	return nil
}
