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

// appendFacts writes the pending facts as the transaction's last act, in two round trips: the first makes the workers' tickets, reads what
// each fact says and locks the heads, the second writes and is COMMIT's own. Heads are locked by ascending log id, so that two transactions never wait
// for each other in a ring; holding a head to the commit is what makes indices gapless and in commit order.
func (tx *Tx) appendFacts(ctx context.Context) error {
	if len(tx.facts) == 0 && tx.tickets == 0 {
		return nil
	}
	logs := tx.logsOfFacts()
	data, err := tx.projectAndLock(ctx, logs)
	if err != nil {
		return err
	}
	for _, a := range logs {
		if a.hashes == nil {
			if a.hashes, err = readHashes(ctx, tx, a.studio, a.log, frontier(a.size)); err != nil {
				return err
			}
		}
		if err := a.add(tx, data); err != nil {
			return fmt.Errorf("log %s: %w", a.log, err)
		}
		if err := a.queue(tx.late); err != nil {
			return fmt.Errorf("log %s: %w", a.log, err)
		}
		if err := tx.proveAppended(a); err != nil {
			return fmt.Errorf("log %s: %w", a.log, err)
		}
	}
	tx.facts = nil
	return nil
}

// logAppend is one log while leaves are added to it under its head's lock.
type logAppend struct {
	studio, log  uuid.UUID
	which        []int // of the transaction's facts
	vendor       *uuid.UUID
	before, size int64
	now          time.Time
	root         tlog.Hash // of the tree with the new leaves
	hashes       hashMap
	stored       [][]byte
	facts        factColumns
	persons      personColumns
}

// factColumns and personColumns are the new rows, by column: one statement inserts them all.
type factColumns struct {
	idx     []int64
	kind    []string
	version []int
	subject []uuid.UUID
	actor   []string
	member  []*uuid.UUID
	body    [][]byte
}

type personColumns struct {
	idx  []int64
	salt [][]byte
	name []string
}

// logsOfFacts groups the pending facts by log, by ascending log id.
func (tx *Tx) logsOfFacts() []*logAppend {
	by := map[uuid.UUID]*logAppend{}
	var logs []*logAppend
	for i, f := range tx.facts {
		a := by[f.log]
		if a == nil {
			a = &logAppend{studio: f.studio, log: f.log}
			by[f.log] = a
			logs = append(logs, a)
		}
		a.which = append(a.which, i)
	}
	sort.Slice(logs, func(i, j int) bool { return bytes.Compare(logs[i].log[:], logs[j].log[:]) < 0 })
	return logs
}

// projectAndLock reads the data of each fact from the rows, then locks the heads, in one round trip: that of the tickets, where there are any.
func (tx *Tx) projectAndLock(ctx context.Context, logs []*logAppend) ([]string, error) {
	batch := &pgx.Batch{}
	for _, f := range tx.facts {
		batch.Queue(written(f.kind).data, f.studio, f.subject)
	}
	for _, a := range logs {
		batch.Queue(`SELECT vendor_id, size, frontier, now() FROM ph.log WHERE studio_id = $1 AND id = $2 FOR UPDATE`, a.studio, a.log)
	}
	data := make([]string, len(tx.facts))
	read := false
	tx.late.alongside(batch, func(results pgx.BatchResults) error {
		read = true
		for i, f := range tx.facts {
			if err := results.QueryRow().Scan(&data[i]); err != nil {
				return fmt.Errorf("what %s of %s says: %w", f.kind, f.subject, err)
			}
		}
		for _, a := range logs {
			var packed []byte
			if err := results.QueryRow().Scan(&a.vendor, &a.before, &packed, &a.now); err != nil {
				return fmt.Errorf("lock the head of log %s: %w", a.log, err)
			}
			a.size = a.before
			a.hashes = unpackFrontier(a.size, packed)
		}
		return nil
	})
	if tx.tickets > 0 {
		tickets := tx.tickets
		tx.tickets = 0
		if err := tx.wake(ctx, tx.Tx, tickets); err != nil {
			return nil, fmt.Errorf("wake the workers: %w", err)
		}
	}
	if read {
		return data, nil
	}
	return data, tx.late.flush(ctx)
}

// add makes the leaves of this log's facts.
func (a *logAppend) add(tx *Tx, data []string) error {
	actor, salts := tx.actor(), randomBytes(saltBytes*len(a.which))
	for n, i := range a.which {
		f := tx.facts[i]
		l := leaf{Kind: f.kind, Version: written(f.kind).version, Log: a.log, Subject: f.subject, RecordedAt: stamp(a.now), Actor: actor, Data: json.RawMessage(data[i])}
		if actor != ByMachine {
			salt := salts[n*saltBytes : (n+1)*saltBytes]
			l.Member, l.NameCommit = &tx.Who.Member, commit(salt, tx.Who.Name)
			a.persons.idx, a.persons.salt, a.persons.name = append(a.persons.idx, a.size), append(a.persons.salt, salt), append(a.persons.name, tx.Who.Name)
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
		c := &a.facts
		c.idx, c.kind, c.version, c.subject = append(c.idx, a.size), append(c.kind, l.Kind), append(c.version, l.Version), append(c.subject, l.Subject)
		c.actor, c.member, c.body = append(c.actor, string(l.Actor)), append(c.member, l.Member), append(c.body, body)
		a.size++
	}
	return nil
}

// queue hands this log's new rows and head over, to go out with COMMIT.
func (a *logAppend) queue(t *lateTx) error {
	root, err := tlog.TreeHash(a.size, a.hashes)
	if err != nil {
		return fmt.Errorf("root at %d: %w", a.size, err)
	}
	a.root = root
	write := func(sql string, args ...any) {
		t.later(lateStatement{doing: "log " + a.log.String(), sql: sql, args: append([]any{a.studio, a.vendor, a.log}, args...)})
	}
	c, p := a.facts, a.persons
	write(`INSERT INTO ph.fact (studio_id, vendor_id, log_id, recorded_at, idx, kind, version, subject_id, actor, member_id, body)
		SELECT $1, $2, $3, $4, * FROM unnest($5::bigint[], $6::text[], $7::int[], $8::uuid[], $9::text[], $10::uuid[], $11::bytea[])`,
		a.now, c.idx, c.kind, c.version, c.subject, c.actor, c.member, c.body)
	if len(p.idx) > 0 {
		write(`INSERT INTO ph.fact_person (studio_id, vendor_id, log_id, idx, salt, name) SELECT $1, $2, $3, * FROM unnest($4::bigint[], $5::bytea[], $6::text[])`, p.idx, p.salt, p.name)
	}
	write(`INSERT INTO ph.log_hash (studio_id, vendor_id, log_id, idx, hash)
		SELECT $1, $2, $3, $4 + n - 1, h FROM unnest($5::bytea[]) WITH ORDINALITY AS t (h, n)`, tlog.StoredHashCount(a.before), a.stored)
	t.later(lateStatement{doing: "head of log " + a.log.String(), sql: `UPDATE ph.log SET size = $3, root = $4, frontier = $5 WHERE studio_id = $1 AND id = $2`,
		args: []any{a.studio, a.log, a.size, root[:], packFrontier(a.size, a.hashes)}})
	return nil
}

// packFrontier is what the next append needs of a log of n leaves, as the head's row holds it.
func packFrontier(n int64, hashes hashMap) []byte {
	var out []byte
	for _, idx := range frontier(n) {
		h := hashes[idx]
		out = append(out, h[:]...)
	}
	return out
}

// unpackFrontier is packFrontier's inverse; nil where the row does not hold it.
func unpackFrontier(n int64, packed []byte) hashMap {
	indexes := frontier(n)
	if len(packed) != len(indexes)*tlog.HashSize {
		return nil
	}
	m := make(hashMap, len(indexes)+4)
	for i, idx := range indexes {
		m[idx] = tlog.Hash(packed[i*tlog.HashSize:])
	}
	return m
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
