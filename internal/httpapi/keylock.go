package httpapi

import (
	"context"
	"sync"

	"github.com/google/uuid"
)

// keyLock is one lock for each key, for as long as somebody wants it. It orders what this process does to one delivery's
// objects; between processes the ledger's states order it, and a loser tries again.
type keyLock struct {
	mu   sync.Mutex
	held map[uuid.UUID]*heldKey
}

type heldKey struct {
	turn   chan struct{} // holds one token while the key is free
	wanted int
}

// lock waits for the key or for the end of ctx.
func (l *keyLock) lock(ctx context.Context, key uuid.UUID) (unlock func(), err error) {
	l.mu.Lock()
	if l.held == nil {
		l.held = map[uuid.UUID]*heldKey{}
	}
	k := l.held[key]
	if k == nil {
		k = &heldKey{turn: make(chan struct{}, 1)}
		k.turn <- struct{}{}
		l.held[key] = k
	}
	k.wanted++
	l.mu.Unlock()
	done := func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		if k.wanted--; k.wanted == 0 {
			delete(l.held, key)
		}
	}
	select {
	case <-k.turn:
		return func() { k.turn <- struct{}{}; done() }, nil
	case <-ctx.Done():
		done()
		return nil, ctx.Err()
	}
}
