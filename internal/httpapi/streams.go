package httpapi

import (
	"context"
	"encoding/json"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"proofhouse/internal/ledger"
)

const (
	streamRecheck   = 30 * time.Second
	streamsOfMember = 4  // open at a time
	progressHeld    = 16 // reports that wait for a slow reader; further ones are dropped
)

// Streams are the event streams that this process has open. What is new is only hinted at here: each stream reads its
// news itself, as its caller, so that row-level security decides what it sends.
type Streams struct {
	Recheck time.Duration // each stream looks so often whether its session or token still stands; set it before the first begins

	mu      sync.Mutex
	open    map[*stream]struct{}
	members map[uuid.UUID]int
	closed  bool
	hears   atomic.Bool // otherwise streams look by themselves each second
}

type stream struct {
	party    uuid.UUID
	wake     chan struct{}        // room for one: there is something to read
	progress chan ledger.Progress // bounded: a reader that is slow misses reports
	end      chan struct{}        // closed when the service stops
}

// NewStreams makes the table of streams.
func NewStreams() *Streams {
	return &Streams{Recheck: streamRecheck, open: map[*stream]struct{}{}, members: map[uuid.UUID]int{}}
}

// Run listens at the database until ctx ends, and then ends all streams so that the server can stop. problem may be told
// that the database is out of hearing; streams go on by looking for themselves.
func (s *Streams) Run(ctx context.Context, address string, problem func(error)) {
	ledger.Listen(ctx, address, func(yes bool, why error) {
		s.hears.Store(yes)
		s.wakeAll()
		if !yes && ctx.Err() == nil {
			problem(why)
		}
	}, s.heard)
	s.End()
}

// End ends all streams and refuses new ones.
func (s *Streams) End() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return
	}
	s.closed = true
	for st := range s.open {
		close(st.end)
	}
}

func (s *Streams) heard(channel, payload string) {
	switch channel {
	case ledger.NewsChannel:
		if payload == "" {
			s.wakeAll()
			return
		}
		of := map[string]bool{}
		for id := range strings.SplitSeq(payload, ",") {
			of[id] = true
		}
		s.each(func(st *stream) {
			if of[st.party.String()] {
				st.hint()
			}
		})
	case ledger.ProgressChannel:
		var p ledger.Progress
		if json.Unmarshal([]byte(payload), &p) != nil {
			return
		}
		s.each(func(st *stream) {
			if st.party == p.Studio || st.party == p.Vendor {
				select {
				case st.progress <- p:
				default:
				}
			}
		})
	}
}

func (s *Streams) wakeAll() { s.each((*stream).hint) }

func (s *Streams) each(do func(*stream)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for st := range s.open {
		do(st)
	}
}

func (st *stream) hint() {
	select {
	case st.wake <- struct{}{}:
	default:
	}
}

// Count is how many are open.
func (s *Streams) Count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.open)
}

// begin adds a stream of a member; nil where they have too many, or the service stops.
func (s *Streams) begin(who ledger.Who) (st *stream, end func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed || s.members[who.Member] >= streamsOfMember {
		return nil, nil
	}
	st = &stream{party: who.Party, wake: make(chan struct{}, 1), progress: make(chan ledger.Progress, progressHeld), end: make(chan struct{})}
	s.open[st] = struct{}{}
	s.members[who.Member]++
	return st, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		delete(s.open, st)
		if s.members[who.Member]--; s.members[who.Member] == 0 {
			delete(s.members, who.Member)
		}
	}
}
