package ledger

import (
	"context"
	"fmt"
	"sync"

	"github.com/google/uuid"
)

// memo keeps what was added up over many rows for as long as the logs that those rows are told in have not grown. Every row that is
// added up here changes in the transaction that appends the leaf of its fact, so equal logs mean equal sums: what is kept is exact, and
// never older than the position it is asked for at. A row changed by hand, past the triggers and without a leaf, is not seen in what is
// kept before the next fact or a restart; Verify finds it. Only transactions that cannot write use it (Store.Reading): one that writes sees
// rows of its own before their leaves are there.
type memo struct {
	mu   sync.Mutex
	kept map[memoKey]map[string]memoEntry // by the question's arguments as text
}

// Bounds of what is kept: some hundred bytes for each answer, a few hundred kB for the largest. Beyond one, what it bounds is forgotten and
// added up again. A caller chooses the arguments of a question, periods for one, but no more parties or orders than there are.
const (
	memoMost     = 20_000
	memoArgsMost = 64
)

// memoKey is a question about one party or one work order.
type memoKey struct {
	what string
	of   uuid.UUID
}

// position says how far logs have grown: how many there are, and their leaves together. Neither ever shrinks.
type position struct{ logs, leaves int64 }

type memoEntry struct {
	at    position
	value any
}

func (m *memo) get(k memoKey, args string, at position) (any, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	e, ok := m.kept[k][args]
	return e.value, ok && e.at == at
}

// put keeps a value, unless one of a later position is kept already.
func (m *memo) put(k memoKey, args string, at position, value any) {
	m.mu.Lock()
	defer m.mu.Unlock()
	of := m.kept[k]
	if e, ok := of[args]; ok && e.at.leaves > at.leaves {
		return
	}
	if m.kept == nil || len(m.kept) >= memoMost {
		m.kept = map[memoKey]map[string]memoEntry{}
	}
	if of == nil || len(of) >= memoArgsMost {
		of = map[string]memoEntry{}
	}
	of[args] = memoEntry{at, value}
	m.kept[k] = of
}

// position reads, once in a transaction, how far the logs that the caller sees have grown. It is read before the rows that are
// added up: a fact that comes between the two makes what is kept newer than it says, and it is added up again.
func (tx *Tx) position(ctx context.Context) (position, error) {
	if tx.at != nil {
		return *tx.at, nil
	}
	var at position
	if err := tx.QueryRow(ctx, tx.sql(`SELECT count(*), coalesce(sum(size), 0)::bigint FROM ph.log WHERE {me} = $1`), tx.Who.Party).Scan(&at.logs, &at.leaves); err != nil {
		return at, fmt.Errorf("position of the logs: %w", err)
	}
	tx.at = &at
	return at, nil
}

// Leaves says how many leaves the logs that the caller sees had together before anything was added up over their rows; false where
// nothing was.
func (tx *Tx) Leaves() (int64, bool) {
	if tx.at == nil {
		return 0, false
	}
	return tx.at.leaves, true
}

// remembered is what read gives, kept for the caller's party until a fact is added to one of its logs. what and args name the question;
// callers get the same value and leave it as it is.
func remembered[T any](ctx context.Context, tx *Tx, what string, args any, read func() (T, error)) (T, error) {
	if tx.memo == nil {
		return read()
	}
	at, err := tx.position(ctx)
	if err != nil {
		var none T
		return none, err
	}
	k, with := memoKey{what, tx.Who.Party}, fmt.Sprint(args)
	if v, ok := tx.memo.get(k, with, at); ok {
		return v.(T), nil
	}
	v, err := read()
	if err == nil {
		tx.memo.put(k, with, at, v)
	}
	return v, err
}

// sizedOrder is a work order and the size of its log; 0 before its first leaf.
type sizedOrder struct {
	studio, id uuid.UUID
	size       int64
}

// rememberedByOrder is what read gives for each of the orders, kept until a fact is added to the order's log. read is asked for those
// that are not kept, and leaves out an order of which there is nothing.
func rememberedByOrder[T any](tx *Tx, what string, orders []sizedOrder, read func(studios, ids []uuid.UUID) (map[uuid.UUID]T, error)) (map[uuid.UUID]T, error) {
	out := make(map[uuid.UUID]T, len(orders))
	party := tx.Who.Party.String() // whatever a party may see of an order is kept for it alone
	var studios, ids []uuid.UUID
	sizes := map[uuid.UUID]int64{}
	for _, o := range orders {
		if tx.memo != nil {
			if v, ok := tx.memo.get(memoKey{what, o.id}, party, position{1, o.size}); ok {
				out[o.id] = v.(T)
				continue
			}
		}
		studios, ids = append(studios, o.studio), append(ids, o.id)
		sizes[o.id] = o.size
	}
	if len(ids) == 0 {
		return out, nil
	}
	fresh, err := read(studios, ids)
	if err != nil {
		return nil, err
	}
	for id, v := range fresh {
		out[id] = v
		if tx.memo != nil {
			tx.memo.put(memoKey{what, id}, party, position{1, sizes[id]}, v)
		}
	}
	return out, nil
}
