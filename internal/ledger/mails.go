package ledger

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// mailPauses are the pauses after a mail that could not be handed over: two days in all. Common practice, no source.
var mailPauses = []time.Duration{time.Minute, 5 * time.Minute, 30 * time.Minute, 2 * time.Hour, 6 * time.Hour, 12 * time.Hour, 24 * time.Hour}

const (
	mailClaim  = 2 * time.Minute
	mailStale  = 3 * 24 * time.Hour // what nobody sent by then is dropped: it says nothing new
	keepNews   = 90 * 24 * time.Hour
	sweepLimit = 10000
)

// Letter is one mail that this process has claimed.
type Letter struct {
	ID       uuid.UUID
	Party    uuid.UUID
	Member   uuid.UUID // nil: somebody who is invited
	Kind     string    // invitation, reset, locked, door, news, digest, hook_disabled
	Address  string
	Name     string
	Of       string // the party's name
	Language string // a tag of BCP 47; "" where nothing is known
	Zone     string
	News     []News // of news and digest, oldest first
	Secret   string // of an invitation and a reset: for their link
	Until    time.Time
	Day      string // of a digest
	URL      string // of a webhook that was switched off
	Why      string // of that; and of a door: password, identity, token
	Stop     string // for the link of one click
	tries    int
}

// Outcome is how handing a mail over went.
type Outcome struct {
	Refused bool   // the address: it is not tried again
	Problem string // "" where it was taken
}

// ClaimMails takes up to limit mails that are due. Each is to be answered with Mailed within two minutes.
func (p *Post) ClaimMails(ctx context.Context, limit int) (list []Letter, err error) {
	err = p.inTx(ctx, func(tx *Tx) error {
		rows, err := tx.Query(ctx, `WITH next AS (
				SELECT id FROM ph.mail WHERE state = 'due' AND next_at <= now() AND (claimed_until IS NULL OR claimed_until < now()) ORDER BY next_at, id LIMIT $1 FOR UPDATE SKIP LOCKED
			)
			UPDATE ph.mail m SET claimed_until = now() + $2::interval, tries = m.tries + 1 FROM next WHERE m.id = next.id
			RETURNING m.id, m.party_id, m.member_id, m.kind, m.address, m.tries, m.about`, limit, mailClaim)
		if err != nil {
			return err
		}
		type claimed struct {
			ID, Party uuid.UUID
			Member    *uuid.UUID
			Kind      string
			Address   string
			Tries     int
			About     letterAbout
		}
		mails, err := pgx.CollectRows(rows, pgx.RowToStructByPos[claimed])
		if err != nil {
			return err
		}
		list = nil
		for _, m := range mails {
			l := Letter{ID: m.ID, Party: m.Party, Member: deref(m.Member), Kind: m.Kind, Address: m.Address, tries: m.Tries, Day: m.About.Day, URL: m.About.URL, Why: m.About.Why}
			switch err := tx.fill(ctx, &l, m.About, p.key); {
			case errors.Is(err, ErrNotFound): // who is written to has left, or what it is about is over
				if _, err := tx.Exec(ctx, `UPDATE ph.mail SET state = 'dropped', done_at = now(), claimed_until = NULL WHERE id = $1`, l.ID); err != nil {
					return err
				}
			case err != nil:
				return err
			default:
				list = append(list, l)
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("claim mails: %w", err)
	}
	return list, nil
}

type letterAbout struct {
	Seqs       []int64   `json:"seqs"`
	Day        string    `json:"day"`
	Invitation uuid.UUID `json:"invitation"`
	Reset      uuid.UUID `json:"reset"`
	URL        string    `json:"url"`
	Why        string    `json:"why"`
}

// fill adds who is written to, what is told, and the secrets of links, which are made anew here and rest nowhere.
func (tx *Tx) fill(ctx context.Context, l *Letter, about letterAbout, key PostKey) error {
	if err := tx.QueryRow(ctx, `SELECT name FROM ph.party WHERE id = $1`, l.Party).Scan(&l.Of); err != nil {
		return mapError(err)
	}
	if l.Member != uuid.Nil {
		err := tx.QueryRow(ctx, `SELECT m.name, z.language, z.time_zone FROM ph.member m CROSS JOIN LATERAL ph.mail_reader(m.party_id, m.id) z
			WHERE m.party_id = $1 AND m.id = $2 AND m.disabled_at IS NULL`, l.Party, l.Member).Scan(&l.Name, &l.Language, &l.Zone)
		if err != nil {
			return mapError(err)
		}
		l.Stop, _ = key.link(stopPrefix, l.Member)
	}
	switch l.Kind {
	case "invitation":
		if err := tx.QueryRow(ctx, `SELECT expires_at FROM ph.invitation WHERE party_id = $1 AND id = $2 AND accepted_at IS NULL AND expires_at > now()`, l.Party, about.Invitation).Scan(&l.Until); err != nil {
			return mapError(err)
		}
		l.Secret, _ = key.link(invitationPrefix, about.Invitation)
	case "reset":
		l.Secret, _ = key.link(resetPrefix, about.Reset)
	case "news", "digest":
		rows, err := tx.Query(ctx, `SELECT seq, id, kind, at, body FROM ph.news WHERE party_id = $1 AND seq = ANY ($2) ORDER BY seq`, l.Party, about.Seqs)
		if err != nil {
			return err
		}
		if l.News, err = pgx.CollectRows(rows, scanNews); err != nil {
			return err
		}
		if len(l.News) == 0 {
			return ErrNotFound
		}
	}
	return nil
}

// Mailed records how a mail fared. One that its server refuses for good is not tried again, and holds up no other.
func (p *Post) Mailed(ctx context.Context, l Letter, o Outcome) error {
	state, pause := "sent", time.Duration(0)
	switch {
	case o.Refused:
		state = "refused"
	case o.Problem != "" && l.tries > len(mailPauses):
		state = "given_up"
	case o.Problem != "":
		state, pause = "due", jittered(mailPauses[l.tries-1])
	}
	_, err := p.pool.Exec(ctx, `UPDATE ph.mail SET state = $3, next_at = now() + $4::interval, claimed_until = NULL, done_at = CASE WHEN $3 = 'due' THEN NULL ELSE now() END, problem = $5
		WHERE id = $1 AND tries = $2 AND state = 'due'`, l.ID, l.tries, state, pause, clip(o.Problem, problemLength))
	if err != nil {
		return fmt.Errorf("record mail %s: %w", l.ID, err)
	}
	return nil
}

// Forget drops mails that nobody sent in time, and deletes news, messages and mails that are over 90 days old.
func (p *Post) Forget(ctx context.Context) error {
	for _, sql := range []string{
		`UPDATE ph.mail SET state = 'dropped', done_at = now() WHERE state = 'due' AND created_at < now() - $1::interval AND $2 > 0`,
		`DELETE FROM ph.mail WHERE id = ANY (ARRAY(SELECT id FROM ph.mail WHERE created_at < now() - $1::interval AND state <> 'due' LIMIT $2))`,
		`DELETE FROM ph.mail_day d WHERE ctid = ANY (ARRAY(SELECT o.ctid FROM ph.mail_day o WHERE o.at < now() - $1::interval
			AND EXISTS (SELECT FROM ph.mail_day l WHERE l.party_id = o.party_id AND l.member_id = o.member_id AND l.day > o.day) LIMIT $2))`,
		`DELETE FROM ph.hook_send WHERE ctid = ANY (ARRAY(SELECT ctid FROM ph.hook_send WHERE created_at < now() - $1::interval AND state <> 'due' LIMIT $2))`,
		`DELETE FROM ph.news WHERE ctid = ANY (ARRAY(SELECT ctid FROM ph.news WHERE told_at < now() - $1::interval LIMIT $2))`,
	} {
		age := keepNews
		if sql[0] == 'U' {
			age = mailStale
		}
		if _, err := p.pool.Exec(ctx, sql, age, sweepLimit); err != nil {
			return fmt.Errorf("forget old news: %w", err)
		}
	}
	return nil
}
