package ledger

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
)

// Store opens transactions for callers of the API and the pages. Its pool's role is ph_api.
type Store struct {
	pool     *pgxpool.Pool
	wake     waker
	postKey  PostKey // of the mails that invite; none: no mail
	proofFor time.Duration
	memo     memo
}

// waker enqueues tickets for the workers in the caller's transaction.
type waker func(ctx context.Context, tx pgx.Tx, tickets int) error

// NewStore makes a store over a pool of role ph_api.
func NewStore(pool *pgxpool.Pool) (*Store, error) {
	client := riverClient(pool)
	if _, err := client(); err != nil {
		return nil, fmt.Errorf("ledger: job queue: %w", err)
	}
	return &Store{pool: pool, wake: wakeWith(client), proofFor: ProofFor}, nil
}

// WakeArgs is the River job that wakes a worker: a ticket, which does not say which inspection.
type WakeArgs struct {
	Ticket uuid.UUID `json:"ticket"`
}

// Kind names the job for River.
func (WakeArgs) Kind() string { return "inspection_wake" }

// riverClient is an insert-only client, made on first use.
func riverClient(pool *pgxpool.Pool) func() (*river.Client[pgx.Tx], error) {
	return sync.OnceValues(func() (*river.Client[pgx.Tx], error) {
		return river.NewClient(riverpgxv5.New(pool), &river.Config{Schema: RiverSchema})
	})
}

func wakeWith(client func() (*river.Client[pgx.Tx], error)) waker {
	return func(ctx context.Context, tx pgx.Tx, tickets int) error {
		c, err := client()
		if err != nil {
			return fmt.Errorf("job queue: %w", err)
		}
		jobs := make([]river.InsertManyParams, tickets)
		for i := range jobs {
			jobs[i].Args = WakeArgs{Ticket: newID()}
		}
		_, err = c.InsertManyTx(ctx, tx, jobs)
		return err
	}
}

// Ready says whether the database answers and has a schema that this program can serve.
func (s *Store) Ready(ctx context.Context) error { return checkSchema(ctx, s.pool) }

// Tx is a transaction on behalf of one caller. Row-level security limits it to what the caller may see.
type Tx struct {
	pgx.Tx // late, or a savepoint in it
	Who    Who

	late *lateTx

	wake     waker
	postKey  PostKey
	proofFor time.Duration
	facts    []pendingFact // appended to their logs just before the commit
	tickets  int           // that wake workers, made with the facts
	sealing  *sealLock     // asked for ahead of time
	receipts []wantedReceipt

	memo *memo // of a transaction that cannot write; else nil
	at   *position
}

// InTx runs fn in a transaction as the caller who. It commits when fn returns nil. fn runs again after a serialisation
// failure or a deadlock. Errors of fn come back as they are; errors of the database as kinds of this package.
func (s *Store) InTx(ctx context.Context, who Who, fn func(tx *Tx) error) error {
	if err := checkWho(who); err != nil {
		return err
	}
	return retry(ctx, func() error {
		return runTx(ctx, s.pool, who, "BEGIN", s.wake, func(tx *Tx) error { tx.postKey, tx.proofFor = s.postKey, s.proofFor; return fn(tx) })
	})
}

// Reading is InTx for a caller who writes nothing: the database refuses it. What such a transaction adds up over many rows is kept until
// a fact is added to the logs that it comes from.
func (s *Store) Reading(ctx context.Context, who Who, fn func(tx *Tx) error) error {
	if err := checkWho(who); err != nil {
		return err
	}
	return retry(ctx, func() error {
		return runTx(ctx, s.pool, who, "BEGIN READ ONLY", s.wake, func(tx *Tx) error { tx.memo = &s.memo; return fn(tx) })
	})
}

// CommitWithNext lets COMMIT go out with the next statement or batch of an act that asks the database once and has no fact.
func (tx *Tx) CommitWithNext() { tx.late.commitWithNext() }

// UsePost lets invitations go out by mail. Call it before the store is used.
func (s *Store) UsePost(key PostKey) { s.postKey = key }

// InSnapshot is InTx over one snapshot of the database, read only: for Bundle and Verify, whose many statements have to
// see one state.
func (s *Store) InSnapshot(ctx context.Context, who Who, fn func(tx *Tx) error) error {
	if err := checkWho(who); err != nil {
		return err
	}
	return retry(ctx, func() error {
		return runTx(ctx, s.pool, who, "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY", s.wake, fn)
	})
}

func checkWho(who Who) error {
	if who.Party == uuid.Nil || who.Member == uuid.Nil || (who.Side != StudioSide && who.Side != VendorSide) {
		return fmt.Errorf("%w: no caller", ErrCredentials)
	}
	return nil
}

// runTx is one attempt. A zero who is the machine: a role whose policies do not ask who calls.
func runTx(ctx context.Context, pool *pgxpool.Pool, who Who, begin string, wake waker, fn func(tx *Tx) error) error {
	var settings []lateStatement
	if who.Party != uuid.Nil {
		settings = []lateStatement{{doing: "caller", sql: `SELECT set_config('app.' || $1, $2, true), set_config('app.member', $3, true)`,
			args: []any{string(who.Side), who.Party.String(), who.Member.String()}}}
	}
	raw, err := beginLate(ctx, pool, begin, settings...)
	if err != nil {
		return fmt.Errorf("begin: %w", err)
	}
	tx := &Tx{Tx: raw, late: raw, Who: who, wake: wake}
	done := false
	defer func() {
		if !done { // also on panic; a fresh, short context, since ctx may be why we are here
			short, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
			defer cancel()
			_ = raw.Rollback(short)
		}
	}()
	if err := fn(tx); err != nil {
		return mapError(err)
	}
	if err := tx.appendFacts(ctx); err != nil {
		return fmt.Errorf("append to the log: %w", mapError(err))
	}
	if err := raw.Commit(ctx); err != nil {
		return fmt.Errorf("commit: %w", mapError(err))
	}
	done = true
	return nil
}

const (
	retryAttempts = 6
	retryPause    = 5 * time.Millisecond // doubles each time, with jitter: 155 ms in all at most
)

// retry runs fn again after a serialisation failure, a deadlock, or a role changed by two at a time.
func retry(ctx context.Context, fn func() error) error {
	pause := retryPause
	for attempt := 1; ; attempt++ {
		err := fn()
		if err == nil || attempt == retryAttempts || !retryable(err) {
			return err
		}
		timer := time.NewTimer(time.Duration(rand.Int64N(int64(pause))) + pause/2)
		select {
		case <-ctx.Done():
			timer.Stop()
			return err
		case <-timer.C:
		}
		pause *= 2
	}
}

func retryable(err error) bool {
	if isCode(err, "40001", "40P01", "55P03") { // serialization_failure, deadlock_detected, lock_not_available
		return true
	}
	var pg *pgconn.PgError
	return errors.As(err, &pg) && pg.Code == "XX000" && pg.Message == "tuple concurrently updated"
}

func isCode(err error, codes ...string) bool {
	var pg *pgconn.PgError
	if !errors.As(err, &pg) {
		return false
	}
	for _, c := range codes {
		if pg.Code == c {
			return true
		}
	}
	return false
}

// constraintKinds says what kind of failure a named constraint is, where the SQLSTATE's own kind is not it.
var constraintKinds = map[string]error{
	"milestone_move_known":         ErrState,
	"move_known":                   ErrState,
	"change_of_finished_milestone": ErrState,
	"delivery_move_known":          ErrState,
	"file_frozen":                  ErrState,
	"inspection_recorded_once":     ErrState,
	"sign_off_not_by_own_hand":     ErrForbidden,
	"inspection_under_way_key":     ErrState,
	"sign_off_once":                ErrState,
	"milestone_begins_open":        ErrState,
	"delivery_begins_open":         ErrState,
	"inspection_begins_queued":     ErrState,
	"invitation_of_engaged_vendor": ErrNotFound,
}

// mapError turns the driver's errors into this package's kinds, once, at this edge. The driver's error stays wrapped.
func mapError(err error) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return ErrNotFound
	}
	var pg *pgconn.PgError
	if !errors.As(err, &pg) || errors.Is(err, errMapped) {
		return err
	}
	kind := constraintKinds[pg.ConstraintName]
	if kind == nil {
		switch pg.Code {
		case "23505": // unique_violation
			kind = ErrConflict
		case "23503": // foreign_key_violation: the other end is not there, or is another party's
			kind = ErrNotFound
		case "42501": // insufficient_privilege, and a row that a policy refuses
			kind = ErrForbidden
		case "23514", "23502", "22001", "22021", "22P05": // check, not null, too long, not text
			kind = ErrInvalid
		default:
			return err
		}
	}
	return &dbError{kind: kind, constraint: pg.ConstraintName, err: err}
}

var errMapped = errors.New("mapped")

type dbError struct {
	kind       error
	constraint string
	err        error
}

func (e *dbError) Error() string {
	if e.constraint != "" {
		return e.kind.Error() + ": " + e.constraint
	}
	return e.kind.Error()
}
func (e *dbError) Is(target error) bool { return target == e.kind || target == errMapped }
func (e *dbError) Unwrap() error        { return e.err }

// newID is a UUIDv7 (RFC 9562): sorted by time, made here and not in the database.
func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }
