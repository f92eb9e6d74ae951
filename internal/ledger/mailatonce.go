package ledger

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// How says how a person is told by mail.
type How string

// The ways.
const (
	AtOnce   How = "at_once"
	InDigest How = "digest" // with everything else, each morning
	Never    How = "never"
)

// gather is how long news wait for more, so that forty decisions make one mail.
const gather = 30 * time.Second

// addressee is a member whom the post may mail.
type addressee struct {
	Party, ID uuid.UUID
	Email     string
	Roles     []Role
	Choices   map[Topic]How
}

// how is how a person is told of one piece of news, by their choice or, without one, by the topic's own rule: at once what
// was decided about one's own delivery, and what silence is about to accept, for those who could decide; the rest in the
// digest.
func (a addressee) how(topic Topic, sender bool) How {
	if how, ok := a.Choices[topic]; ok {
		return how
	}
	switch {
	case topic == TopicDecision && sender,
		topic == TopicSilence && slices.ContainsFunc(a.Roles, func(r Role) bool { return r == ArtDirector || r == ArtLead || r == Producer }):
		return AtOnce
	}
	return InDigest
}

// mailAtOnce lines up the mails for what people are to be told at once: one for each person, whatever the number of news.
// What one's own side did is no news.
func (tx *Tx) mailAtOnce(ctx context.Context, items []newsItem) error {
	by := map[uuid.UUID][]newsItem{}
	for _, i := range items {
		if string(i.actor) != string(i.side) {
			by[i.party] = append(by[i.party], i)
		}
	}
	for _, party := range sortedKeys(by) {
		people, err := tx.addressees(ctx, party)
		if err != nil {
			return err
		}
		for _, a := range people {
			var seqs []int64
			for _, i := range by[party] {
				if a.how(TopicOf(i.kind), slices.Contains(i.sender, a.ID)) == AtOnce {
					seqs = append(seqs, i.seq)
				}
			}
			if len(seqs) == 0 {
				continue
			}
			if err := tx.mailNews(ctx, a, seqs); err != nil {
				return fmt.Errorf("mail member %s: %w", a.ID, err)
			}
		}
	}
	return nil
}

// mailNews adds news to a mail that still waits for more, or begins one.
func (tx *Tx) mailNews(ctx context.Context, a addressee, seqs []int64) error {
	tag, err := tx.Exec(ctx, `UPDATE ph.mail SET about = jsonb_set(about, '{seqs}', (about -> 'seqs') || to_jsonb($3::bigint[]))
		WHERE id = (SELECT id FROM ph.mail WHERE party_id = $1 AND member_id = $2 AND kind = 'news' AND state = 'due' AND tries = 0 AND next_at > now() ORDER BY id LIMIT 1 FOR UPDATE SKIP LOCKED)`,
		a.Party, a.ID, seqs)
	if err != nil || tag.RowsAffected() > 0 {
		return err
	}
	_, err = tx.Exec(ctx, `INSERT INTO ph.mail (id, party_id, member_id, address, kind, about, cause, next_at)
		VALUES ($1, $2, $3, $4, 'news', jsonb_build_object('seqs', $5::bigint[]), $6, now() + $7::interval) ON CONFLICT (cause) DO NOTHING`,
		newID(), a.Party, a.ID, a.Email, seqs, fmt.Sprintf("news %s %d", a.ID, seqs[0]), gather)
	return err
}

// addressees are a party's members who have not left, with what they chose.
func (tx *Tx) addressees(ctx context.Context, party uuid.UUID) ([]addressee, error) {
	rows, err := tx.Query(ctx, `SELECT m.party_id, m.id, m.email, m.roles,
		(SELECT coalesce(jsonb_object_agg(c.topic, c.how), '{}') FROM ph.mail_choice c WHERE c.party_id = m.party_id AND c.member_id = m.id)
		FROM ph.member m WHERE m.party_id = $1 AND m.disabled_at IS NULL ORDER BY m.id`, party)
	if err != nil {
		return nil, fmt.Errorf("members of %s: %w", party, err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[addressee])
}
