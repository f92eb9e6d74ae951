package main

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"golang.org/x/sync/errgroup"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
)

const tellEvery = 250 * time.Millisecond // how soon an act is told

// startStreams wakes the event streams of this process, by one connection that listens. It leads past a pooler.
func (c config) startStreams(ctx context.Context, group *errgroup.Group, live *httpapi.Streams, log *slog.Logger) {
	address := c.database.direct
	if address == "" {
		address = c.database.api
	}
	group.Go(func() error {
		live.Run(ctx, string(address), func(err error) {
			log.WarnContext(ctx, "event streams are out of hearing of the database and look each second", "error", err.Error())
		})
		return nil
	})
}

// startPost tells programs and people what happened, where this process has the role for it.
func (c config) startPost(ctx context.Context, group *errgroup.Group, log *slog.Logger) error {
	if c.database.post == "" {
		return nil
	}
	key, err := ledger.ParsePostKey(string(c.postKey))
	if err != nil {
		return fmt.Errorf("POST_KEY: %w", err)
	}
	pool, err := c.pool(ctx, c.database.post)
	if err != nil {
		return err
	}
	post := ledger.NewPost(pool, key)
	group.Go(func() error {
		defer pool.Close()
		return post.Run(ctx, tellEvery, func(err error) {
			log.ErrorContext(ctx, "what happened was not told; trying again", "error", err.Error())
		})
	})
	return nil
}
