package ledger

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// hookPauses are the pauses after each failed attempt: those that Standard Webhooks suggests (spec, section "Deliverability
// and reliability"), from memory. Each is drawn 20 % longer or shorter, so that what failed together does not come together.
var hookPauses = []time.Duration{5 * time.Second, 5 * time.Minute, 30 * time.Minute, 2 * time.Hour, 5 * time.Hour, 10 * time.Hour, 14 * time.Hour, 20 * time.Hour, 24 * time.Hour}

const (
	hookClaim     = time.Minute // longer than one attempt can take
	hookAtOnce    = 4           // messages to one hook at a time
	hookPatience  = 5 * 24 * time.Hour
	statusGone    = 410 // Standard Webhooks: the receiver wants no more
	problemLength = 1000
)

// Sending is one message that this process has claimed.
type Sending struct {
	Party, Hook, ID uuid.UUID
	MessageID       uuid.UUID
	Kind            string
	URL             string
	Body            []byte
	Secrets         [][]byte // that sign, newest first; none: they cannot be opened, and nothing is to be sent
	Number          int      // of this attempt, in all
	tries           int
}

// A message waits for the earlier ones of the same subject, so that a receiver learns of each subject in order. A claim that
// its process did not live to answer lapses. Indexes: hook_send_due, hook_send_line.
const claimSends = `
WITH next AS (
  SELECT h.party_id, h.id AS hook_id, h.url, h.secret, CASE WHEN h.previous_until > now() THEN h.previous END AS previous, x.id
  FROM ph.hook h
  CROSS JOIN LATERAL (SELECT s.id FROM ph.hook_send s
    WHERE s.party_id = h.party_id AND s.hook_id = h.id AND s.state = 'due' AND s.next_at <= now() AND (s.claimed_until IS NULL OR s.claimed_until < now())
      AND NOT EXISTS (SELECT FROM ph.hook_send e WHERE e.party_id = s.party_id AND e.hook_id = s.hook_id AND e.subject_id = s.subject_id AND e.state = 'due' AND e.seq < s.seq)
    ORDER BY s.next_at, s.id
    LIMIT greatest(0, $1 - (SELECT count(*) FROM ph.hook_send b WHERE b.party_id = h.party_id AND b.hook_id = h.id AND b.state = 'due' AND b.claimed_until >= now()))
    FOR UPDATE OF s SKIP LOCKED) x
  WHERE h.disabled_at IS NULL AND h.removed_at IS NULL
  LIMIT $2
)
UPDATE ph.hook_send s SET claimed_until = now() + $3::interval, attempts = s.attempts + 1, tries = s.tries + 1
FROM next WHERE s.party_id = next.party_id AND s.id = next.id
RETURNING s.party_id, s.hook_id, s.id, s.message_id, s.kind, next.url, next.secret, next.previous, s.attempts, s.tries, s.created_at,
  coalesce((SELECT n.body FROM ph.news n WHERE n.party_id = s.party_id AND n.seq = s.seq), '')`

// ClaimSends takes up to limit messages that are due. Each is to be answered with Sent within a minute.
func (p *Post) ClaimSends(ctx context.Context, limit int) (list []Sending, err error) {
	err = p.inTx(ctx, func(tx *Tx) error {
		rows, err := tx.Query(ctx, claimSends, hookAtOnce, limit, hookClaim)
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (s Sending, err error) {
			var secret, previous []byte
			var body string
			var made time.Time
			if err := row.Scan(&s.Party, &s.Hook, &s.ID, &s.MessageID, &s.Kind, &s.URL, &secret, &previous, &s.Number, &s.tries, &made, &body); err != nil {
				return s, err
			}
			if s.Body = []byte(body); s.Kind == NewsPing {
				s.Body, _ = json.Marshal(map[string]any{"type": NewsPing, "timestamp": stamp(made), "data": map[string]any{}}) // cannot fail
			}
			for _, sealed := range [][]byte{secret, previous} {
				if sealed == nil {
					continue
				}
				plain, err := p.key.open(s.Hook, sealed)
				if err != nil { // of this webhook alone: the others are sent all the same
					s.Secrets = nil
					break
				}
				s.Secrets = append(s.Secrets, plain)
			}
			return s, nil
		})
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("claim messages: %w", err)
	}
	return list, nil
}

// Sent records an attempt. A 2xx ends the message; anything else is tried again, later each time, and given up after the
// last pause. A hook to which nothing arrived for five days, or that answered 410, is switched off, and who made it gets a
// mail.
func (p *Post) Sent(ctx context.Context, s Sending, a Attempt) error {
	ok := a.Status != nil && *a.Status >= 200 && *a.Status < 300
	err := p.inTx(ctx, func(tx *Tx) error {
		if _, err := tx.Exec(ctx, `INSERT INTO ph.hook_attempt (party_id, hook_id, send_id, number, status, problem, excerpt, took_ms) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
			ON CONFLICT DO NOTHING`, s.Party, s.Hook, s.ID, s.Number, a.Status, clip(a.Problem, problemLength), clip(a.Excerpt, problemLength), a.TookMS); err != nil {
			return err
		}
		state, pause := "sent", time.Duration(0)
		if !ok {
			state = "given_up"
			if s.tries <= len(hookPauses) {
				state, pause = "due", jittered(hookPauses[s.tries-1])
			}
		}
		// attempts is the fence: another process may have claimed it meanwhile.
		if _, err := tx.Exec(ctx, `UPDATE ph.hook_send SET state = $4, next_at = now() + $5::interval, claimed_until = NULL, done_at = CASE WHEN $4 = 'due' THEN NULL ELSE now() END
			WHERE party_id = $1 AND id = $2 AND attempts = $3 AND state = 'due'`, s.Party, s.ID, s.Number, state, pause); err != nil {
			return err
		}
		return tx.hookFared(ctx, s, ok, a.Status != nil && *a.Status == statusGone)
	})
	if err != nil {
		return fmt.Errorf("record attempt %d of message %s: %w", s.Number, s.ID, err)
	}
	return nil
}

func (tx *Tx) hookFared(ctx context.Context, s Sending, ok, gone bool) error {
	if ok {
		_, err := tx.Exec(ctx, `UPDATE ph.hook SET failing_since = NULL WHERE party_id = $1 AND id = $2 AND failing_since IS NOT NULL`, s.Party, s.Hook)
		return err
	}
	var why *string
	err := tx.QueryRow(ctx, `UPDATE ph.hook SET failing_since = coalesce(failing_since, now()),
		disabled_at = CASE WHEN $3 OR failing_since < now() - $4::interval THEN now() END,
		disabled_why = CASE WHEN $3 THEN 'gone' WHEN failing_since < now() - $4::interval THEN 'failing' END
		WHERE party_id = $1 AND id = $2 AND disabled_at IS NULL RETURNING disabled_why`, s.Party, s.Hook, gone, hookPatience).Scan(&why)
	if mapError(err) == ErrNotFound || (err == nil && why == nil) {
		return nil
	}
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `INSERT INTO ph.mail (id, party_id, member_id, address, kind, about, cause)
		SELECT $3, m.party_id, m.id, m.email, 'hook_disabled', jsonb_build_object('hook', h.id, 'url', h.url, 'why', h.disabled_why), 'hook ' || h.id || ' ' || h.disabled_at
		FROM ph.hook h JOIN ph.member m ON m.party_id = h.party_id AND m.id = h.made_by AND m.disabled_at IS NULL WHERE h.party_id = $1 AND h.id = $2
		ON CONFLICT (cause) DO NOTHING`, s.Party, s.Hook, newID())
	return err
}

// jittered is a pause 20 % longer or shorter at most.
func jittered(pause time.Duration) time.Duration {
	return time.Duration(float64(pause) * (0.8 + 0.4*rand.Float64()))
}

// clip is the first n characters of what may be any bytes.
func clip(text string, n int) string {
	out := make([]rune, 0, n)
	for _, r := range text {
		if len(out) == n {
			break
		}
		if r == 0 {
			r = '\uFFFD' // PostgreSQL's text has no NUL
		}
		out = append(out, r)
	}
	return string(out)
}
