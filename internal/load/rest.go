package main

import (
	"context"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/jackc/pgx/v5"
)

// What a service that has run for a day has behind it, and a ledger drawn a minute ago has not.
const (
	untoldFacts = `SELECT coalesce(sum(size - told_size), 0) FROM ph.log`
	restLimit   = 30 * time.Minute
	fewUntold   = 200
)

// rest brings the ledger to where a service that has run for a day stands: its members are told of every fact, no table waits
// for a vacuum, and the database's files have been read once, so that they lie in the machine's memory as far as it goes.
// Otherwise the first minutes measure how fast a disk gives up a backlog.
func rest(ctx context.Context, conn *pgx.Conn, dir string) error {
	began := time.Now()
	var said time.Time
	for {
		var left int64
		if err := conn.QueryRow(ctx, untoldFacts).Scan(&left); err != nil {
			return err
		}
		if left <= fewUntold {
			break
		}
		if time.Since(began) > restLimit {
			return fmt.Errorf("%d facts are still to be told after %s", left, restLimit)
		}
		if time.Since(said) > 30*time.Second {
			said = time.Now()
			say("waiting until members are told of %d facts", left)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(time.Second):
		}
	}
	say("vacuum")
	if _, err := conn.Exec(ctx, `VACUUM (ANALYZE)`); err != nil {
		return fmt.Errorf("vacuum: %w", err)
	}
	if _, err := conn.Exec(ctx, `CHECKPOINT`); err != nil {
		return fmt.Errorf("checkpoint: %w", err)
	}
	say("reading the database's files")
	n, err := readFiles(filepath.Join(dir, "postgres", "data", "base"))
	say("at rest after %.0f s, %d MB of files read", time.Since(began).Seconds(), n>>20)
	return err
}

// readFiles reads every file below a folder and says how many bytes they have.
func readFiles(root string) (n int64, err error) {
	err = filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		f, err := os.Open(path)
		if err != nil {
			return nil // gone since: a temporary file
		}
		defer f.Close()
		m, err := io.Copy(io.Discard, f)
		n += m
		return err
	})
	return n, err
}
