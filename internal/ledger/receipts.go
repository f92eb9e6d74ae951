package ledger

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"golang.org/x/mod/sumdb/tlog"
)

// Head is the present size and root of one log.
type Head struct {
	Log      uuid.UUID // a work order's id, or the studio's id for its private log
	Size     int64
	Root     []byte
	Anchored int64 // size at the newest anchor in the house log
}

// Fact is one leaf with its exact bytes. (Log, Index) is the cursor of every feed: gapless, in commit order.
type Fact struct {
	Log     uuid.UUID
	Index   int64
	Kind    string
	Version int
	Subject uuid.UUID
	At      time.Time
	Actor   Actor
	Body    []byte // canonical JSON
	ByName  string // empty for the machine, or once erased
}

// Receipt proves that a fact is in its log. JSON field names are part of the export format; hashes are hex.
type Receipt struct {
	Format     string    `json:"format"` // "proofhouse/receipt/1"
	Log        uuid.UUID `json:"log"`
	Index      int64     `json:"index"`
	Kind       string    `json:"kind"`
	Body       string    `json:"body"` // exact bytes of the leaf, which are JSON in UTF-8
	LeafHash   string    `json:"leaf_hash"`
	Size       int64     `json:"size"`
	Root       string    `json:"root"`
	Proof      []string  `json:"proof"`
	Anchor     *Anchor   `json:"anchor,omitempty"`     // newest anchor of this log that covers the fact; nil for about a second
	Checkpoint string    `json:"checkpoint,omitempty"` // signed note over the house log at the anchor's tree
}

// Anchor ties a head of a log into the house log.
type Anchor struct {
	Size       int64    `json:"size"`
	Root       string   `json:"root"`
	Blind      string   `json:"blind"`
	HouseIndex int64    `json:"house_index"`
	HouseProof []string `json:"house_proof"`
}

const receiptFormat = "proofhouse/receipt/1"

// Heads lists the logs that the caller may see, for feeds: compare Size with the index read so far.
func (tx *Tx) Heads(ctx context.Context) ([]Head, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT id, size, root, anchored_size FROM ph.log WHERE {me} = $1 ORDER BY id`), tx.Who.Party)
	if err != nil {
		return nil, fmt.Errorf("heads: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Head])
}

// logHead is a log's head with its parties, as one statement saw it.
type logHead struct {
	Head
	studio uuid.UUID
}

func (tx *Tx) head(ctx context.Context, log uuid.UUID) (logHead, error) {
	h := logHead{Head: Head{Log: log}}
	err := tx.QueryRow(ctx, tx.sql(`SELECT studio_id, size, root, anchored_size FROM ph.log WHERE {me} = $1 AND id = $2`), tx.Who.Party, log).
		Scan(&h.studio, &h.Size, &h.Root, &h.Anchored)
	if err != nil {
		return h, fmt.Errorf("log %s: %w", log, mapError(err))
	}
	return h, nil
}

// Facts lists a log's leaves with an index above after (-1 for all), at most limit.
func (tx *Tx) Facts(ctx context.Context, log uuid.UUID, after int64, limit int) ([]Fact, error) {
	h, err := tx.head(ctx, log)
	if err != nil {
		return nil, err
	}
	rows, err := tx.Query(ctx, `SELECT f.log_id, f.idx, f.kind, f.version, f.subject_id, f.recorded_at, f.actor, f.body, coalesce(p.name, '')
		FROM ph.fact f LEFT JOIN ph.fact_person p ON p.studio_id = f.studio_id AND p.log_id = f.log_id AND p.idx = f.idx
		WHERE f.studio_id = $1 AND f.log_id = $2 AND f.idx > $3 ORDER BY f.idx LIMIT $4`, h.studio, log, after, Page{Limit: limit}.limit())
	if err != nil {
		return nil, fmt.Errorf("facts of log %s: %w", log, err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Fact])
}

// Receipt proves the newest fact of a kind about a subject (FactDeliverySealed and a delivery's id, for example).
func (tx *Tx) Receipt(ctx context.Context, kind string, subject uuid.UUID) (Receipt, error) {
	var studio, log uuid.UUID
	var idx int64
	var body []byte
	err := tx.QueryRow(ctx, tx.sql(`SELECT f.studio_id, f.log_id, f.idx, f.body FROM ph.fact f JOIN ph.log l ON l.studio_id = f.studio_id AND l.id = f.log_id
		WHERE l.{me} = $1 AND f.subject_id = $2 AND f.kind = $3 ORDER BY f.idx DESC LIMIT 1`), tx.Who.Party, subject, kind).Scan(&studio, &log, &idx, &body)
	if err != nil {
		return Receipt{}, fmt.Errorf("receipt for %s of %s: %w", kind, subject, mapError(err))
	}
	h, err := tx.head(ctx, log)
	if err != nil {
		return Receipt{}, err
	}
	proof, err := tlog.ProveRecord(h.Size, idx, tx.logReader(ctx, studio, log))
	if err != nil {
		return Receipt{}, fmt.Errorf("prove leaf %d of log %s: %w", idx, log, err)
	}
	r := receipt(kind, log, idx, body, h.Size, h.Root, proof)
	if r.Anchor, r.Checkpoint, err = tx.anchorOf(ctx, studio, r.Log, r.Index+1); err != nil {
		return Receipt{}, err
	}
	return r, nil
}

// ReceiptOf fills a receipt for an act of this transaction when its leaf is appended, from what the append holds in memory. It is valid once
// the transaction has committed; it has no anchor yet. into stays empty where the transaction makes no such fact.
func (tx *Tx) ReceiptOf(kind string, subject uuid.UUID, into *Receipt) {
	*into = Receipt{}
	tx.receipts = append(tx.receipts, wantedReceipt{kind, subject, into})
}

type wantedReceipt struct {
	kind    string
	subject uuid.UUID
	into    *Receipt
}

// proveAppended makes the receipts that were asked for of the leaves just added to one log. All hashes of their proofs are at hand: what
// stands left of the new leaves are the roots that the append began with, the rest is new.
func (tx *Tx) proveAppended(a *logAppend) error {
	for _, w := range tx.receipts {
		for n, kind := range a.facts.kind {
			if kind != w.kind || a.facts.subject[n] != w.subject {
				continue
			}
			idx, body := a.facts.idx[n], a.facts.body[n]
			proof, err := tlog.ProveRecord(a.size, idx, a.hashes)
			if err != nil {
				return fmt.Errorf("prove leaf %d: %w", idx, err)
			}
			*w.into = receipt(w.kind, a.log, idx, body, a.size, a.root[:], proof)
		}
	}
	return nil
}

// receipt is what is the same of every receipt: all but the anchor.
func receipt(kind string, log uuid.UUID, idx int64, body []byte, size int64, root []byte, proof tlog.RecordProof) Receipt {
	leafHash := tlog.RecordHash(body)
	return Receipt{Format: receiptFormat, Log: log, Index: idx, Kind: kind, Body: string(body), LeafHash: hex.EncodeToString(leafHash[:]),
		Size: size, Root: hex.EncodeToString(root), Proof: hexes(proof)}
}

// logReader reads stored hashes as tlog asks for them, a batch at a time.
func (tx *Tx) logReader(ctx context.Context, studio, log uuid.UUID) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		m, err := readHashes(ctx, tx, studio, log, indexes)
		if err != nil {
			return nil, err
		}
		return m.ReadHashes(indexes)
	})
}

// houseReader reads stored hashes of the house log.
func houseReader(ctx context.Context, tx pgx.Tx) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		rows, err := tx.Query(ctx, `SELECT idx, hash FROM ph.house_hash WHERE idx = ANY ($1)`, indexes)
		if err != nil {
			return nil, fmt.Errorf("house hashes: %w", err)
		}
		m, err := collectHashes(rows)
		if err != nil {
			return nil, err
		}
		return m.ReadHashes(indexes)
	})
}

// anchorOf finds the newest anchor of a log that covers at least size leaves, and the newest checkpoint, with the proof
// of the one in the other. Both nil where there is none yet.
func (tx *Tx) anchorOf(ctx context.Context, studio, log uuid.UUID, size int64) (*Anchor, string, error) {
	var a Anchor
	var root, blind []byte
	err := tx.QueryRow(ctx, `SELECT size, root, blind, house_idx FROM ph.anchor WHERE studio_id = $1 AND log_id = $2 AND size >= $3 ORDER BY size DESC LIMIT 1`,
		studio, log, size).Scan(&a.Size, &root, &blind, &a.HouseIndex)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, "", nil
	}
	if err != nil {
		return nil, "", fmt.Errorf("anchor of log %s: %w", log, err)
	}
	var houseSize int64
	var note string
	if err := tx.QueryRow(ctx, `SELECT size, note FROM ph.checkpoint ORDER BY size DESC LIMIT 1`).Scan(&houseSize, &note); err != nil {
		return nil, "", fmt.Errorf("checkpoint: %w", err)
	}
	proof, err := tlog.ProveRecord(houseSize, a.HouseIndex, houseReader(ctx, tx))
	if err != nil {
		return nil, "", fmt.Errorf("prove the anchor of log %s: %w", log, err)
	}
	a.Root, a.Blind, a.HouseProof = hex.EncodeToString(root), hex.EncodeToString(blind), hexes(proof)
	return &a, note, nil
}

// Consistency proves that the log at size next extends the log at size old, as RFC 6962, section 2.1.2; hashes in hex.
func (tx *Tx) Consistency(ctx context.Context, log uuid.UUID, old, next int64) ([]string, error) {
	h, err := tx.head(ctx, log)
	if err != nil {
		return nil, err
	}
	if old < 1 || next < old || next > h.Size {
		return nil, invalid("sizes", "need 1 <= %d <= %d <= %d", old, next, h.Size)
	}
	proof, err := tlog.ProveTree(next, old, tx.logReader(ctx, h.studio, log))
	if err != nil {
		return nil, fmt.Errorf("prove log %s from %d to %d: %w", log, old, next, err)
	}
	return hexes(proof), nil
}

// LatestCheckpoint is the newest signed note over the house log, "" before the first.
func (tx *Tx) LatestCheckpoint(ctx context.Context) (string, error) {
	var note string
	err := tx.QueryRow(ctx, `SELECT note FROM ph.checkpoint ORDER BY size DESC LIMIT 1`).Scan(&note)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return "", fmt.Errorf("checkpoint: %w", err)
	}
	return note, nil
}

func hexes[S ~[]tlog.Hash](hashes S) []string {
	out := make([]string, len(hashes))
	for i, h := range hashes {
		out[i] = hex.EncodeToString(h[:])
	}
	return out
}

func unhex(s string) (tlog.Hash, error) {
	b, err := hex.DecodeString(s)
	if err != nil || len(b) != tlog.HashSize {
		return tlog.Hash{}, fmt.Errorf("%q is not a hash in hex", s)
	}
	return tlog.Hash(b), nil
}

func unhexes(in []string) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(in))
	for i, s := range in {
		h, err := unhex(s)
		if err != nil {
			return nil, err
		}
		out[i] = h
	}
	return out, nil
}
