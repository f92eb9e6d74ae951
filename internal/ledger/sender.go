package ledger

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Sender sends decisions whose time to be taken back is over. It finds them as the clock and signs as their authors, with
// the roles that these have by then. Any number of processes may run one; each decision is sent once.
type Sender struct {
	clock *Clock
	store *Store

	OnError func(error) // may be nil; set before Run
}

// NewSender makes a sender.
func NewSender(clock *Clock, store *Store) *Sender { return &Sender{clock: clock, store: store} }

// Run sends every interval until ctx ends, and then returns nil. A failure goes to OnError and does not stop it.
func (s *Sender) Run(ctx context.Context, every time.Duration) error {
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		if _, _, err := s.Tick(ctx); err != nil && ctx.Err() == nil && s.OnError != nil {
			s.OnError(err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// due is one decision to send and who took it.
type due struct{ Studio, ID, Member uuid.UUID }

// Tick sends what is due now. stopped counts what could not be sent any more; a failure of the machinery is tried again
// at the next tick and does not keep the others back.
func (s *Sender) Tick(ctx context.Context) (sent, stopped int, err error) {
	var list []due
	err = runTx(ctx, s.clock.pool, Who{}, "BEGIN READ ONLY", nil, func(tx *Tx) error {
		rows, err := tx.Query(ctx, `SELECT studio_id, id, by_member FROM ph.pending_sign_off WHERE send_at <= now() AND stopped_at IS NULL ORDER BY send_at, id LIMIT 1000`)
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, pgx.RowToStructByPos[due])
		return err
	})
	if err != nil {
		return 0, 0, fmt.Errorf("look for decisions to send: %w", err)
	}
	var failures []error
	for _, one := range list {
		switch done, err := s.send(ctx, one); {
		case err != nil:
			failures = append(failures, fmt.Errorf("send decision %s: %w", one.ID, err))
		case done == sentNow:
			sent++
		case done == stoppedNow:
			stopped++
		}
	}
	return sent, stopped, errors.Join(failures...)
}

// What became of one decision: a third possibility is that somebody else sent it or took it back meanwhile.
type outcome int

const (
	goneMeanwhile outcome = iota
	sentNow
	stoppedNow
)

func (s *Sender) send(ctx context.Context, one due) (outcome, error) {
	author := Who{Party: one.Studio, Member: one.Member, Side: StudioSide}
	if err := s.store.InTx(ctx, author, func(tx *Tx) (err error) { author, err = tx.author(ctx); return err }); err != nil {
		return goneMeanwhile, err
	}
	_, stopped, err := s.store.SendPending(ctx, author, one.ID)
	switch {
	case err == nil:
		return sentNow, nil
	case stopped != "":
		return stoppedNow, nil
	case errors.Is(err, ErrNotFound):
		return goneMeanwhile, nil
	}
	return goneMeanwhile, err
}

// author is the caller with the name and the roles that they have now; one who has left has none.
func (tx *Tx) author(ctx context.Context) (Who, error) {
	who := tx.Who
	err := tx.QueryRow(ctx, `SELECT m.name, CASE WHEN m.disabled_at IS NULL THEN m.roles ELSE '{}' END, p.name FROM ph.member m JOIN ph.party p ON p.id = m.party_id WHERE m.party_id = $1 AND m.id = $2`,
		who.Party, who.Member).Scan(&who.Name, &who.Roles, &who.PartyName)
	if err != nil {
		return who, fmt.Errorf("member %s: %w", who.Member, mapError(err))
	}
	return who, nil
}
