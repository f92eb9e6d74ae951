package ledger

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// News is one thing that the caller's party was told. Seq grows without gaps in the order in which it was told, so that
// reading on from the last one seen misses nothing.
type News struct {
	Seq  int64
	ID   uuid.UUID
	Kind string
	At   time.Time
	Body []byte // a NewsBody in JSON, as hooks are sent it
}

const newsPage = 200

// News lists what the caller's party was told after a place in its feed, oldest first, 200 at most.
func (tx *Tx) News(ctx context.Context, after int64) ([]News, error) {
	rows, err := tx.Query(ctx, `SELECT seq, id, kind, at, body FROM ph.news WHERE party_id = $1 AND seq > $2 ORDER BY seq LIMIT $3`, tx.Who.Party, after, newsPage)
	if err != nil {
		return nil, fmt.Errorf("news: %w", err)
	}
	list, err := pgx.CollectRows(rows, scanNews)
	if err != nil {
		return nil, fmt.Errorf("news: %w", err)
	}
	return list, nil
}

func scanNews(row pgx.CollectableRow) (n News, err error) {
	var body string
	err = row.Scan(&n.Seq, &n.ID, &n.Kind, &n.At, &body)
	n.Body = []byte(body)
	return n, err
}

// NewsEnd is the place of the newest news of the caller's party; 0 where there are none.
func (tx *Tx) NewsEnd(ctx context.Context) (end int64, err error) {
	if err := tx.QueryRow(ctx, `SELECT coalesce(max(seq), 0) FROM ph.news WHERE party_id = $1`, tx.Who.Party).Scan(&end); err != nil {
		return 0, fmt.Errorf("news: %w", err)
	}
	return end, nil
}

// Report tells those who look on how far an inspection is.
func (w *Worker) Report(ctx context.Context, p Progress) error {
	b, err := json.Marshal(p)
	if err != nil {
		return fmt.Errorf("report progress: %w", err)
	}
	if _, err := w.pool.Exec(ctx, `SELECT pg_notify($1, $2)`, ProgressChannel, string(b)); err != nil {
		return fmt.Errorf("report progress: %w", err)
	}
	return nil
}

// Progress is how far a running inspection is: told to those who look on, and kept nowhere.
type Progress struct {
	Studio     uuid.UUID `json:"studio"`
	Vendor     uuid.UUID `json:"vendor"`
	Inspection uuid.UUID `json:"inspection"`
	Delivery   uuid.UUID `json:"delivery"`
	Prop       uuid.UUID `json:"prop"`
	Stage      string    `json:"stage"`           // fetching, hashing, reading, checking, pictures, storing, done
	Check      string    `json:"check,omitempty"` // that is being made
	Done       float64   `json:"done"`            // share of the whole, 0 to 1
}
