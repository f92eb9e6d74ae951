package ledger

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

const bundleFormat = "proofhouse/bundle/1"

// bundle is an export of one whole log with what its leaves commit to. Leaves 0 to size-1 are all there, so it proves
// also that nothing was left out.
type bundle struct {
	Format     string           `json:"format"`
	Log        uuid.UUID        `json:"log"`
	Size       int64            `json:"size"`
	Root       string           `json:"root"` // hex
	Leaves     []bundleLeaf     `json:"leaves"`
	Anchor     *Anchor          `json:"anchor,omitempty"`
	Checkpoint string           `json:"checkpoint,omitempty"` // signed note over the house log
	Terms      *string          `json:"terms,omitempty"`
	Specs      []bundleSpec     `json:"specs"`
	Findings   []bundleFindings `json:"findings"`
	Notes      []bundleNote     `json:"notes"`
	Messages   []bundleNote     `json:"messages,omitempty"` // of questions
	Keys       []string         `json:"keys,omitempty"`     // statements by which each key of the notary vouches for the next
}

type bundleLeaf struct {
	Index int64  `json:"index"`
	Body  string `json:"body"` // exact bytes, which are JSON in UTF-8
	Salt  []byte `json:"salt,omitempty"`
	Name  string `json:"name,omitempty"` // of who acted; with the salt it opens name_commit; both empty once erased
}

type bundleSpec struct {
	ID       uuid.UUID `json:"id"`
	Document []byte    `json:"document"` // base64
}

type bundleFindings struct {
	Inspection uuid.UUID     `json:"inspection"`
	Findings   []findingLine `json:"findings"`
}

type bundleNote struct {
	ID   uuid.UUID `json:"id"`
	Salt []byte    `json:"salt"`
	Text string    `json:"text"`
}

// Bundle is a log's whole record (a work order's id, or the studio's for its private log) as one JSON document that
// VerifyBundle checks offline.
func (tx *Tx) Bundle(ctx context.Context, log uuid.UUID) ([]byte, error) {
	b, _, err := tx.bundle(ctx, log)
	if err != nil {
		return nil, err
	}
	out, err := json.Marshal(b)
	if err != nil {
		return nil, fmt.Errorf("export log %s: %w", log, err)
	}
	return out, nil
}

func (tx *Tx) bundle(ctx context.Context, log uuid.UUID) (*bundle, logHead, error) {
	h, err := tx.head(ctx, log)
	if err != nil {
		return nil, h, err
	}
	b := &bundle{Format: bundleFormat, Log: log, Size: h.Size, Root: fmt.Sprintf("%x", h.Root)}
	// Everything below is limited to the leaves of the head read above: what commits meanwhile is not in this bundle.
	steps := []func(context.Context, *bundle, logHead) error{tx.bundleLeaves, tx.bundleSpecs, tx.bundleFindings, tx.bundleNotes, tx.bundleTerms}
	for _, step := range steps {
		if err := step(ctx, b, h); err != nil {
			return nil, h, fmt.Errorf("export log %s: %w", log, err)
		}
	}
	if b.Anchor, b.Checkpoint, err = tx.anchorOf(ctx, h.studio, log, 1); err != nil {
		return nil, h, err
	}
	if b.Keys, err = tx.keyStatements(ctx); err != nil {
		return nil, h, err
	}
	if b.Anchor != nil && b.Anchor.Size > b.Size { // anchored between two statements of ours
		b.Anchor, b.Checkpoint = nil, ""
	}
	return b, h, nil
}

func (tx *Tx) bundleLeaves(ctx context.Context, b *bundle, h logHead) error {
	rows, err := tx.Query(ctx, `SELECT f.idx, convert_from(f.body, 'UTF8'), p.salt, coalesce(p.name, '')
		FROM ph.fact f LEFT JOIN ph.fact_person p ON p.studio_id = f.studio_id AND p.log_id = f.log_id AND p.idx = f.idx
		WHERE f.studio_id = $1 AND f.log_id = $2 AND f.idx < $3 ORDER BY f.idx`, h.studio, h.Log, h.Size)
	if err != nil {
		return err
	}
	b.Leaves, err = pgx.CollectRows(rows, pgx.RowToStructByPos[bundleLeaf])
	return err
}

func (tx *Tx) bundleSpecs(ctx context.Context, b *bundle, h logHead) error {
	rows, err := tx.Query(ctx, `SELECT s.id, s.document FROM ph.fact f JOIN ph.spec_revision s ON s.studio_id = f.studio_id AND s.id = f.subject_id
		WHERE f.studio_id = $1 AND f.log_id = $2 AND f.idx < $3 AND f.kind = 'spec.revised' ORDER BY f.idx`, h.studio, h.Log, h.Size)
	if err != nil {
		return err
	}
	b.Specs, err = pgx.CollectRows(rows, pgx.RowToStructByPos[bundleSpec])
	return err
}

func (tx *Tx) bundleFindings(ctx context.Context, b *bundle, h logHead) error {
	rows, err := tx.Query(ctx, `SELECT subject_id FROM ph.fact WHERE studio_id = $1 AND log_id = $2 AND idx < $3 AND kind = 'inspection.recorded' ORDER BY idx`, h.studio, h.Log, h.Size)
	if err != nil {
		return err
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
	if err != nil {
		return err
	}
	at := make(map[uuid.UUID]int, len(ids))
	b.Findings = make([]bundleFindings, len(ids))
	for i, id := range ids {
		at[id] = i
		b.Findings[i] = bundleFindings{Inspection: id, Findings: []findingLine{}}
	}
	rows, err = tx.Query(ctx, `SELECT inspection_id, `+findingColumns+` FROM ph.finding WHERE studio_id = $1 AND inspection_id = ANY ($2) ORDER BY inspection_id, ord`, h.studio, ids)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var id uuid.UUID
		var f findingLine
		if err := rows.Scan(&id, &f.Ord, &f.Check, &f.Part, &f.Set, &f.LOD, &f.Tile, &f.Pose, &f.File, &f.Outcome, &f.Blocks, &f.FollowsFrom,
			&f.Measured, &f.Unit, &f.LimitKey, &f.Limit); err != nil {
			return err
		}
		b.Findings[at[id]].Findings = append(b.Findings[at[id]].Findings, f)
	}
	return rows.Err()
}

func (tx *Tx) bundleNotes(ctx context.Context, b *bundle, h logHead) error {
	rows, err := tx.Query(ctx, `SELECT n.id, n.salt, n.text FROM ph.fact f JOIN ph.note n ON n.studio_id = f.studio_id AND n.id = f.subject_id
		WHERE f.studio_id = $1 AND f.log_id = $2 AND f.idx < $3 AND f.kind = 'note.written' ORDER BY f.idx`, h.studio, h.Log, h.Size)
	if err != nil {
		return err
	}
	if b.Notes, err = pgx.CollectRows(rows, pgx.RowToStructByPos[bundleNote]); err != nil {
		return err
	}
	rows, err = tx.Query(ctx, `SELECT m.id, m.salt, m.text FROM ph.fact f JOIN ph.question_message m ON m.studio_id = f.studio_id AND m.id = f.subject_id
		WHERE f.studio_id = $1 AND f.log_id = $2 AND f.idx < $3 AND f.kind = 'question.said' ORDER BY f.idx`, h.studio, h.Log, h.Size)
	if err != nil {
		return err
	}
	b.Messages, err = pgx.CollectRows(rows, pgx.RowToStructByPos[bundleNote])
	return err
}

func (tx *Tx) bundleTerms(ctx context.Context, b *bundle, h logHead) error {
	rows, err := tx.Query(ctx, `SELECT terms FROM ph.work_order WHERE studio_id = $1 AND id = $2`, h.studio, h.Log)
	if err != nil {
		return err
	}
	terms, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err == nil && len(terms) == 1 {
		b.Terms = &terms[0]
	}
	return err
}
