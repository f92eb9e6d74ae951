package seed

import (
	"context"
	"fmt"
	"strings"
	"sync"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"
)

func isForeign(m made) bool { return strings.Contains(m.make, " FOREIGN KEY ") }

// tableOf is the table that a statement changes: two statements on one table would wait for each other.
func tableOf(statement string) string {
	for _, word := range strings.Fields(statement) {
		if strings.HasPrefix(word, "ph.") {
			return word
		}
	}
	return ""
}

// inParallel runs the statements that make things, those of one table one after the other.
func inParallel(ctx context.Context, connect func() (*pgx.Conn, error), list []made, workers int) error {
	by := map[string][]string{}
	var tables []string
	for _, m := range list {
		t := tableOf(m.make)
		if by[t] == nil {
			tables = append(tables, t)
		}
		by[t] = append(by[t], m.make)
	}
	var mu sync.Mutex
	next := func() ([]string, bool) {
		mu.Lock()
		defer mu.Unlock()
		if len(tables) == 0 {
			return nil, false
		}
		t := tables[0]
		tables = tables[1:]
		return by[t], true
	}
	group, ctx := errgroup.WithContext(ctx)
	for range workers {
		group.Go(func() error {
			conn, err := connect()
			if err != nil {
				return err
			}
			defer conn.Close(context.WithoutCancel(ctx))
			if _, err := conn.Exec(ctx, `SET maintenance_work_mem = '1GB'; SET work_mem = '512MB'; SET max_parallel_maintenance_workers = 1; SET statement_timeout = 0`); err != nil {
				return err
			}
			for list, ok := next(); ok; list, ok = next() {
				for _, statement := range list {
					if _, err := conn.Exec(ctx, statement); err != nil {
						return fmt.Errorf("%s: %w", statement, err)
					}
				}
			}
			return nil
		})
	}
	return group.Wait()
}
