package ledger

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// SavedView is a view of the list of props under a name, its maker's own.
type SavedView struct {
	ID    uuid.UUID
	Name  string
	Query string // of the list's address
	At    time.Time
}

const viewsMax = 50

// SaveView keeps a view under a name; one of the same name is replaced.
func (tx *Tx) SaveView(ctx context.Context, name, query string) (uuid.UUID, error) {
	name = strings.TrimSpace(name)
	switch {
	case name == "" || len([]rune(name)) > 60:
		return uuid.Nil, invalid("name", "needs 1 to 60 characters")
	case len(query) > 2000:
		return uuid.Nil, invalid("view", "is over 2000 characters")
	}
	var others int
	if err := tx.QueryRow(ctx, `SELECT count(*) FROM ph.saved_view WHERE party_id = $1 AND member_id = $2 AND name <> $3 AND NOT put_away`, tx.Who.Party, tx.Who.Member, name).Scan(&others); err != nil {
		return uuid.Nil, fmt.Errorf("save view: %w", err)
	}
	if others >= viewsMax {
		return uuid.Nil, fmt.Errorf("%w: you have %d saved views; put one away first", ErrState, others)
	}
	var id uuid.UUID
	err := tx.QueryRow(ctx, `INSERT INTO ph.saved_view (party_id, member_id, id, name, query) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (party_id, member_id, name) DO UPDATE SET query = excluded.query, at = now(), put_away = false RETURNING id`, tx.Who.Party, tx.Who.Member, newID(), name, query).Scan(&id)
	if err != nil {
		return uuid.Nil, fmt.Errorf("save view: %w", err)
	}
	return id, nil
}

// SavedViews lists the caller's own views by name.
func (tx *Tx) SavedViews(ctx context.Context) ([]SavedView, error) {
	rows, err := tx.Query(ctx, `SELECT id, name, query, at FROM ph.saved_view WHERE party_id = $1 AND member_id = $2 AND NOT put_away ORDER BY name, id`, tx.Who.Party, tx.Who.Member)
	if err != nil {
		return nil, fmt.Errorf("saved views: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[SavedView])
}

// PutViewAway takes one of the caller's own views out of the list.
func (tx *Tx) PutViewAway(ctx context.Context, id uuid.UUID) error {
	tag, err := tx.Exec(ctx, `UPDATE ph.saved_view SET put_away = true WHERE party_id = $1 AND member_id = $2 AND id = $3 AND NOT put_away`, tx.Who.Party, tx.Who.Member, id)
	if err != nil {
		return fmt.Errorf("put view away: %w", err)
	}
	if tag.RowsAffected() == 0 {
		return ErrNotFound
	}
	return nil
}
