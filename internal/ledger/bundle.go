package ledger

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"

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
	var out bytes.Buffer
	err := writeBundle(ctx, &out, log, func(fn func(tx *Tx) error) error { return fn(tx) })
	return out.Bytes(), err
}

// WriteBundle writes what Bundle gives as it is read, some hundred leaves at a time, and holds no transaction while w takes them:
// leaves and what they commit to do not change, and none is read beyond the head that is read first. Where that head may not be read,
// nothing is written.
func (s *Store) WriteBundle(ctx context.Context, who Who, log uuid.UUID, w io.Writer) error {
	return writeBundle(ctx, w, log, func(fn func(tx *Tx) error) error { return s.InSnapshot(ctx, who, fn) })
}

// bundleAtOnce is for how many leaves a part of a bundle is read at once: with sixty findings each, some 5 MB.
const bundleAtOnce = 250

// bundleSection is one list of a bundle: read gives those of its items that belong to the leaves from (with) and to (without).
type bundleSection struct {
	name string
	read func(ctx context.Context, tx *Tx, h logHead, from, to int64) ([]any, error)
}

var (
	bundleLeaves   = bundleSection{"leaves", rowsOf[bundleLeaf](leavesOfBundle)}
	bundleContents = []bundleSection{ // behind the head's anchor
		{"specs", rowsOf[bundleSpec](specsOfBundle)}, {"findings", findingsOfBundle}, {"notes", rowsOf[bundleNote](notesOfBundle)}, {messagesSection, rowsOf[bundleNote](messagesOfBundle)},
	}
)

const messagesSection = "messages" // left out where there are none

const (
	leavesOfBundle = `SELECT f.idx, convert_from(f.body, 'UTF8'), p.salt, coalesce(p.name, '')
		FROM ph.fact f LEFT JOIN ph.fact_person p ON p.studio_id = f.studio_id AND p.log_id = f.log_id AND p.idx = f.idx
		WHERE f.studio_id = $1 AND f.log_id = $2 AND f.idx >= $3 AND f.idx < $4 ORDER BY f.idx`
	specsOfBundle = `SELECT s.id, s.document FROM ph.fact f JOIN ph.spec_revision s ON s.studio_id = f.studio_id AND s.id = f.subject_id
		WHERE f.studio_id = $1 AND f.log_id = $2 AND f.idx >= $3 AND f.idx < $4 AND f.kind = 'spec.revised' ORDER BY f.idx`
	notesOfBundle = `SELECT n.id, n.salt, n.text FROM ph.fact f JOIN ph.note n ON n.studio_id = f.studio_id AND n.id = f.subject_id
		WHERE f.studio_id = $1 AND f.log_id = $2 AND f.idx >= $3 AND f.idx < $4 AND f.kind = 'note.written' ORDER BY f.idx`
	messagesOfBundle = `SELECT m.id, m.salt, m.text FROM ph.fact f JOIN ph.question_message m ON m.studio_id = f.studio_id AND m.id = f.subject_id
		WHERE f.studio_id = $1 AND f.log_id = $2 AND f.idx >= $3 AND f.idx < $4 AND f.kind = 'question.said' ORDER BY f.idx`
)

// rowsOf reads a section whose items are the rows of one query.
func rowsOf[T any](query string) func(context.Context, *Tx, logHead, int64, int64) ([]any, error) {
	return func(ctx context.Context, tx *Tx, h logHead, from, to int64) ([]any, error) {
		rows, err := tx.Query(ctx, query, h.studio, h.Log, from, to)
		if err != nil {
			return nil, err
		}
		return pgx.CollectRows(rows, func(row pgx.CollectableRow) (any, error) { return pgx.RowToStructByPos[T](row) })
	}
}

func findingsOfBundle(ctx context.Context, tx *Tx, h logHead, from, to int64) ([]any, error) {
	rows, err := tx.Query(ctx, `SELECT subject_id FROM ph.fact WHERE studio_id = $1 AND log_id = $2 AND idx >= $3 AND idx < $4 AND kind = 'inspection.recorded' ORDER BY idx`, h.studio, h.Log, from, to)
	if err != nil {
		return nil, err
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
	if err != nil || len(ids) == 0 {
		return nil, err
	}
	of := make(map[uuid.UUID][]findingLine, len(ids))
	rows, err = tx.Query(ctx, `SELECT inspection_id, `+findingColumns+` FROM ph.finding WHERE studio_id = $1 AND inspection_id = ANY ($2) ORDER BY inspection_id, ord`, h.studio, ids)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var id uuid.UUID
		var f findingLine
		if err := rows.Scan(&id, &f.Ord, &f.Check, &f.Part, &f.Set, &f.LOD, &f.Tile, &f.Pose, &f.File, &f.Outcome, &f.Blocks, &f.FollowsFrom,
			&f.Measured, &f.Unit, &f.LimitKey, &f.Limit); err != nil {
			return nil, err
		}
		of[id] = append(of[id], f)
	}
	out := make([]any, len(ids))
	for i, id := range ids {
		out[i] = bundleFindings{Inspection: id, Findings: append([]findingLine{}, of[id]...)}
	}
	return out, rows.Err()
}

// bundleHead is a bundle without its lists.
func (tx *Tx) bundleHead(ctx context.Context, log uuid.UUID) (*bundle, logHead, error) {
	h, err := tx.head(ctx, log)
	if err != nil {
		return nil, h, err
	}
	b := &bundle{Format: bundleFormat, Log: log, Size: h.Size, Root: fmt.Sprintf("%x", h.Root)}
	rows, err := tx.Query(ctx, `SELECT terms FROM ph.work_order WHERE studio_id = $1 AND id = $2`, h.studio, h.Log)
	if err != nil {
		return nil, h, fmt.Errorf("export log %s: %w", log, err)
	}
	terms, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, h, fmt.Errorf("export log %s: %w", log, err)
	}
	if len(terms) == 1 {
		b.Terms = &terms[0]
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

// bundle reads a whole bundle, for Verify.
func (tx *Tx) bundle(ctx context.Context, log uuid.UUID) (*bundle, logHead, error) {
	b, h, err := tx.bundleHead(ctx, log)
	if err != nil {
		return nil, h, err
	}
	for _, section := range append([]bundleSection{bundleLeaves}, bundleContents...) {
		items, err := section.read(ctx, tx, h, 0, h.Size)
		if err != nil {
			return nil, h, fmt.Errorf("export log %s: %w", log, err)
		}
		for _, item := range items {
			switch v := item.(type) {
			case bundleLeaf:
				b.Leaves = append(b.Leaves, v)
			case bundleSpec:
				b.Specs = append(b.Specs, v)
			case bundleFindings:
				b.Findings = append(b.Findings, v)
			case bundleNote:
				if section.name == messagesSection {
					b.Messages = append(b.Messages, v)
				} else {
					b.Notes = append(b.Notes, v)
				}
			}
		}
	}
	return b, h, nil
}

// writeBundle writes a bundle's members in the order of its fields, as encoding/json does; run begins each of its transactions.
func writeBundle(ctx context.Context, to io.Writer, log uuid.UUID, run func(func(tx *Tx) error) error) error {
	var b *bundle
	var h logHead
	if err := run(func(tx *Tx) (err error) { b, h, err = tx.bundleHead(ctx, log); return err }); err != nil {
		return err
	}
	w := &bundleWriter{to: bufio.NewWriterSize(to, 64<<10), before: "{"}
	w.member("format", b.Format)
	w.member("log", b.Log)
	w.member("size", b.Size)
	w.member("root", b.Root)
	w.section(ctx, bundleLeaves, h, run)
	if b.Anchor != nil {
		w.member("anchor", b.Anchor)
	}
	if b.Checkpoint != "" {
		w.member("checkpoint", b.Checkpoint)
	}
	if b.Terms != nil {
		w.member("terms", b.Terms)
	}
	for _, s := range bundleContents {
		w.section(ctx, s, h, run)
	}
	if len(b.Keys) > 0 {
		w.member("keys", b.Keys)
	}
	w.text("}")
	if w.err == nil {
		w.err = w.to.Flush()
	}
	if w.err != nil {
		return fmt.Errorf("export log %s: %w", log, w.err)
	}
	return nil
}

// bundleWriter writes an object's members. Its first error stays.
type bundleWriter struct {
	to     *bufio.Writer
	before string // the next member
	err    error
}

func (w *bundleWriter) text(s string) {
	if w.err == nil {
		_, w.err = w.to.WriteString(s)
	}
}

func (w *bundleWriter) value(v any) {
	if w.err != nil {
		return
	}
	var text []byte
	if text, w.err = json.Marshal(v); w.err == nil {
		_, w.err = w.to.Write(text)
	}
}

func (w *bundleWriter) name(name string) {
	w.text(w.before + `"` + name + `":`)
	w.before = ","
}

func (w *bundleWriter) member(name string, v any) {
	w.name(name)
	w.value(v)
}

// section writes a list part by part; what is read of it is let go with each part.
func (w *bundleWriter) section(ctx context.Context, s bundleSection, h logHead, run func(func(tx *Tx) error) error) {
	between := "["
	if s.name != messagesSection {
		w.name(s.name)
	}
	for from := int64(0); from < h.Size && w.err == nil; from += bundleAtOnce {
		var items []any
		w.err = run(func(tx *Tx) (err error) {
			items, err = s.read(ctx, tx, h, from, min(from+bundleAtOnce, h.Size))
			return err
		})
		for _, item := range items {
			if between == "[" && s.name == messagesSection {
				w.name(s.name)
			}
			w.text(between)
			w.value(item)
			between = ","
		}
	}
	switch {
	case between == ",":
		w.text("]")
	case s.name != messagesSection:
		w.text("[]")
	}
}
