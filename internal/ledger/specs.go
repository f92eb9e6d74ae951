package ledger

import (
	"context"
	"crypto/sha256"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

const specMaxBytes = 1 << 20

// CreateSpecRevision adds an immutable revision to a prop. Until work on the prop has begun it is in force at once;
// from then on it is offered with a change order that says its price, and comes into force when the vendor acknowledges it.
func (tx *Tx) CreateSpecRevision(ctx context.Context, in NewSpecRevision) (SpecRevision, error) {
	if err := tx.allow("changing a spec", StudioSide, TechnicalArtist, Producer, ArtDirector); err != nil {
		return SpecRevision{}, err
	}
	switch {
	case len(in.Document) == 0 || len(in.Document) > specMaxBytes:
		return SpecRevision{}, invalid("document", "needs 1 to %d bytes", specMaxBytes)
	case len(in.Digest) != sha256.Size:
		return SpecRevision{}, invalid("digest", "needs %d bytes", sha256.Size)
	case len([]rune(in.Note)) > reasonMax:
		return SpecRevision{}, invalid("note", "is over %d characters", reasonMax)
	}
	unfinished, err := tx.lockUnfinished(ctx, in.Prop)
	if err != nil {
		return SpecRevision{}, err
	}
	var vendor, order uuid.UUID
	var began bool
	// The prop's row lock orders revisions, acknowledgements and the beginning of work.
	if err := tx.QueryRow(ctx, `SELECT vendor_id, work_order_id, work_began_at IS NOT NULL FROM ph.prop WHERE studio_id = $1 AND id = $2 FOR UPDATE`,
		tx.Who.Party, in.Prop).Scan(&vendor, &order, &began); err != nil {
		return SpecRevision{}, fmt.Errorf("spec of prop %s: %w", in.Prop, mapError(err))
	}
	var number int
	var parent *uuid.UUID
	err = tx.QueryRow(ctx, `SELECT coalesce(max(number), 0) + 1, (array_agg(id ORDER BY number DESC))[1] FROM ph.spec_revision WHERE studio_id = $1 AND prop_id = $2`,
		tx.Who.Party, in.Prop).Scan(&number, &parent)
	if err != nil {
		return SpecRevision{}, fmt.Errorf("spec of prop %s: %w", in.Prop, err)
	}
	id, sum := newID(), sha256.Sum256(in.Document)
	if _, err := tx.Exec(ctx, `INSERT INTO ph.spec_revision (studio_id, vendor_id, work_order_id, prop_id, id, number, parent_id, document, document_sha256, digest, note, by_member, by_name)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)`,
		tx.Who.Party, vendor, order, in.Prop, id, number, parent, in.Document, sum[:], in.Digest, in.Note, tx.Who.Member, tx.Who.Name); err != nil {
		return SpecRevision{}, fmt.Errorf("spec of prop %s: %w", in.Prop, err)
	}
	if !began {
		if _, err := tx.Exec(ctx, `UPDATE ph.prop SET spec_in_force = $3 WHERE studio_id = $1 AND id = $2`, tx.Who.Party, in.Prop, id); err != nil {
			return SpecRevision{}, fmt.Errorf("spec of prop %s: %w", in.Prop, err)
		}
	}
	tx.fact(FactSpecRevised, tx.Who.Party, order, id)
	if began && unfinished != nil {
		if err := tx.offerSpecChange(ctx, *unfinished, id, number, in.Change, in.Note); err != nil {
			return SpecRevision{}, err
		}
	}
	return tx.SpecRevision(ctx, id)
}

// AcknowledgeSpec puts a newer revision in force, by the vendor's lead. From the first acknowledgement on, work counts
// as begun. It agrees to the price that the studio put on the revision; a vendor who wants another one declines that change
// order and offers their own. An older revision than the one in force is ErrState; repeating it is fine.
func (tx *Tx) AcknowledgeSpec(ctx context.Context, id uuid.UUID) (SpecRevision, error) {
	if err := tx.allow("acknowledging a spec", VendorSide, VendorLead); err != nil {
		return SpecRevision{}, err
	}
	if err := tx.agreeSpecChange(ctx, id); err != nil { // before the prop's lock: milestones are locked first
		return SpecRevision{}, err
	}
	var studio, order, prop uuid.UUID
	if err := tx.QueryRow(ctx, `SELECT p.studio_id, p.work_order_id, p.id FROM ph.spec_revision s JOIN ph.prop p ON p.studio_id = s.studio_id AND p.id = s.prop_id
		WHERE s.vendor_id = $1 AND s.id = $2 FOR UPDATE OF p`, tx.Who.Party, id).Scan(&studio, &order, &prop); err != nil {
		return SpecRevision{}, fmt.Errorf("spec revision %s: %w", id, mapError(err))
	}
	var number, inForce int
	var acked bool
	if err := tx.QueryRow(ctx, `SELECT s.number, f.number, EXISTS (SELECT FROM ph.spec_ack a WHERE a.studio_id = s.studio_id AND a.spec_revision_id = s.id)
		FROM ph.spec_revision s
		JOIN ph.prop p ON p.studio_id = s.studio_id AND p.id = s.prop_id
		JOIN ph.spec_revision f ON f.studio_id = p.studio_id AND f.id = p.spec_in_force
		WHERE s.studio_id = $1 AND s.id = $2`, studio, id).Scan(&number, &inForce, &acked); err != nil {
		return SpecRevision{}, fmt.Errorf("spec revision %s: %w", id, mapError(err))
	}
	if acked {
		return tx.SpecRevision(ctx, id)
	}
	if number < inForce {
		return SpecRevision{}, fmt.Errorf("%w: revision %d is older than revision %d, which is in force", ErrState, number, inForce)
	}
	ack := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.spec_ack (studio_id, vendor_id, work_order_id, prop_id, spec_revision_id, id, by_member, by_name)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`, studio, tx.Who.Party, order, prop, id, ack, tx.Who.Member, tx.Who.Name); err != nil {
		return SpecRevision{}, fmt.Errorf("acknowledge spec %s: %w", id, err)
	}
	if _, err := tx.Exec(ctx, `UPDATE ph.prop SET spec_in_force = $3, work_began_at = coalesce(work_began_at, now()) WHERE studio_id = $1 AND id = $2`, studio, prop, id); err != nil {
		return SpecRevision{}, fmt.Errorf("acknowledge spec %s: %w", id, err)
	}
	tx.fact(FactSpecAcknowledged, studio, order, ack)
	return tx.SpecRevision(ctx, id)
}

// specHeads lists revisions, newest first within a prop. The condition's $1 is the caller's party.
func (tx *Tx) specHeads(ctx context.Context, cond string, args ...any) ([]SpecHead, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT s.id, s.prop_id, s.number, s.parent_id, s.digest, s.note, coalesce(s.by_name, ''), s.created_at, a.at, p.spec_in_force = s.id
		FROM ph.spec_revision s
		JOIN ph.prop p ON p.studio_id = s.studio_id AND p.id = s.prop_id
		LEFT JOIN ph.spec_ack a ON a.studio_id = s.studio_id AND a.spec_revision_id = s.id
		WHERE s.{me} = $1 AND `+cond+` ORDER BY s.prop_id, s.number DESC`), append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[SpecHead])
}

// SpecRevision is one revision with its document.
func (tx *Tx) SpecRevision(ctx context.Context, id uuid.UUID) (SpecRevision, error) {
	heads, err := tx.specHeads(ctx, `s.id = $2`, id)
	if err != nil {
		return SpecRevision{}, fmt.Errorf("spec revision %s: %w", id, err)
	}
	if len(heads) == 0 {
		return SpecRevision{}, ErrNotFound
	}
	r := SpecRevision{SpecHead: heads[0]}
	err = tx.QueryRow(ctx, tx.sql(`SELECT document FROM ph.spec_revision WHERE {me} = $1 AND id = $2`), tx.Who.Party, id).Scan(&r.Document)
	if err != nil {
		return SpecRevision{}, fmt.Errorf("spec revision %s: %w", id, mapError(err))
	}
	return r, nil
}

// SpecRevisions lists a prop's revisions, newest first.
func (tx *Tx) SpecRevisions(ctx context.Context, prop uuid.UUID) ([]SpecHead, error) {
	var studio uuid.UUID
	if err := tx.QueryRow(ctx, tx.sql(`SELECT studio_id FROM ph.prop WHERE {me} = $1 AND id = $2`), tx.Who.Party, prop).Scan(&studio); err != nil {
		return nil, fmt.Errorf("specs of prop %s: %w", prop, mapError(err))
	}
	heads, err := tx.specHeads(ctx, `s.studio_id = $3 AND s.prop_id = $2`, prop, studio)
	if err != nil {
		return nil, fmt.Errorf("specs of prop %s: %w", prop, err)
	}
	return heads, nil
}

// A work order's props are found by prop_code_key, their revisions by spec_revision_number_key. Equal bytes are the same
// spec, so the oldest revision that has them will do.
const specExtended = `SELECT r.document FROM ph.prop c
	JOIN ph.prop p ON p.studio_id = c.studio_id AND p.work_order_id = c.work_order_id AND p.code = $3
	JOIN ph.spec_revision r ON r.studio_id = p.studio_id AND r.prop_id = p.id
	WHERE c.{me} = $1 AND c.id = $2 AND CASE WHEN $4 > 0 THEN r.number = $4 ELSE r.document_sha256 = $5 END
	ORDER BY r.number LIMIT 1`

// SpecExtended is the document that a spec of prop extends. ErrNotFound where the prop's work order has no such revision:
// what both parties of an order see, and what its log commits to, are the specs of that order alone. The answer never
// changes, for neither do codes, revisions and documents.
func (tx *Tx) SpecExtended(ctx context.Context, prop uuid.UUID, ref SpecRef) ([]byte, error) {
	return tx.specExtended(ctx, tx.sql(specExtended), tx.Who.Party, prop, ref)
}

// SpecExtended is the same for the spec of a claimed inspection.
func (w *Worker) SpecExtended(ctx context.Context, job Job, ref SpecRef) (document []byte, err error) {
	err = w.inTx(ctx, func(tx *Tx) (err error) {
		document, err = tx.specExtended(ctx, strings.ReplaceAll(specExtended, "{me}", "studio_id"), job.Inspection.StudioID, job.Spec.PropID, ref)
		return err
	})
	return document, err
}

func (tx *Tx) specExtended(ctx context.Context, query string, party, prop uuid.UUID, ref SpecRef) (document []byte, err error) {
	if err := tx.QueryRow(ctx, query, party, prop, ref.Code, ref.Revision, ref.SHA256).Scan(&document); err != nil {
		return nil, fmt.Errorf("spec %q that a spec of prop %s extends: %w", ref.Code, prop, mapError(err))
	}
	return document, nil
}
