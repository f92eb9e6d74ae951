package ledger

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
)

// digestHour is when a person's morning begins, in their own zone.
const digestHour = 7

const digestNews = 2000 // that one digest looks at

// reader is a member with where they read.
type reader struct {
	addressee
	Side    Side
	Zone    string
	LastDay *Date // for which they had a digest, or there was nothing to say
	UpTo    int64
	Now     time.Time
}

// Digests lines up the digest of everybody whose morning has begun and who has had none for this day, and says how many. A
// day without news counts as told. Time is the database's. A clock that is moved, a restart or a second process make no
// second one: the key of ph.mail_day holds it.
func (p *Post) Digests(ctx context.Context) (int, error) {
	readers, err := p.readers(ctx)
	if err != nil {
		return 0, err
	}
	n := 0
	for _, r := range readers {
		day, morning := r.morning()
		if !morning {
			continue
		}
		made := false
		err := p.inTx(ctx, func(tx *Tx) (err error) { made, err = tx.digest(ctx, r, day); return err })
		if err != nil {
			return n, fmt.Errorf("digest of member %s: %w", r.ID, err)
		}
		if made {
			n++
		}
	}
	return n, nil
}

// morning says which day it is where the reader is, and whether its digest is due.
func (r reader) morning() (day Date, due bool) {
	zone, err := time.LoadLocation(r.Zone)
	if err != nil {
		zone = time.UTC
	}
	at := r.Now.In(zone)
	day = time.Date(at.Year(), at.Month(), at.Day(), 0, 0, 0, 0, time.UTC)
	return day, at.Hour() >= digestHour && (r.LastDay == nil || r.LastDay.Before(day))
}

func (p *Post) readers(ctx context.Context) ([]reader, error) {
	rows, err := p.pool.Query(ctx, `SELECT m.party_id, m.id, m.email, m.roles,
		(SELECT coalesce(jsonb_object_agg(c.topic, c.how), '{}') FROM ph.mail_choice c WHERE c.party_id = m.party_id AND c.member_id = m.id),
		m.side, z.time_zone, d.day, coalesce(d.up_to, (SELECT max(n.seq) FROM ph.news n WHERE n.party_id = m.party_id AND n.told_at < now() - interval '1 day'), 0), now()
		FROM ph.member m CROSS JOIN LATERAL ph.mail_reader(m.party_id, m.id) z
		LEFT JOIN LATERAL (SELECT y.day, y.up_to FROM ph.mail_day y WHERE y.party_id = m.party_id AND y.member_id = m.id ORDER BY y.day DESC LIMIT 1) d ON true
		WHERE m.disabled_at IS NULL ORDER BY m.party_id, m.id`)
	if err != nil {
		return nil, fmt.Errorf("whose morning it is: %w", err)
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (r reader, err error) {
		err = row.Scan(&r.Party, &r.ID, &r.Email, &r.Roles, &r.Choices, &r.Side, &r.Zone, &r.LastDay, &r.UpTo, &r.Now)
		return r, err
	})
}

// digest takes the reader's day and lines up its mail, where there is something to say.
func (tx *Tx) digest(ctx context.Context, r reader, day Date) (made bool, err error) {
	var upTo int64
	if err := tx.QueryRow(ctx, `SELECT coalesce((SELECT last FROM ph.feed WHERE party_id = $1), 0)`, r.Party).Scan(&upTo); err != nil {
		return false, err
	}
	tag, err := tx.Exec(ctx, `INSERT INTO ph.mail_day (party_id, member_id, day, up_to) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`, r.Party, r.ID, day, upTo)
	if err != nil || tag.RowsAffected() == 0 {
		return false, err
	}
	seqs, err := tx.worthTelling(ctx, r, upTo)
	if err != nil || len(seqs) == 0 {
		return false, err
	}
	_, err = tx.Exec(ctx, `INSERT INTO ph.mail (id, party_id, member_id, address, kind, about, cause) VALUES ($1, $2, $3, $4, 'digest', jsonb_build_object('seqs', $5::bigint[], 'day', $6::text), $7)
		ON CONFLICT (cause) DO NOTHING`, newID(), r.Party, r.ID, r.Email, seqs, day.Format(time.DateOnly), fmt.Sprintf("digest %s %s", r.ID, day.Format(time.DateOnly)))
	return err == nil, err
}

// worthTelling are the news since the digest before that the reader wants in one: not what their own side did, and not what
// they were mailed at once.
func (tx *Tx) worthTelling(ctx context.Context, r reader, upTo int64) ([]int64, error) {
	rows, err := tx.Query(ctx, `SELECT n.seq, n.kind, n.body FROM ph.news n WHERE n.party_id = $1 AND n.seq > $2 AND n.seq <= $3
		AND NOT EXISTS (SELECT FROM ph.mail m WHERE m.party_id = $1 AND m.member_id = $4 AND m.kind = 'news' AND m.created_at > now() - interval '7 days' AND m.about -> 'seqs' @> to_jsonb(n.seq))
		ORDER BY n.seq DESC LIMIT $5`, r.Party, r.UpTo, upTo, r.ID, digestNews)
	if err != nil {
		return nil, err
	}
	var seqs []int64
	var seq int64
	var kind, body string
	_, err = pgx.ForEachRow(rows, []any{&seq, &kind, &body}, func() error {
		var b NewsBody
		if err := json.Unmarshal([]byte(body), &b); err != nil {
			return fmt.Errorf("news %d: %w", seq, err)
		}
		if string(b.Data.Actor) != string(r.Side) && r.how(TopicOf(kind), false) != Never {
			seqs = append(seqs, seq)
		}
		return nil
	})
	slices.Reverse(seqs)
	return seqs, err
}
