package main

import (
	"context"
	"log/slog"
	"time"

	"golang.org/x/sync/errgroup"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/post"
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
	pool, err := c.pool(ctx, c.database.post, 0)
	if err != nil {
		return err
	}
	told := ledger.NewPost(pool, c.key())
	hooks := post.NewHooks(told, c.outward(), log)
	group.Go(func() error {
		defer pool.Close()
		carrying, ctx := errgroup.WithContext(ctx)
		carrying.Go(func() error { return hooks.Run(ctx) })
		if c.smtp != "" {
			server, err := post.ParseSMTP(string(c.smtp), c.mailFrom)
			if err != nil {
				return err
			}
			carrying.Go(func() error { return post.NewMails(told, server, c.publicURL, log).Run(ctx) })
		}
		carrying.Go(func() error {
			return told.Run(ctx, tellEvery, func(err error) {
				log.ErrorContext(ctx, "what happened was not told; trying again", "error", err.Error())
			})
		})
		return carrying.Wait()
	})
	return nil
}

// key seals the secrets of webhooks; serveFaults has refused one that cannot be read.
func (c config) key() ledger.PostKey {
	key, _ := ledger.ParsePostKey(string(c.postKey))
	return key
}
