package ledger

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"proofhouse/internal/canon"
)

// Notary signs the house log's checkpoints, over a pool of role ph_notary. It alone holds the key.
type Notary struct {
	pool     *pgxpool.Pool
	signer   note.Signer
	verifier string

	published atomic.Bool // the key is known to be in the house log

	OnError func(error) // may be nil; set before Run
}

const (
	houseOrigin = "proofhouse/house"
	notaryLock  = 0x70685f6e6f74 // "ph_not": one notary at a time appends; held for a transaction, so it needs no session
	anchorBatch = 2000
)

// HeadsChannel is notified once per tick in which heads were anchored, never by a fact's own transaction: commits with
// NOTIFY queue behind one lock.
const HeadsChannel = "ph_heads"

// ErrNotaryKey says that the house log was signed by another key than the one that is there, or that none is there.
var ErrNotaryKey = errors.New("this is not the key that has signed the record")

const keyAdvice = "put the key file back from its safe copy; without one the record must go on in a new house: tell both sides, and keep an export of all orders from before"

// NewNotary makes a notary. keyFile holds the signing key (0600); it is made on first use alone: where the house log has
// been signed before, a missing or another key is ErrNotaryKey, or everybody's receipts would cease to fit in silence.
func NewNotary(pool *pgxpool.Pool, keyFile string) (*Notary, error) {
	ctx, cancel := context.WithTimeout(context.Background(), notaryKeyTime)
	defer cancel()
	begun, err := begunBy(ctx, pool)
	if err != nil {
		return nil, fmt.Errorf("notary key %s: %w", keyFile, err)
	}
	if _, err := os.Stat(keyFile); errors.Is(err, os.ErrNotExist) && begun.signed {
		return nil, fmt.Errorf("notary key %s: the file is missing: %w: %s", keyFile, ErrNotaryKey, keyAdvice)
	}
	secret, verifier, err := loadKey(keyFile)
	if err != nil {
		return nil, fmt.Errorf("notary key %s: %w", keyFile, err)
	}
	signer, errS := note.NewSigner(secret)
	check, errV := note.NewVerifier(verifier)
	if errS != nil || errV != nil || check.KeyHash() != signer.KeyHash() || check.Name() != signer.Name() {
		return nil, fmt.Errorf("notary key %s: its two lines are not a signing key and its verifier", keyFile) // never the key itself
	}
	if _, err := note.Open(begun.checkpoint, note.VerifierList(check)); begun.signed && err != nil && begun.next != verifier {
		return nil, fmt.Errorf("notary key %s: %w: %s", keyFile, ErrNotaryKey, keyAdvice)
	}
	return &Notary{pool: pool, signer: signer, verifier: verifier}, nil
}

const notaryKeyTime = 10 * time.Second

// houseKey is by whom the house log was signed last, and the key that took over since, if one did.
type houseKey struct {
	signed     bool
	checkpoint []byte
	next       string
}

func begunBy(ctx context.Context, pool *pgxpool.Pool) (k houseKey, err error) {
	err = pool.QueryRow(ctx, `SELECT note FROM ph.checkpoint ORDER BY size DESC LIMIT 1`).Scan(&k.checkpoint)
	if errors.Is(err, pgx.ErrNoRows) {
		return k, nil
	}
	if err != nil {
		return k, fmt.Errorf("look at the house log: %w", err)
	}
	k.signed = true
	err = pool.QueryRow(ctx, `SELECT verifier FROM ph.notary_key ORDER BY number DESC LIMIT 1`).Scan(&k.next)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return k, fmt.Errorf("look at the notary's keys: %w", err)
	}
	return k, nil
}

// loadKey reads the file: the signing key on its first line, its verifier on the second. Where there is none it is made
// and put in place whole, so that of two processes that make one the first wins.
func loadKey(path string) (secret, verifier string, err error) {
	info, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) {
		if err := makeKey(path); err != nil && !errors.Is(err, os.ErrExist) {
			return "", "", err
		}
		info, err = os.Stat(path)
	}
	if err != nil {
		return "", "", err
	}
	if info.Mode().Perm()&0o077 != 0 {
		return "", "", fmt.Errorf("others may read it (mode %v): make it 0600", info.Mode().Perm())
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return "", "", err
	}
	secret, rest, _ := strings.Cut(string(b), "\n")
	verifier, _, _ = strings.Cut(rest, "\n")
	return secret, verifier, nil
}

func makeKey(path string) error {
	secret, verifier, err := note.GenerateKey(rand.Reader, houseOrigin)
	if err != nil {
		return err
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), ".notary-") // mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name())
	if _, err := tmp.WriteString(secret + "\n" + verifier + "\n"); err != nil {
		tmp.Close()
		return err
	}
	if err := tmp.Close(); err != nil {
		return err
	}
	return os.Link(tmp.Name(), path)
}

// Verifier is the public key, "name+hash+key": what others need to check checkpoints.
func (n *Notary) Verifier() string { return n.verifier }

// Run anchors every interval until ctx ends, and then returns nil. A failure goes to OnError and does not stop it: what
// was not anchored is anchored at a later tick.
func (n *Notary) Run(ctx context.Context, every time.Duration) error {
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		if _, err := n.AnchorOnce(ctx); err != nil && ctx.Err() == nil && n.OnError != nil {
			n.OnError(err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// changedHead is a log that has grown since its last anchor.
type changedHead struct {
	Studio uuid.UUID
	Vendor *uuid.UUID
	Log    uuid.UUID
	Size   int64
	Root   []byte
}

// AnchorOnce anchors all changed heads in the house log and signs a checkpoint, in one transaction. It returns how many
// heads were anchored; another process doing the same at the moment makes it 0.
func (n *Notary) AnchorOnce(ctx context.Context) (anchored int, err error) {
	err = retry(ctx, func() error {
		anchored = 0
		return pgx.BeginFunc(ctx, n.pool, func(tx pgx.Tx) error {
			var mine bool
			if err := tx.QueryRow(ctx, `SELECT pg_try_advisory_xact_lock($1)`, int64(notaryLock)).Scan(&mine); err != nil || !mine {
				return err
			}
			heads, err := changedHeads(ctx, tx)
			if err != nil {
				return err
			}
			anchored = len(heads)
			return n.anchor(ctx, tx, heads)
		})
	})
	if err != nil {
		return 0, fmt.Errorf("anchor heads: %w", err)
	}
	return anchored, nil
}

func changedHeads(ctx context.Context, tx pgx.Tx) ([]changedHead, error) {
	rows, err := tx.Query(ctx, `SELECT studio_id, vendor_id, id, size, root FROM ph.log WHERE anchored_size < size ORDER BY id LIMIT $1`, anchorBatch)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[changedHead])
}

// keyFact is the house log's leaf that publishes a verifier key.
type keyFact struct {
	Kind     string `json:"kind"` // "notary.key"
	Verifier string `json:"verifier"`
	// Statement is the note by which the key before vouches for this one; the first has none.
	Statement string `json:"statement,omitempty"`
}

func (n *Notary) anchor(ctx context.Context, tx pgx.Tx, heads []changedHead) error {
	house, err := openHouse(ctx, tx)
	if err != nil {
		return err
	}
	added, err := n.publish(ctx, tx, house)
	if err != nil {
		return err
	}
	if !added && len(heads) == 0 {
		return nil
	}
	batch := &pgx.Batch{}
	ids, studios, sizes := make([]uuid.UUID, len(heads)), make([]uuid.UUID, len(heads)), make([]int64, len(heads))
	for i, h := range heads {
		blind := randomBytes(32)
		idx, err := house.add(houseLeaf(blind, h.Log, h.Size, h.Root))
		if err != nil {
			return err
		}
		batch.Queue(`INSERT INTO ph.anchor (studio_id, vendor_id, log_id, size, root, blind, house_idx) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			h.Studio, h.Vendor, h.Log, h.Size, h.Root, blind, idx)
		ids[i], studios[i], sizes[i] = h.Log, h.Studio, h.Size
	}
	if err := house.store(batch, n.signer); err != nil {
		return err
	}
	// Last, and by ascending id, as transactions that append lock heads.
	batch.Queue(`SELECT 1 FROM ph.log WHERE id = ANY ($1) ORDER BY id FOR UPDATE`, ids)
	batch.Queue(`UPDATE ph.log l SET anchored_size = t.size FROM unnest($1::uuid[], $2::uuid[], $3::bigint[]) AS t (studio_id, id, size)
		WHERE l.studio_id = t.studio_id AND l.id = t.id`, studios, ids, sizes)
	batch.Queue(`SELECT pg_notify($1, '')`, HeadsChannel)
	return tx.SendBatch(ctx, batch).Close()
}

// publish puts the key into the house log unless it is there, by itself or vouched for by the one before. It is looked for
// once in a process's life.
func (n *Notary) publish(ctx context.Context, tx pgx.Tx, house *house) (added bool, err error) {
	if n.published.Load() {
		return false, nil
	}
	key, err := canon.Marshal(keyFact{Kind: "notary.key", Verifier: n.verifier})
	if err != nil {
		return false, err
	}
	var there bool
	if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM ph.notary_key WHERE verifier = $1) OR EXISTS (SELECT FROM ph.house_leaf WHERE body = $2)`, n.verifier, key).Scan(&there); err != nil {
		return false, err
	}
	if there {
		n.published.Store(true)
		return false, nil
	}
	_, err = house.add(key)
	return true, err
}

// house is the house log while leaves are added to it.
type house struct {
	before, size int64
	hashes       hashMap
	bodies       [][]byte
	stored       [][]byte
}

func openHouse(ctx context.Context, tx pgx.Tx) (*house, error) {
	h := &house{}
	if err := tx.QueryRow(ctx, `SELECT coalesce(max(idx) + 1, 0) FROM ph.house_leaf`).Scan(&h.before); err != nil {
		return nil, err
	}
	rows, err := tx.Query(ctx, `SELECT idx, hash FROM ph.house_hash WHERE idx = ANY ($1)`, frontier(h.before))
	if err != nil {
		return nil, err
	}
	h.size = h.before
	h.hashes, err = collectHashes(rows)
	return h, err
}

func (h *house) add(body []byte) (int64, error) {
	hashes, err := tlog.StoredHashes(h.size, body, h.hashes)
	if err != nil {
		return 0, fmt.Errorf("house leaf %d: %w", h.size, err)
	}
	first := tlog.StoredHashCount(h.size)
	for i, x := range hashes {
		h.hashes[first+int64(i)] = x
		h.stored = append(h.stored, bytes.Clone(x[:]))
	}
	h.bodies = append(h.bodies, body)
	h.size++
	return h.size - 1, nil
}

// store queues the new leaves and hashes and a signed checkpoint over them.
func (h *house) store(batch *pgx.Batch, signer note.Signer) error {
	root, err := tlog.TreeHash(h.size, h.hashes)
	if err != nil {
		return fmt.Errorf("house root: %w", err)
	}
	signed, err := note.Sign(&note.Note{Text: checkpointText(h.size, root)}, signer)
	if err != nil {
		return fmt.Errorf("sign checkpoint: %w", err)
	}
	batch.Queue(`INSERT INTO ph.house_leaf (idx, body) SELECT $1 + n - 1, b FROM unnest($2::bytea[]) WITH ORDINALITY AS t (b, n)`, h.before, h.bodies)
	batch.Queue(`INSERT INTO ph.house_hash (idx, hash) SELECT $1 + n - 1, b FROM unnest($2::bytea[]) WITH ORDINALITY AS t (b, n)`, tlog.StoredHashCount(h.before), h.stored)
	batch.Queue(`INSERT INTO ph.checkpoint (size, root, note) VALUES ($1, $2, $3)`, h.size, root[:], string(signed))
	return nil
}

// houseLeaf is a log's head as the house log holds it: SHA-256(blind || log id || size, 8 bytes big endian || root). The
// blind is 32 random bytes that only the log's parties are given.
func houseLeaf(blind []byte, log uuid.UUID, size int64, root []byte) []byte {
	b := append(bytes.Clone(blind), log[:]...)
	b = binary.BigEndian.AppendUint64(b, uint64(size))
	sum := sha256.Sum256(append(b, root...))
	return sum[:]
}

// checkpointText is the body of a checkpoint (C2SP tlog-checkpoint): origin, size, root in base64, one a line.
func checkpointText(size int64, root tlog.Hash) string {
	return fmt.Sprintf("%s\n%d\n%s\n", houseOrigin, size, base64.StdEncoding.EncodeToString(root[:]))
}

func parseCheckpoint(text string) (size int64, root tlog.Hash, err error) {
	lines := strings.Split(text, "\n")
	if len(lines) < 4 || lines[0] != houseOrigin {
		return 0, root, errors.New("it is not a checkpoint of the house log")
	}
	if size, err = strconv.ParseInt(lines[1], 10, 64); err != nil || size < 0 {
		return 0, root, errors.New("its size is not a number")
	}
	b, err := base64.StdEncoding.DecodeString(lines[2])
	if err != nil || len(b) != tlog.HashSize {
		return 0, root, errors.New("its root is not a hash")
	}
	return size, tlog.Hash(b), nil
}
