package ledger

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// OpenDelivery begins a delivery for a milestone with its manifest; uploads follow. One at a time is under way for a
// milestone (ErrConflict), and only while it lies on the vendor's desk or is stuck (ErrState).
func (tx *Tx) OpenDelivery(ctx context.Context, in Manifest) (Delivery, error) {
	if err := tx.allow("delivering", VendorSide); err != nil {
		return Delivery{}, err
	}
	return tx.openDelivery(ctx, in, nil, uuid.Nil)
}

// openDelivery opens a delivery, in a batch where there is one; its milestone must then be of the batch's order.
func (tx *Tx) openDelivery(ctx context.Context, in Manifest, batch *uuid.UUID, order uuid.UUID) (Delivery, error) {
	if err := checkManifest(in); err != nil {
		return Delivery{}, err
	}
	m, err := tx.lockMilestone(ctx, in.Milestone)
	if err != nil {
		return Delivery{}, err
	}
	if batch != nil && m.workOrder != order {
		return Delivery{}, ErrNotFound
	}
	if _, ok := Next(m.state, EvSeal); !ok {
		return Delivery{}, fmt.Errorf("%w: the milestone is %s, nothing is to be delivered now", ErrState, m.state)
	}
	if err := tx.pilotFirst(ctx, m); err != nil {
		return Delivery{}, err
	}
	var spec *uuid.UUID
	var hasQuota bool
	if err := tx.QueryRow(ctx, `UPDATE ph.prop p SET work_began_at = coalesce(work_began_at, now()) WHERE studio_id = $1 AND id = $2 RETURNING spec_in_force, `+limited,
		m.studio, m.prop).Scan(&spec, &hasQuota); err != nil {
		return Delivery{}, fmt.Errorf("prop %s: %w", m.prop, mapError(err))
	}
	if spec == nil {
		return Delivery{}, fmt.Errorf("%w: the studio has given no spec for this prop yet", ErrState)
	}
	digest, err := manifestDigest(in.Files)
	if err != nil {
		return Delivery{}, err
	}
	var bytes int64
	for _, f := range in.Files {
		bytes += f.Size
	}
	if hasQuota {
		if err := tx.withinQuota(ctx, m, bytes); err != nil {
			return Delivery{}, err
		}
	}
	id := newID()
	_, err = tx.Exec(ctx, `INSERT INTO ph.delivery (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id, number, note, manifest_sha256, spec_revision_id, files, bytes, opened_by, by_name, batch_id)
		VALUES ($1, $2, $3, $4, $5, $6, (SELECT coalesce(max(number), 0) + 1 FROM ph.delivery WHERE studio_id = $1 AND milestone_id = $5), $7, $8, $9, $10, $11, $12, $13, $14)`,
		m.studio, m.vendor, m.workOrder, m.prop, m.id, id, in.Note, digest, *spec, len(in.Files), bytes, tx.Who.Member, tx.Who.Name, batch)
	if err != nil {
		return Delivery{}, fmt.Errorf("open delivery for milestone %s: %w", m.id, err)
	}
	if err := tx.insertFiles(ctx, m, id, in.Files); err != nil {
		return Delivery{}, fmt.Errorf("files of delivery %s: %w", id, err)
	}
	tx.fact(FactDeliveryOpened, m.studio, m.workOrder, id)
	return tx.Delivery(ctx, id)
}

// pilotFirst keeps the pieces of a kit back until the pilot's milestone of the same kind is accepted: what is wrong with
// the first would be wrong with all of them.
func (tx *Tx) pilotFirst(ctx context.Context, m lockedMilestone) error {
	var pilot string
	err := tx.QueryRow(ctx, `SELECT l.code FROM ph.prop p
		JOIN ph.prop l ON l.studio_id = p.studio_id AND l.work_order_id = p.work_order_id AND l.kit = p.kit AND l.pilot AND l.id <> p.id
		JOIN ph.milestone f ON f.studio_id = l.studio_id AND f.prop_id = l.id AND f.kind = $3 AND f.state NOT IN ('accepted', 'cancelled')
		WHERE p.studio_id = $1 AND p.id = $2`, m.studio, m.prop, m.kind).Scan(&pilot)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return nil
	case err != nil:
		return fmt.Errorf("pilot of prop %s: %w", m.prop, err)
	}
	return fmt.Errorf("%w: %s is the pilot of this kit, and its %s is to be accepted first", ErrState, pilot, strings.ReplaceAll(m.kind, "_", " "))
}

func (tx *Tx) insertFiles(ctx context.Context, m lockedMilestone, delivery uuid.UUID, files []NewFile) error {
	batch := &pgx.Batch{}
	for i, f := range files {
		file := newID()
		key := fmt.Sprintf("in/%s/%s/%s", m.vendor, delivery, file) // never used for anything else
		batch.Queue(`INSERT INTO ph.file (studio_id, vendor_id, work_order_id, delivery_id, id, ord, path, role, size, sha256, media_type, object_key, part_size)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)`,
			m.studio, m.vendor, m.workOrder, delivery, file, i, f.Path, f.Role, f.Size, f.SHA256, f.MediaType, key, f.PartSize)
		if len(f.Parts) == 0 {
			continue
		}
		numbers, sizes := make([]int, len(f.Parts)), make([]int64, len(f.Parts))
		for j := range f.Parts {
			numbers[j], sizes[j] = j+1, partBytes(f.Size, f.PartSize, j+1)
		}
		batch.Queue(`INSERT INTO ph.file_part (studio_id, vendor_id, file_id, number, size, sha256)
			SELECT $1, $2, $3, n, s, h FROM unnest($4::int[], $5::bigint[], $6::bytea[]) AS t (n, s, h)`,
			m.studio, m.vendor, file, numbers, sizes, f.Parts)
	}
	return tx.SendBatch(ctx, batch).Close()
}

const deliverySelect = `
SELECT d.id, d.studio_id, d.vendor_id, d.work_order_id, d.prop_id, d.milestone_id, p.code, m.kind, d.number, d.state, d.note,
       d.manifest_sha256, d.spec_revision_id, d.opened_by, coalesce(d.by_name, ''), d.opened_at, d.sealed_at, d.bytes, d.files, m.state, coalesce(d.round_cause, ''), d.batch_id,
       i.id, i.state, i.verdict, i.headline, i.issues
FROM ph.delivery d
JOIN ph.prop p ON p.studio_id = d.studio_id AND p.id = d.prop_id
JOIN ph.milestone m ON m.studio_id = d.studio_id AND m.id = d.milestone_id
LEFT JOIN LATERAL (SELECT id, state, verdict, headline, issues FROM ph.inspection
  WHERE studio_id = d.studio_id AND delivery_id = d.id ORDER BY state <> 'done' DESC, current DESC, id DESC LIMIT 1) i ON true
`

func scanDelivery(row pgx.CollectableRow) (Delivery, error) {
	var d Delivery
	var inspection *uuid.UUID
	var state *InspectionState
	var verdict *Verdict
	var headline *string
	var issues *int
	err := row.Scan(&d.ID, &d.StudioID, &d.VendorID, &d.WorkOrderID, &d.PropID, &d.MilestoneID, &d.PropCode, &d.MilestoneKind, &d.Number, &d.State, &d.Note,
		&d.ManifestSHA256, &d.SpecRevision, &d.OpenedBy, &d.OpenedByName, &d.OpenedAt, &d.SealedAt, &d.Bytes, &d.FileCount, &d.Milestone, &d.RoundCause, &d.Batch,
		&inspection, &state, &verdict, &headline, &issues)
	d.Inspection = inspectionHead(inspection, state, verdict, headline, issues)
	return d, err
}

// Delivery is one delivery with its files and their parts, read in one round trip.
func (tx *Tx) Delivery(ctx context.Context, id uuid.UUID) (Delivery, error) {
	batch := &pgx.Batch{}
	tx.queueDelivery(batch, id)
	results := tx.SendBatch(ctx, batch)
	d, err := readDelivery(results)
	if closed := results.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return Delivery{}, fmt.Errorf("delivery %s: %w", id, mapError(err))
	}
	return d, nil
}

const (
	fileSelect = `SELECT f.id, f.path, f.role, f.size, f.sha256, f.media_type, f.object_key, coalesce(f.upload_id, ''), f.part_size, coalesce(f.etag, ''), coalesce(f.version_id, '')
		FROM ph.file f `
	partSelect = `SELECT p.file_id, p.number, p.size, p.sha256, coalesce(p.etag, '')
		FROM ph.file f JOIN ph.file_part p ON p.studio_id = f.studio_id AND p.file_id = f.id `
	ofDelivery = `WHERE f.studio_id = (SELECT x.studio_id FROM ph.delivery x WHERE x.{me} = $1 AND x.id = $2) AND f.delivery_id = $2 `
)

// queueDelivery adds the three statements that readDelivery reads. Index: file_ord_key.
func (tx *Tx) queueDelivery(batch *pgx.Batch, id uuid.UUID) {
	for _, query := range []string{deliverySelect + `WHERE d.{me} = $1 AND d.id = $2`, fileSelect + ofDelivery + `ORDER BY f.ord`, partSelect + ofDelivery + `ORDER BY p.file_id, p.number`} {
		batch.Queue(tx.sql(query), tx.Who.Party, id)
	}
}

func readDelivery(results pgx.BatchResults) (Delivery, error) {
	rows, err := results.Query()
	if err != nil {
		return Delivery{}, err
	}
	d, err := pgx.CollectExactlyOneRow(rows, scanDelivery)
	if err != nil {
		return Delivery{}, err
	}
	files, err := results.Query()
	if err != nil {
		return Delivery{}, err
	}
	at := map[uuid.UUID]int{}
	if d.Files, err = readFiles(files, at); err != nil {
		return Delivery{}, err
	}
	parts, err := results.Query()
	if err != nil {
		return Delivery{}, err
	}
	return d, readParts(parts, d.Files, at)
}

// filesOf reads files and parts in manifest order. Index: file_ord_key.
func filesOf(ctx context.Context, tx pgx.Tx, studio, delivery uuid.UUID) ([]File, error) {
	rows, err := tx.Query(ctx, fileSelect+`WHERE f.studio_id = $1 AND f.delivery_id = $2 ORDER BY f.ord`, studio, delivery)
	if err != nil {
		return nil, err
	}
	at := map[uuid.UUID]int{}
	files, err := readFiles(rows, at)
	if err != nil {
		return nil, err
	}
	rows, err = tx.Query(ctx, partSelect+`WHERE f.studio_id = $1 AND f.delivery_id = $2 ORDER BY p.file_id, p.number`, studio, delivery)
	if err != nil {
		return nil, err
	}
	return files, readParts(rows, files, at)
}

// readFiles reads files and notes the place of each.
func readFiles(rows pgx.Rows, at map[uuid.UUID]int) ([]File, error) {
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (File, error) {
		var f File
		err := row.Scan(&f.ID, &f.Path, &f.Role, &f.Size, &f.SHA256, &f.MediaType, &f.ObjectKey, &f.UploadID, &f.PartSize, &f.ETag, &f.VersionID)
		at[f.ID] = len(at)
		return f, err
	})
}

// readParts gives each file its parts.
func readParts(rows pgx.Rows, files []File, at map[uuid.UUID]int) error {
	defer rows.Close()
	for rows.Next() {
		var file uuid.UUID
		var p Part
		if err := rows.Scan(&file, &p.Number, &p.Size, &p.SHA256, &p.ETag); err != nil {
			return err
		}
		files[at[file]].Parts = append(files[at[file]].Parts, p)
	}
	return rows.Err()
}

// Deliveries lists deliveries without their files, newest first.
func (tx *Tx) Deliveries(ctx context.Context, f DeliveryFilter, p Page) (List[Delivery], error) {
	after, err := p.afterID(lastID)
	if err != nil {
		return List[Delivery]{}, err
	}
	query := deliverySelect + `WHERE d.{me} = $1 AND d.id < $2`
	args := []any{tx.Who.Party, after}
	for _, c := range []struct {
		on    bool
		table string
		value uuid.UUID
	}{
		{f.Milestone != uuid.Nil, "milestone", f.Milestone}, {f.Prop != uuid.Nil, "prop", f.Prop}, {f.WorkOrder != uuid.Nil, "work_order", f.WorkOrder},
	} {
		if c.on {
			args = append(args, c.value)
			query += tx.hanging("d", c.table, len(args))
		}
	}
	if f.State != "" {
		args = append(args, f.State)
		query += fmt.Sprintf(" AND d.state = $%d", len(args))
	}
	query += fmt.Sprintf(" ORDER BY d.id DESC LIMIT %d", p.limit()+1)
	rows, err := tx.Query(ctx, tx.sql(query), args...)
	if err != nil {
		return List[Delivery]{}, fmt.Errorf("list deliveries: %w", err)
	}
	items, err := pgx.CollectRows(rows, scanDelivery)
	if err != nil {
		return List[Delivery]{}, fmt.Errorf("list deliveries: %w", err)
	}
	return listOf(items, p.limit(), func(d Delivery) string { return cursor(d.ID.String()) }), nil
}

// lockDelivery locks the milestone's row, then reads the delivery: the lock order of every rule.
func (tx *Tx) lockDelivery(ctx context.Context, id uuid.UUID) (lockedMilestone, DeliveryState, error) {
	batch := &pgx.Batch{}
	tx.queueLock(batch, id)
	batch.Queue(tx.sql(`SELECT state FROM ph.delivery WHERE {me} = $1 AND id = $2`), tx.Who.Party, id)
	results := tx.SendBatch(ctx, batch)
	defer results.Close()
	var state DeliveryState
	m, err := scanLocked(results.QueryRow())
	if err == nil {
		err = results.QueryRow().Scan(&state)
	}
	if closed := results.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return m, "", fmt.Errorf("delivery %s: %w", id, mapError(err))
	}
	return m, state, nil
}

// queueLock adds the statement that locks the milestone of a delivery. What is read of the delivery has to be read by a further
// statement: this one sees it as it was before the wait for the lock.
func (tx *Tx) queueLock(batch *pgx.Batch, id uuid.UUID) {
	batch.Queue(tx.sql(lockSelect+`WHERE m.{me} = $1 AND m.id = (SELECT d.milestone_id FROM ph.delivery d WHERE d.{me} = $1 AND d.id = $2) FOR UPDATE`), tx.Who.Party, id)
}

// SetUpload records the S3 upload id of a multipart file. Only the first one counts; the one that counts is returned.
func (tx *Tx) SetUpload(ctx context.Context, delivery, file uuid.UUID, uploadID string) (string, error) {
	if uploadID == "" {
		return "", invalid("upload_id", "is empty")
	}
	m, err := tx.uploading(ctx, delivery)
	if err != nil {
		return "", err
	}
	err = tx.QueryRow(ctx, `UPDATE ph.file SET upload_id = coalesce(upload_id, $4) WHERE studio_id = $1 AND delivery_id = $2 AND id = $3 AND part_size > 0 RETURNING upload_id`,
		m.studio, delivery, file, uploadID).Scan(&uploadID)
	if err != nil {
		return "", fmt.Errorf("upload of file %s: %w", file, mapError(err))
	}
	return uploadID, nil
}

// RecordPart notes that a part arrived, with S3's ETag.
func (tx *Tx) RecordPart(ctx context.Context, delivery, file uuid.UUID, number int, etag string) error {
	if etag == "" {
		return invalid("etag", "is empty")
	}
	m, err := tx.uploading(ctx, delivery)
	if err != nil {
		return err
	}
	tag, err := tx.Exec(ctx, `UPDATE ph.file_part p SET etag = $5 FROM ph.file f
		WHERE p.studio_id = $1 AND p.file_id = $3 AND p.number = $4 AND f.studio_id = $1 AND f.id = $3 AND f.delivery_id = $2`, m.studio, delivery, file, number, etag)
	if err != nil {
		return fmt.Errorf("part %d of file %s: %w", number, file, err)
	}
	if tag.RowsAffected() == 0 {
		return ErrNotFound
	}
	return nil
}

func (tx *Tx) uploading(ctx context.Context, delivery uuid.UUID) (lockedMilestone, error) {
	if err := tx.allow("uploading", VendorSide); err != nil {
		return lockedMilestone{}, err
	}
	m, state, err := tx.lockDelivery(ctx, delivery)
	if err != nil {
		return m, err
	}
	if state != DOpen {
		return m, fmt.Errorf("%w: the delivery is %s, nothing is uploaded to it any more", ErrState, state)
	}
	return m, nil
}

// setDelivery moves a delivery; the row is guarded by the milestone's lock. Statements are whole, so that each can be
// read as it runs.
func (tx *Tx) setDelivery(ctx context.Context, studio, id uuid.UUID, to DeliveryState) error {
	var err error
	switch to {
	case DOpen:
		_, err = tx.Exec(ctx, `UPDATE ph.delivery SET state = 'open', sealing_at = NULL WHERE studio_id = $1 AND id = $2`, studio, id)
	case DAbandoned:
		_, err = tx.Exec(ctx, `UPDATE ph.delivery SET state = 'abandoned', abandoned_at = now(), abandoned_by = $3 WHERE studio_id = $1 AND id = $2`, studio, id, tx.Who.Member)
	}
	if err != nil {
		return fmt.Errorf("delivery %s to %s: %w", id, to, err)
	}
	return nil
}

// CancelSeal goes back to open, after an object was found missing or wrong.
func (tx *Tx) CancelSeal(ctx context.Context, id uuid.UUID) (Delivery, error) {
	if err := tx.allow("sealing", VendorSide); err != nil {
		return Delivery{}, err
	}
	m, state, err := tx.lockDelivery(ctx, id)
	if err != nil {
		return Delivery{}, err
	}
	if state == DSealed || state == DAbandoned {
		return Delivery{}, fmt.Errorf("%w: the delivery is %s", ErrState, state)
	}
	if state == DSealing {
		if err := tx.setDelivery(ctx, m.studio, id, DOpen); err != nil {
			return Delivery{}, err
		}
	}
	return tx.Delivery(ctx, id)
}

// Abandon gives an open delivery up; its objects may be swept. Repeating it is fine.
func (tx *Tx) Abandon(ctx context.Context, id uuid.UUID) (Delivery, error) {
	if err := tx.allow("abandoning a delivery", VendorSide); err != nil {
		return Delivery{}, err
	}
	m, state, err := tx.lockDelivery(ctx, id)
	if err != nil {
		return Delivery{}, err
	}
	switch state {
	case DSealed, DSealing:
		return Delivery{}, fmt.Errorf("%w: the delivery is %s", ErrState, state)
	case DOpen:
		if err := tx.setDelivery(ctx, m.studio, id, DAbandoned); err != nil {
			return Delivery{}, err
		}
		tx.fact(FactDeliveryAbandoned, m.studio, m.workOrder, id)
	}
	return tx.Delivery(ctx, id)
}
