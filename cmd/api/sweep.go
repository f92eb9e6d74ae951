package main

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// orphanAge is how old an object must be, by the storage's clock, before anybody asks whether something speaks of it: what
// is being delivered or inspected now gets its row in a moment.
const orphanAge = 24 * time.Hour

// keeper tidies storage by the orders' rules: bytes of superseded deliveries go, and so do objects that nothing speaks of.
type keeper struct {
	clock   *ledger.Clock
	objects *storage.Store
	log     *slog.Logger

	removed, orphans, swept prometheus.Counter
}

func newKeeper(clock *ledger.Clock, objects *storage.Store, log *slog.Logger, reg prometheus.Registerer) *keeper {
	k := &keeper{clock: clock, objects: objects, log: log,
		removed: prometheus.NewCounter(prometheus.CounterOpts{Name: "proofhouse_removed_files_total", Help: "Files of superseded deliveries deleted by their order's rule."}),
		orphans: prometheus.NewCounter(prometheus.CounterOpts{Name: "proofhouse_orphans_seen_total", Help: "Objects found with nothing in the record that speaks of them, counted at each look."}),
		swept:   prometheus.NewCounter(prometheus.CounterOpts{Name: "proofhouse_orphans_swept_total", Help: "Of them, deleted after their wait."}),
	}
	reg.MustRegister(k.removed, k.orphans, k.swept)
	return k
}

// run tidies until ctx ends: by the rules each hour, and looks storage through for orphans once a day.
func (k *keeper) run(ctx context.Context) {
	tick := time.NewTicker(time.Hour)
	defer tick.Stop()
	for hour := 0; ; hour++ {
		if err := k.remove(ctx); err != nil && ctx.Err() == nil {
			k.log.ErrorContext(ctx, "superseded bytes stay for now", "error", err.Error())
		}
		if hour%24 == 1 {
			if err := k.sweepOrphans(ctx, time.Now()); err != nil && ctx.Err() == nil {
				k.log.ErrorContext(ctx, "storage was not looked through for orphans", "error", err.Error())
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// remove deletes what the orders' rules let go. The record says so before a byte goes.
func (k *keeper) remove(ctx context.Context) error {
	list, err := k.clock.Remove(ctx)
	if err != nil {
		return err
	}
	for _, one := range list {
		err = errors.Join(err, clearDelivery(ctx, k.clock, k.objects, one, func(ctx context.Context, one ledger.Swept) error {
			if err := k.clock.RemovalCleared(ctx, one); err != nil {
				return err
			}
			k.removed.Add(float64(len(one.Files)))
			k.log.InfoContext(ctx, "superseded bytes were removed by the order's rule", "delivery", one.Delivery.String(), "files", len(one.Files))
			return nil
		}))
	}
	return err
}

// sweepOrphans marks objects that nothing speaks of, and deletes those that have been so for long enough.
func (k *keeper) sweepOrphans(ctx context.Context, now time.Time) error {
	for _, prefix := range []string{"in/", "ref/", "wo/"} {
		err := k.objects.List(ctx, prefix, func(page []storage.Listed) error {
			old := make([]ledger.StoredObject, 0, len(page))
			for _, o := range page {
				if now.Sub(o.Modified) > orphanAge {
					old = append(old, ledger.StoredObject{Key: o.Key, Size: o.Size})
				}
			}
			n, err := k.clock.MarkOrphans(ctx, old)
			k.orphans.Add(float64(n))
			return err
		})
		if err != nil {
			return err
		}
	}
	for { // some at a time: a hold that comes meanwhile keeps the rest
		due, err := k.clock.Orphans(ctx)
		if err != nil || len(due) == 0 {
			return err
		}
		for _, key := range due {
			if err := k.objects.Delete(ctx, key); err != nil {
				return err
			}
			k.log.WarnContext(ctx, "an object that nothing spoke of was deleted", "key", key)
		}
		k.swept.Add(float64(len(due)))
		if err := k.clock.OrphansSwept(ctx, due); err != nil {
			return err
		}
	}
}
