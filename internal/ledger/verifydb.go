package ledger

import (
	"bytes"
	"context"
	"encoding/hex"
	"fmt"
	"maps"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"golang.org/x/mod/sumdb/tlog"

	"proofhouse/internal/canon"
)

// Verify checks a log (a work order's id, or the studio's for its private log) in the database: all that VerifyBundle
// checks, and that the rows of today still say what the leaves say, that no row lacks its leaf, and that stored hashes,
// head and milestone states agree. Run it in Store.InSnapshot: between statements of an ordinary transaction others may
// commit, and what they change would show as a problem.
func (tx *Tx) Verify(ctx context.Context, log uuid.UUID, verifiers ...string) (Report, error) {
	b, h, err := tx.bundle(ctx, log)
	if err != nil {
		return Report{}, err
	}
	v, err := b.verify(verifiers, nil)
	if err != nil {
		return Report{}, err
	}
	if v.leaves == nil {
		return v.report, nil
	}
	for _, step := range []func(context.Context, *verification, logHead) error{tx.verifyColumns, tx.verifyRows, tx.verifyComplete, tx.verifyHashes, tx.verifyStates, tx.verifyActs, tx.verifyOwners, tx.verifyStandings} {
		if err := step(ctx, v, h); err != nil {
			return v.report, fmt.Errorf("verify log %s: %w", log, err)
		}
	}
	return v.report, nil
}

// verifyColumns compares the columns of each fact, by which feeds and receipts find it, with its leaf.
func (tx *Tx) verifyColumns(ctx context.Context, v *verification, h logHead) error {
	rows, err := tx.Query(ctx, `SELECT idx, kind, version, subject_id, actor, member_id, recorded_at FROM ph.fact
		WHERE studio_id = $1 AND log_id = $2 AND idx < $3 ORDER BY idx`, h.studio, h.Log, h.Size)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var idx int64
		var kind string
		var version int
		var subject uuid.UUID
		var actor Actor
		var member *uuid.UUID
		var at time.Time
		if err := rows.Scan(&idx, &kind, &version, &subject, &actor, &member, &at); err != nil {
			return err
		}
		l := v.leaves[idx]
		if kind != l.Kind || version != l.Version || subject != l.Subject || actor != l.Actor || deref(member) != deref(l.Member) || stamp(at) != l.RecordedAt {
			v.report.problem(idx, "the fact's columns say %s of %s by %s at %s, its leaf %s of %s by %s at %s", kind, subject, actor, stamp(at), l.Kind, l.Subject, l.Actor, l.RecordedAt)
		}
	}
	return rows.Err()
}

// verifyRows makes each leaf's data again from the rows of today.
func (tx *Tx) verifyRows(ctx context.Context, v *verification, h logHead) error {
	for i, l := range v.leaves {
		p, ok := projectorOf(l.Kind, l.Version)
		if !ok {
			v.report.problem(int64(i), "%s version %d is not known to this program", l.Kind, l.Version)
			continue
		}
		var data string
		switch err := tx.QueryRow(ctx, p.data, h.studio, l.Subject).Scan(&data); {
		case err == pgx.ErrNoRows:
			v.report.problem(int64(i), "the row of %s %s is gone", l.Kind, l.Subject)
			continue
		case err != nil:
			return err
		}
		now, err := canon.Transform([]byte(data))
		if err != nil {
			return fmt.Errorf("%s of %s: %w", l.Kind, l.Subject, err)
		}
		then, err := canon.Transform(l.Data)
		if err != nil || !bytes.Equal(now, then) {
			v.report.problem(int64(i), "%s: the rows say %s, the leaf %s", l.Kind, now, then)
		}
	}
	return nil
}

// verifyComplete looks for rows that should have a leaf and have none, or have two.
func (tx *Tx) verifyComplete(ctx context.Context, v *verification, h logHead) error {
	facts := map[string]map[uuid.UUID]int{}
	for _, l := range v.leaves {
		if facts[l.Kind] == nil {
			facts[l.Kind] = map[uuid.UUID]int{}
		}
		facts[l.Kind][l.Subject]++
	}
	for kind := range projectors {
		rows, err := tx.Query(ctx, written(kind).subjects, h.studio, h.Log)
		if err != nil {
			return fmt.Errorf("rows of %s: %w", kind, err)
		}
		ids, err := pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
		if err != nil {
			return fmt.Errorf("rows of %s: %w", kind, err)
		}
		there := make(map[uuid.UUID]bool, len(ids))
		for _, id := range ids {
			there[id] = true
			if n := facts[kind][id]; n != 1 {
				v.report.problem(-1, "the row of %s %s has %d leaves", kind, id, n)
			}
		}
		for id := range facts[kind] {
			if !there[id] {
				v.report.problem(-1, "the row of %s %s is not of this log any more", kind, id)
			}
		}
	}
	return nil
}

// verifyHashes compares every stored hash with the one that the leaves make.
func (tx *Tx) verifyHashes(ctx context.Context, v *verification, h logHead) error {
	rows, err := tx.Query(ctx, `SELECT idx, hash FROM ph.log_hash WHERE studio_id = $1 AND log_id = $2 AND idx < $3`, h.studio, h.Log, tlog.StoredHashCount(h.Size))
	if err != nil {
		return err
	}
	stored, err := collectHashes(rows)
	if err != nil {
		return err
	}
	var packed []byte
	if err := tx.QueryRow(ctx, `SELECT frontier FROM ph.log WHERE studio_id = $1 AND id = $2`, h.studio, h.Log).Scan(&packed); err != nil {
		return err
	}
	if packed != nil && !bytes.Equal(packed, packFrontier(h.Size, v.hashes)) {
		v.report.problem(-1, "the head's own hashes are not those that the leaves make")
	}
	for idx, want := range v.hashes {
		if got, ok := stored[idx]; !ok || got != want {
			level, n := tlog.SplitStoredHashIndex(idx)
			v.report.problem(-1, "stored hash %d (level %d, number %d) is %s, the leaves make %s", idx, level, n, hex.EncodeToString(got[:]), hex.EncodeToString(want[:]))
		}
	}
	return nil
}

// verifyStates compares the milestones' states with those that the leaves lead to.
func (tx *Tx) verifyStates(ctx context.Context, v *verification, h logHead) error {
	rows, err := tx.Query(ctx, `SELECT id, state FROM ph.milestone WHERE studio_id = $1 AND work_order_id = $2`, h.studio, h.Log)
	if err != nil {
		return err
	}
	defer rows.Close()
	missing := maps.Clone(v.states)
	for rows.Next() {
		var id uuid.UUID
		var state MilestoneState
		if err := rows.Scan(&id, &state); err != nil {
			return err
		}
		delete(missing, id)
		if state != v.states[id] {
			v.report.problem(-1, "milestone %s is %s, the leaves lead to %q", id, state, v.states[id])
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	for id := range missing {
		v.report.problem(-1, "milestone %s, of which the leaves speak, is not among the order's", id)
	}
	return tx.verifyThings(ctx, v, h)
}

// verifyThings does the same for what has a smaller machine.
func (tx *Tx) verifyThings(ctx context.Context, v *verification, h logHead) error {
	rows, err := tx.Query(ctx, `SELECT 'change_order', id, state FROM ph.change_order WHERE studio_id = $1 AND work_order_id = $2
		UNION ALL SELECT 'question', id, state FROM ph.question WHERE studio_id = $1 AND work_order_id = $2
		UNION ALL SELECT 'permission', id, state FROM ph.permission WHERE studio_id = $1 AND work_order_id = $2`, h.studio, h.Log)
	if err != nil {
		return err
	}
	defer rows.Close()
	seen := map[thing]bool{}
	for rows.Next() {
		var t thing
		var state string
		if err := rows.Scan(&t.machine, &t.id, &state); err != nil {
			return err
		}
		seen[t] = true
		if state != v.things[t] {
			v.report.problem(-1, "%s %s is %s, the leaves lead to %q", strings.ReplaceAll(t.machine, "_", " "), t.id, state, v.things[t])
		}
	}
	for t := range v.things {
		if !seen[t] {
			v.report.problem(-1, "%s %s is gone from this order", strings.ReplaceAll(t.machine, "_", " "), t.id)
		}
	}
	return rows.Err()
}
