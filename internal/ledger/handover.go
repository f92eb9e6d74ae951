package ledger

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"path"
	"regexp"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"proofhouse/internal/canon"
)

// Handover is what the engine team gets: of every prop the files of its newest accepted delivery, under engine names.
type Handover struct {
	ID          uuid.UUID
	WorkOrderID uuid.UUID
	Number      int
	Pattern     string
	Digest      []byte // SHA-256 of the list of names and digests in canonical JSON
	ByName      string
	At          time.Time
	Files       []HandoverFile
}

// HandoverFile is one file of a hand-over.
type HandoverFile struct {
	Name      string
	PropCode  string
	Role      string
	Path      string // as it was delivered
	Delivery  uuid.UUID
	Size      int64
	SHA256    []byte
	ObjectKey string
	Change    string // fresh, altered, same: against the hand-over before; gone ones are listed with no delivery
}

var handoverPattern = regexp.MustCompile(`^[A-Za-z0-9_./{}-]{1,200}$`)

// handoverWords are what a pattern may hold.
var handoverWords = []string{"{prop}", "{role}", "{kit}", "{name}", "{ext}"}

// HandOver makes a hand-over of everything accepted in an order. pattern names the files: {prop} its code, {role} the
// file's role with dots as underscores, {kit}, {name} the delivered name without its ending, {ext} the ending with its dot.
// Source files stay out. Two files that would have one name are refused: the pattern then says too little.
func (tx *Tx) HandOver(ctx context.Context, order uuid.UUID, pattern string) (Handover, error) {
	if err := tx.allow("handing over", StudioSide); err != nil {
		return Handover{}, err
	}
	plain := pattern
	for _, w := range handoverWords {
		plain = strings.ReplaceAll(plain, w, "")
	}
	if !handoverPattern.MatchString(pattern) || strings.ContainsAny(plain, "{}") || strings.Contains(pattern, "..") || strings.HasPrefix(pattern, "/") || strings.Contains(pattern, "//") {
		return Handover{}, invalid("pattern", "is a relative path of letters, digits, _ . - and %s", strings.Join(handoverWords, " "))
	}
	if _, err := tx.WorkOrder(ctx, order); err != nil {
		return Handover{}, err
	}
	rows, err := tx.Query(ctx, `SELECT p.code, coalesce(p.kit, ''), f.id, f.path, f.role, f.sha256 FROM ph.prop p
		CROSS JOIN LATERAL (SELECT s.delivery_id FROM ph.sign_off s JOIN ph.milestone m ON m.studio_id = s.studio_id AND m.id = s.milestone_id
			WHERE s.studio_id = p.studio_id AND s.prop_id = p.id AND s.decision <> 'return' ORDER BY m.position DESC, s.id DESC LIMIT 1) d
		JOIN ph.file f ON f.studio_id = p.studio_id AND f.delivery_id = d.delivery_id
		WHERE p.studio_id = $1 AND p.work_order_id = $2 AND f.role NOT LIKE 'source.%' AND f.role NOT LIKE 'sculpt%' ORDER BY p.code, f.ord`, tx.Who.Party, order)
	if err != nil {
		return Handover{}, fmt.Errorf("what is accepted of work order %s: %w", order, err)
	}
	type line struct {
		code, kit, path, role string
		file                  uuid.UUID
		sum                   []byte
	}
	lines, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (l line, err error) {
		err = row.Scan(&l.code, &l.kit, &l.file, &l.path, &l.role, &l.sum)
		return l, err
	})
	if err != nil {
		return Handover{}, fmt.Errorf("what is accepted of work order %s: %w", order, err)
	}
	if len(lines) == 0 {
		return Handover{}, fmt.Errorf("%w: nothing of this order is accepted yet", ErrState)
	}
	names, files, sums, taken := make([]string, len(lines)), make([]uuid.UUID, len(lines)), make([]handoverLine, len(lines)), map[string]string{}
	for i, l := range lines {
		ext := path.Ext(l.path)
		names[i] = strings.NewReplacer("{prop}", l.code, "{role}", strings.ReplaceAll(l.role, ".", "_"), "{kit}", l.kit,
			"{name}", strings.TrimSuffix(path.Base(l.path), ext), "{ext}", ext).Replace(pattern)
		if badPath(names[i]) != "" { // a vendor chose the delivered name, and somebody unpacks the result
			return Handover{}, invalid("pattern", "gives %s of %s the name %q, which is no plain relative path", l.path, l.code, names[i])
		}
		if before, has := taken[strings.ToLower(names[i])]; has {
			return Handover{}, invalid("pattern", "gives %s and %s of %s one name, %s", before, l.path, l.code, names[i])
		}
		taken[strings.ToLower(names[i])] = l.path
		files[i], sums[i] = l.file, handoverLine{names[i], hex.EncodeToString(l.sum)}
	}
	return tx.keepHandover(ctx, order, pattern, names, files, sums)
}

type handoverLine struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
}

func (tx *Tx) keepHandover(ctx context.Context, order uuid.UUID, pattern string, names []string, files []uuid.UUID, lines []handoverLine) (Handover, error) {
	list, err := canon.Marshal(lines)
	if err != nil {
		return Handover{}, fmt.Errorf("hand-over of work order %s: %w", order, err)
	}
	digest, id := sha256.Sum256(list), newID()
	batch := &pgx.Batch{}
	batch.Queue(`INSERT INTO ph.handover (studio_id, work_order_id, id, number, pattern, digest, by_member, by_name)
		VALUES ($1, $2, $3, (SELECT coalesce(max(number), 0) + 1 FROM ph.handover WHERE studio_id = $1 AND work_order_id = $2), $4, $5, $6, $7)`,
		tx.Who.Party, order, id, pattern, digest[:], tx.Who.Member, tx.Who.Name)
	batch.Queue(`INSERT INTO ph.handover_file (studio_id, handover_id, ord, name, file_id) SELECT $1, $2, n - 1, name, file
		FROM unnest($3::text[], $4::uuid[]) WITH ORDINALITY AS t (name, file, n)`, tx.Who.Party, id, names, files)
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return Handover{}, fmt.Errorf("hand-over of work order %s: %w", order, err)
	}
	tx.fact(FactHandover, tx.Who.Party, tx.Who.Party, id)
	return tx.Handover(ctx, id)
}

const handoverSelect = `SELECT id, work_order_id, number, pattern, digest, coalesce(by_name, ''), at FROM ph.handover WHERE studio_id = $1 AND `

func scanHandover(row pgx.CollectableRow) (h Handover, err error) {
	err = row.Scan(&h.ID, &h.WorkOrderID, &h.Number, &h.Pattern, &h.Digest, &h.ByName, &h.At)
	return h, err
}

// Handover is one hand-over with its files, and what changed since the one before.
func (tx *Tx) Handover(ctx context.Context, id uuid.UUID) (Handover, error) {
	rows, err := tx.Query(ctx, handoverSelect+`id = $2`, tx.Who.Party, id)
	if err != nil {
		return Handover{}, fmt.Errorf("hand-over %s: %w", id, err)
	}
	h, err := pgx.CollectExactlyOneRow(rows, scanHandover)
	if err != nil {
		return Handover{}, fmt.Errorf("hand-over %s: %w", id, mapError(err))
	}
	if h.Files, err = tx.handoverFiles(ctx, h.WorkOrderID, h.Number); err != nil {
		return Handover{}, err
	}
	before, err := tx.handoverFiles(ctx, h.WorkOrderID, h.Number-1)
	if err != nil {
		return Handover{}, err
	}
	was := map[string]HandoverFile{}
	for _, f := range before {
		was[f.Name] = f
	}
	for i, f := range h.Files {
		old, had := was[f.Name]
		delete(was, f.Name)
		switch {
		case !had:
			h.Files[i].Change = "fresh"
		case hex.EncodeToString(old.SHA256) != hex.EncodeToString(f.SHA256):
			h.Files[i].Change = "altered"
		default:
			h.Files[i].Change = "same"
		}
	}
	for _, f := range before {
		if gone, left := was[f.Name]; left {
			gone.Change, gone.Delivery, gone.ObjectKey = "gone", uuid.Nil, ""
			h.Files = append(h.Files, gone)
		}
	}
	return h, nil
}

func (tx *Tx) handoverFiles(ctx context.Context, order uuid.UUID, number int) ([]HandoverFile, error) {
	rows, err := tx.Query(ctx, `SELECT l.name, p.code, f.role, f.path, f.delivery_id, f.size, f.sha256, f.object_key FROM ph.handover h
		JOIN ph.handover_file l ON l.studio_id = h.studio_id AND l.handover_id = h.id
		JOIN ph.file f ON f.studio_id = l.studio_id AND f.id = l.file_id
		JOIN ph.delivery d ON d.studio_id = f.studio_id AND d.id = f.delivery_id
		JOIN ph.prop p ON p.studio_id = d.studio_id AND p.id = d.prop_id
		WHERE h.studio_id = $1 AND h.work_order_id = $2 AND h.number = $3 ORDER BY l.ord`, tx.Who.Party, order, number)
	if err != nil {
		return nil, fmt.Errorf("files of hand-over %d: %w", number, err)
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (f HandoverFile, err error) {
		err = row.Scan(&f.Name, &f.PropCode, &f.Role, &f.Path, &f.Delivery, &f.Size, &f.SHA256, &f.ObjectKey)
		return f, err
	})
}

// Handovers lists an order's hand-overs without their files, newest first.
func (tx *Tx) Handovers(ctx context.Context, order uuid.UUID) ([]Handover, error) {
	rows, err := tx.Query(ctx, handoverSelect+`work_order_id = $2 ORDER BY number DESC`, tx.Who.Party, order)
	if err != nil {
		return nil, fmt.Errorf("hand-overs of work order %s: %w", order, err)
	}
	return pgx.CollectRows(rows, scanHandover)
}

// SHA256SUMS is the list of a hand-over's files as sha256sum(1) checks it.
func (h Handover) SHA256SUMS() string {
	var b strings.Builder
	for _, f := range h.Files {
		if f.Change != "gone" {
			fmt.Fprintf(&b, "%x  %s\n", f.SHA256, f.Name)
		}
	}
	return b.String()
}
