package ledger

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math/bits"
	"sort"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"golang.org/x/mod/sumdb/tlog"

	"proofhouse/internal/canon"
)

// emptyRoot is the root of a log without leaves: SHA-256 of nothing (RFC 6962, section 2.1).
var emptyRoot = sha256.Sum256(nil)

const saltBytes = 16 // 128 bits: a name or a remark cannot be guessed from its commitment

// pendingFact is an act to be appended at the end of its transaction.
type pendingFact struct {
	kind                 string
	studio, log, subject uuid.UUID
}

// fact records an act. Its leaf is made from the rows as they stand when the transaction ends.
func (tx *Tx) fact(kind string, studio, log, subject uuid.UUID) {
	tx.facts = append(tx.facts, pendingFact{kind, studio, log, subject})
}

// leaf is a fact's body; its field names, with the kind's data, are what a leaf holds. Names of people are not in it:
// name_commit is SHA-256(salt || name), and the two rest in an erasable table.
type leaf struct {
	Kind       string          `json:"kind"`
	Version    int             `json:"version"`
	Log        uuid.UUID       `json:"log"`
	Subject    uuid.UUID       `json:"subject"`
	RecordedAt string          `json:"recorded_at"`
	Actor      Actor           `json:"actor"`
	Member     *uuid.UUID      `json:"member,omitempty"`
	NameCommit string          `json:"name_commit,omitempty"`
	Data       json.RawMessage `json:"data"`
}

func (l leaf) body() ([]byte, error) {
	b, err := canon.Marshal(l)
	if err != nil {
		return nil, fmt.Errorf("fact %s: %w", l.Kind, err)
	}
	return b, nil
}

// stamp is a time as leaves hold it: UTC, to the microsecond that PostgreSQL keeps.
func stamp(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000000Z") }

func commit(salt []byte, text string) string {
	sum := sha256.Sum256(append(bytes.Clone(salt), text...))
	return hex.EncodeToString(sum[:])
}

func (tx *Tx) actor() Actor {
	switch tx.Who.Side {
	case StudioSide:
		return ByStudio
	case VendorSide:
		return ByVendor
	}
	return ByMachine
}

// appendFacts writes the pending facts as the transaction's last act. Heads are locked by ascending log id, so that two
// transactions never wait for each other in a ring; holding a head to the commit is what makes indices gapless and in
// commit order.
func (tx *Tx) appendFacts(ctx context.Context) error {
	if len(tx.facts) == 0 {
		return nil
	}
	data, err := tx.project(ctx, tx.facts)
	if err != nil {
		return err
	}
	byLog := map[uuid.UUID][]int{}
	var logs []uuid.UUID
	for i, f := range tx.facts {
		if byLog[f.log] == nil {
			logs = append(logs, f.log)
		}
		byLog[f.log] = append(byLog[f.log], i)
	}
	sort.Slice(logs, func(i, j int) bool { return bytes.Compare(logs[i][:], logs[j][:]) < 0 })
	for _, id := range logs {
		if err := tx.appendTo(ctx, id, byLog[id], data); err != nil {
			return fmt.Errorf("log %s: %w", id, err)
		}
	}
	tx.facts = nil
	return nil
}

// project reads the data of each fact from the rows, in one round trip.
func (tx *Tx) project(ctx context.Context, facts []pendingFact) ([]string, error) {
	batch := &pgx.Batch{}
	for _, f := range facts {
		batch.Queue(written(f.kind).data, f.studio, f.subject)
	}
	results := tx.SendBatch(ctx, batch)
	defer results.Close()
	data := make([]string, len(facts))
	for i, f := range facts {
		if err := results.QueryRow().Scan(&data[i]); err != nil {
			return nil, fmt.Errorf("what %s of %s says: %w", f.kind, f.subject, err)
		}
	}
	return data, results.Close()
}

// logAppend is one log while leaves are added to it under its head's lock.
type logAppend struct {
	studio, log  uuid.UUID
	vendor       *uuid.UUID
	before, size int64
	now          time.Time
	hashes       hashMap
	stored       [][]byte
	batch        *pgx.Batch
}

func (tx *Tx) appendTo(ctx context.Context, log uuid.UUID, which []int, data []string) error {
	a := &logAppend{studio: tx.facts[which[0]].studio, log: log, batch: &pgx.Batch{}}
	if err := tx.QueryRow(ctx, `SELECT vendor_id, size, now() FROM ph.log WHERE studio_id = $1 AND id = $2 FOR UPDATE`, a.studio, log).
		Scan(&a.vendor, &a.before, &a.now); err != nil {
		return fmt.Errorf("lock the head: %w", err)
	}
	a.size = a.before
	var err error
	if a.hashes, err = readHashes(ctx, tx, a.studio, log, frontier(a.size)); err != nil {
		return err
	}
	for _, i := range which {
		if err := a.add(tx.facts[i], data[i], tx.actor(), tx.Who); err != nil {
			return err
		}
	}
	root, err := tlog.TreeHash(a.size, a.hashes)
	if err != nil {
		return fmt.Errorf("root at %d: %w", a.size, err)
	}
	a.batch.Queue(`INSERT INTO ph.log_hash (studio_id, vendor_id, log_id, idx, hash)
		SELECT $1, $2, $3, $4 + n - 1, h FROM unnest($5::bytea[]) WITH ORDINALITY AS t (h, n)`, a.studio, a.vendor, log, tlog.StoredHashCount(a.before), a.stored)
	a.batch.Queue(`UPDATE ph.log SET size = $3, root = $4 WHERE studio_id = $1 AND id = $2`, a.studio, log, a.size, root[:])
	return tx.SendBatch(ctx, a.batch).Close()
}

// add makes the leaf of one fact and queues its rows.
func (a *logAppend) add(f pendingFact, data string, actor Actor, who Who) error {
	l := leaf{Kind: f.kind, Version: written(f.kind).version, Log: a.log, Subject: f.subject, RecordedAt: stamp(a.now), Actor: actor, Data: json.RawMessage(data)}
	salt := randomBytes(saltBytes)
	if actor != ByMachine {
		l.Member, l.NameCommit = &who.Member, commit(salt, who.Name)
	}
	body, err := l.body()
	if err != nil {
		return err
	}
	hashes, err := tlog.StoredHashes(a.size, body, a.hashes)
	if err != nil {
		return fmt.Errorf("leaf %d: %w", a.size, err)
	}
	first := tlog.StoredHashCount(a.size)
	for i, h := range hashes {
		a.hashes[first+int64(i)] = h
		a.stored = append(a.stored, bytes.Clone(h[:]))
	}
	a.batch.Queue(`INSERT INTO ph.fact (studio_id, vendor_id, log_id, idx, kind, version, subject_id, actor, member_id, recorded_at, body)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`, a.studio, a.vendor, a.log, a.size, l.Kind, l.Version, l.Subject, l.Actor, l.Member, a.now, body)
	if actor != ByMachine {
		a.batch.Queue(`INSERT INTO ph.fact_person (studio_id, vendor_id, log_id, idx, salt, name) VALUES ($1, $2, $3, $4, $5, $6)`,
			a.studio, a.vendor, a.log, a.size, salt, who.Name)
	}
	a.size++
	return nil
}

// hashMap is a tlog.HashReader over hashes read beforehand.
type hashMap map[int64]tlog.Hash

// ReadHashes gives the hashes at the stored indices, or an error for one that is not there.
func (m hashMap) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, idx := range indexes {
		h, ok := m[idx]
		if !ok {
			return nil, fmt.Errorf("stored hash %d is missing", idx)
		}
		out[i] = h
	}
	return out, nil
}

// frontier lists the stored indices of the roots of the full subtrees that make up a tree of n leaves, one for each bit
// of n: all that appending and the new root need.
func frontier(n int64) []int64 {
	var out []int64
	for level := bits.Len64(uint64(n)) - 1; level >= 0; level-- {
		if n>>level&1 == 1 {
			out = append(out, tlog.StoredHashIndex(level, n>>level-1))
		}
	}
	return out
}

func readHashes(ctx context.Context, tx pgx.Tx, studio, log uuid.UUID, indexes []int64) (hashMap, error) {
	rows, err := tx.Query(ctx, `SELECT idx, hash FROM ph.log_hash WHERE studio_id = $1 AND log_id = $2 AND idx = ANY ($3)`, studio, log, indexes)
	if err != nil {
		return nil, fmt.Errorf("stored hashes: %w", err)
	}
	return collectHashes(rows)
}

func collectHashes(rows pgx.Rows) (hashMap, error) {
	defer rows.Close()
	m := hashMap{}
	for rows.Next() {
		var idx int64
		var hash []byte
		if err := rows.Scan(&idx, &hash); err != nil {
			return nil, fmt.Errorf("stored hashes: %w", err)
		}
		m[idx] = tlog.Hash(hash)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("stored hashes: %w", err)
	}
	return m, nil
}
