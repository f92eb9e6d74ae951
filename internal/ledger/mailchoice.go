package ledger

import (
	"context"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"
)

// MailChoices is what the caller chose, by topic. A topic without an entry follows its own rule.
func (tx *Tx) MailChoices(ctx context.Context) (map[Topic]How, error) {
	rows, err := tx.Query(ctx, `SELECT topic, how FROM ph.mail_choice WHERE party_id = $1 AND member_id = $2`, tx.Who.Party, tx.Who.Member)
	if err != nil {
		return nil, fmt.Errorf("choices of mail: %w", err)
	}
	out := map[Topic]How{}
	var topic Topic
	var how How
	_, err = pgx.ForEachRow(rows, []any{&topic, &how}, func() error { out[topic] = how; return nil })
	return out, err
}

// ChooseMail says how the caller wants to be told of some topics.
func (tx *Tx) ChooseMail(ctx context.Context, choices map[Topic]How) error {
	for topic, how := range choices {
		if !slices.Contains(Topics, topic) || !slices.Contains([]How{AtOnce, InDigest, Never}, how) {
			return invalid("choices", "has one that is not known")
		}
		if _, err := tx.Exec(ctx, `INSERT INTO ph.mail_choice (party_id, member_id, topic, how) VALUES ($1, $2, $3, $4)
			ON CONFLICT (party_id, member_id, topic) DO UPDATE SET how = excluded.how`, tx.Who.Party, tx.Who.Member, topic, how); err != nil {
			return fmt.Errorf("choose mail: %w", err)
		}
	}
	return nil
}
