package ledger

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// Listen hears NewsChannel and ProgressChannel on one connection of its own until ctx ends, and connects again whenever it
// is lost. address must lead to the server itself: LISTEN does not work behind a pooler of transactions. listening is told
// whether it hears at the moment; what was said while it did not is not made up for, so readers look again when it hears.
func Listen(ctx context.Context, address string, listening func(yes bool, why error), heard func(channel, payload string)) {
	for ctx.Err() == nil {
		err := listenOnce(ctx, address, listening, heard)
		listening(false, err)
		select {
		case <-ctx.Done():
		case <-time.After(listenPause):
		}
	}
}

const listenPause = 2 * time.Second

func listenOnce(ctx context.Context, address string, listening func(bool, error), heard func(channel, payload string)) error {
	conn, err := pgx.Connect(ctx, address)
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if _, err := conn.Exec(ctx, `LISTEN `+NewsChannel+`; LISTEN `+ProgressChannel); err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	listening(true, nil)
	for {
		n, err := conn.WaitForNotification(ctx)
		if err != nil {
			return fmt.Errorf("listen: %w", err)
		}
		heard(n.Channel, n.Payload)
	}
}
