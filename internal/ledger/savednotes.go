package ledger

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// SavedNote is a sentence that a studio says often, to be picked instead of typed.
type SavedNote struct {
	ID   uuid.UUID
	Text string
	By   string
	At   time.Time
}

// Bounds of saved notes: a list that is longer than this is no help any more.
const (
	savedNoteMax  = 1000
	savedNotesMax = 200
)

// SaveNote keeps a sentence for the whole studio. Saving it again is fine.
func (tx *Tx) SaveNote(ctx context.Context, text string) (SavedNote, error) {
	if err := tx.allow("saving notes", StudioSide); err != nil {
		return SavedNote{}, err
	}
	text = strings.TrimSpace(text)
	if n := len([]rune(text)); n < 1 || n > savedNoteMax {
		return SavedNote{}, invalid("text", "needs 1 to %d characters", savedNoteMax)
	}
	if _, err := tx.Exec(ctx, `INSERT INTO ph.saved_note (studio_id, id, text, by_member) VALUES ($1, $2, $3, $4) ON CONFLICT (studio_id, text) DO NOTHING`,
		tx.Who.Party, newID(), text, tx.Who.Member); err != nil {
		return SavedNote{}, fmt.Errorf("save a note: %w", err)
	}
	all, err := tx.savedNotes(ctx, `n.text = $2`, text)
	if err != nil || len(all) == 0 {
		return SavedNote{}, cmpErr(err, ErrNotFound)
	}
	return all[0], nil
}

// SavedNotes lists the studio's sentences in the order of the alphabet. Vendors have none.
func (tx *Tx) SavedNotes(ctx context.Context) ([]SavedNote, error) {
	if tx.Who.Side != StudioSide {
		return nil, nil
	}
	return tx.savedNotes(ctx, `true`)
}

func (tx *Tx) savedNotes(ctx context.Context, cond string, args ...any) ([]SavedNote, error) {
	rows, err := tx.Query(ctx, fmt.Sprintf(`SELECT n.id, n.text, coalesce(b.name, ''), n.at FROM ph.saved_note n
		LEFT JOIN ph.member b ON b.party_id = n.studio_id AND b.id = n.by_member WHERE n.studio_id = $1 AND %s ORDER BY n.text, n.id LIMIT %d`, cond, savedNotesMax),
		append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("saved notes: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[SavedNote])
}

// DropSavedNote takes a sentence off the list.
func (tx *Tx) DropSavedNote(ctx context.Context, id uuid.UUID) error {
	if err := tx.allow("saving notes", StudioSide); err != nil {
		return err
	}
	tag, err := tx.Exec(ctx, `DELETE FROM ph.saved_note WHERE studio_id = $1 AND id = $2`, tx.Who.Party, id)
	if err != nil {
		return fmt.Errorf("drop saved note %s: %w", id, err)
	}
	if tag.RowsAffected() == 0 {
		return ErrNotFound
	}
	return nil
}
