package main

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
)

// clockMayDiffer is how far this machine's clock may be from the database's: links are signed by the one, leases, sessions and
// facts go by the other.
const clockMayDiffer = 5 * time.Second

// clockReady says whether the clocks of this machine and of the database agree.
func clockReady(pool *pgxpool.Pool) func(context.Context) error {
	return clocksAgree(func(ctx context.Context) (at time.Time, err error) {
		err = pool.QueryRow(ctx, `SELECT clock_timestamp()`).Scan(&at)
		return at, err
	})
}

func clocksAgree(theirs func(context.Context) (time.Time, error)) func(context.Context) error {
	return func(ctx context.Context) error {
		before := time.Now()
		at, err := theirs(ctx)
		if err != nil {
			return fmt.Errorf("ask the database for the time: %w", err)
		}
		after := time.Now()
		// The answer was given at some time between the two.
		if off := at.Sub(after); off > clockMayDiffer {
			return fmt.Errorf("this machine's clock is %s behind the database's", off.Round(time.Second))
		}
		if off := before.Sub(at); off > clockMayDiffer {
			return fmt.Errorf("this machine's clock is %s ahead of the database's", off.Round(time.Second))
		}
		return nil
	}
}
