package ledger

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// Post tells people and programs what happened, over a pool of role ph_post. The facts are its outbox: they are written
// with each act. Tell turns them into news, once; hooks, mails and event streams read the news. Any number of processes may
// run it.
type Post struct {
	pool *pgxpool.Pool
	key  PostKey
}

// NewPost makes a post. The key opens the secrets of hooks and makes the links of mails.
func NewPost(pool *pgxpool.Pool, key PostKey) *Post { return &Post{pool: pool, key: key} }

const (
	tellBatch = 500 // facts of one log told in one transaction
	tellLogs  = 100 // logs looked at in one go
	dueAhead  = 3   // days before a date on which it is told
)

// Channels of NOTIFY. Neither is used in a fact's transaction: commits with NOTIFY queue behind one lock.
const (
	NewsChannel     = "ph_news"     // ids of parties with news, by commas; "" for anybody
	ProgressChannel = "ph_progress" // a Progress in JSON
)

// Tell makes news of all facts that were not told yet, and says how many there were. Parties are notified at its end.
func (p *Post) Tell(ctx context.Context) (int, error) {
	count, parties := 0, map[uuid.UUID]bool{}
	for {
		logs, err := p.logsToTell(ctx)
		if err != nil {
			return count, err
		}
		before := count
		for _, l := range logs {
			n, err := p.tellLog(ctx, l, parties)
			if count += n; err != nil {
				return count, fmt.Errorf("tell log %s: %w", l.Log, err)
			}
		}
		if count == before { // nothing left, or another process has it
			break
		}
	}
	return count, p.notify(ctx, parties)
}

func (p *Post) notify(ctx context.Context, parties map[uuid.UUID]bool) error {
	if len(parties) == 0 {
		return nil
	}
	ids := make([]string, 0, len(parties))
	for id := range parties {
		ids = append(ids, id.String())
	}
	payload := strings.Join(ids, ",")
	if len(payload) > 7000 { // NOTIFY takes less than 8000 bytes
		payload = ""
	}
	if _, err := p.pool.Exec(ctx, `SELECT pg_notify($1, $2)`, NewsChannel, payload); err != nil {
		return fmt.Errorf("notify of news: %w", err)
	}
	return nil
}

type logRef struct{ Studio, Log uuid.UUID }

// logsToTell reads the index log_to_tell.
func (p *Post) logsToTell(ctx context.Context) ([]logRef, error) {
	rows, err := p.pool.Query(ctx, `SELECT studio_id, id FROM ph.log WHERE told_size < size ORDER BY id LIMIT $1`, tellLogs)
	if err != nil {
		return nil, fmt.Errorf("look for news: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[logRef])
}

// newsLeaf is a fact as it is told.
type newsLeaf struct {
	Index   int64
	Kind    string
	Subject uuid.UUID
	Actor   Actor
	Member  *uuid.UUID
	At      time.Time
	Data    newsData
}

// tellLog tells up to tellBatch facts of one log in one transaction: its news, what hooks are sent, what is mailed at once,
// and how far the log is told. Another process at the same log makes it 0.
func (p *Post) tellLog(ctx context.Context, ref logRef, parties map[uuid.UUID]bool) (n int, err error) {
	err = p.inTx(ctx, func(tx *Tx) error {
		n = 0
		leaves, vendor, upTo, err := tx.untold(ctx, ref)
		if err != nil || upTo == 0 {
			return err
		}
		items, err := tx.newsOf(ctx, ref, vendor, leaves)
		if err != nil {
			return err
		}
		if err := tx.publish(ctx, items); err != nil {
			return err
		}
		if err := tx.mailAtOnce(ctx, items); err != nil {
			return err
		}
		for _, i := range items {
			parties[i.party] = true
		}
		// Last, with COMMIT: appends wait for this row.
		tx.late.later(lateStatement{doing: "how far it is told", sql: `UPDATE ph.log SET told_size = $3 WHERE studio_id = $1 AND id = $2`,
			args: []any{ref.Studio, ref.Log, upTo}})
		n = len(leaves)
		return nil
	})
	return n, err
}

func (p *Post) inTx(ctx context.Context, fn func(tx *Tx) error) error {
	return retry(ctx, func() error { return runTx(ctx, p.pool, Who{}, "BEGIN", nil, fn) })
}

// untold reads the next facts of a log, in its order; upTo 0: there are none, or another process tells them.
func (tx *Tx) untold(ctx context.Context, ref logRef) (leaves []newsLeaf, vendor *uuid.UUID, upTo int64, err error) {
	batch := &pgx.Batch{}
	batch.Queue(`SELECT pg_try_advisory_xact_lock(hashtextextended($1, 0))`, "tell "+ref.Log.String())
	// The bound is a value before the scan begins, so that the index leads to it; joined, the log's told facts were read too.
	batch.Queue(`SELECT f.vendor_id, f.idx, f.kind, f.subject_id, f.actor, f.member_id, f.recorded_at, f.body FROM ph.fact f
		WHERE f.studio_id = $1 AND f.log_id = $2 AND f.idx >= (SELECT l.told_size FROM ph.log l WHERE l.studio_id = $1 AND l.id = $2)
		ORDER BY f.idx LIMIT $3`, ref.Studio, ref.Log, tellBatch)
	results := tx.SendBatch(ctx, batch)
	defer results.Close()
	var mine bool
	if err := results.QueryRow().Scan(&mine); err != nil || !mine {
		return nil, nil, 0, err
	}
	rows, err := results.Query()
	if err != nil {
		return nil, nil, 0, fmt.Errorf("facts: %w", err)
	}
	leaves, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (l newsLeaf, err error) {
		var body []byte
		if err := row.Scan(&vendor, &l.Index, &l.Kind, &l.Subject, &l.Actor, &l.Member, &l.At, &body); err != nil {
			return l, err
		}
		var whole struct {
			Data json.RawMessage `json:"data"`
		}
		if err := json.Unmarshal(body, &whole); err != nil {
			return l, fmt.Errorf("fact %d: %w", l.Index, err)
		}
		// A field of another shape in some kind of fact (a list of files where another has a number) is none of ours.
		_ = json.Unmarshal(whole.Data, &l.Data)
		return l, nil
	})
	if err != nil {
		return nil, nil, 0, fmt.Errorf("facts: %w", err)
	}
	if len(leaves) > 0 {
		upTo = leaves[len(leaves)-1].Index + 1
	}
	return leaves, vendor, upTo, nil
}

// publish numbers news in their parties' feeds and lines them up for the hooks that want them. The feeds' rows are locked
// by ascending party, as everybody does who tells two parties at a time.
func (tx *Tx) publish(ctx context.Context, items []newsItem) error {
	by := map[uuid.UUID][]*newsItem{}
	for n := range items {
		by[items[n].party] = append(by[items[n].party], &items[n])
	}
	for _, party := range sortedKeys(by) {
		list := by[party]
		var last int64
		if err := tx.QueryRow(ctx, `INSERT INTO ph.feed AS f (party_id, last) VALUES ($1, $2)
			ON CONFLICT (party_id) DO UPDATE SET last = f.last + excluded.last RETURNING f.last`, party, len(list)).Scan(&last); err != nil {
			return fmt.Errorf("feed of %s: %w", party, err)
		}
		first := last - int64(len(list))
		var c newsColumns
		for n, i := range list {
			i.seq = first + int64(n) + 1
			c.seq, c.id, c.kind = append(c.seq, i.seq), append(c.id, newID()), append(c.kind, i.kind)
			c.subject, c.at, c.body = append(c.subject, i.subject), append(c.at, i.at), append(c.body, string(i.body))
		}
		// One statement: by their numbers, the news would be looked for with a plan made anew each time.
		tx.late.later(lateStatement{doing: "news of " + party.String(), sql: `WITH n AS (INSERT INTO ph.news (party_id, seq, id, kind, subject_id, at, body)
				SELECT $1, * FROM unnest($2::bigint[], $3::uuid[], $4::text[], $5::uuid[], $6::timestamptz[], $7::text[]) RETURNING party_id, seq, id, kind, subject_id)
			INSERT INTO ph.hook_send (party_id, hook_id, id, seq, message_id, kind, subject_id)
			SELECT n.party_id, h.id, gen_random_uuid(), n.seq, n.id, n.kind, n.subject_id
			FROM n JOIN ph.hook h ON h.party_id = n.party_id AND h.disabled_at IS NULL AND (h.kinds = '{}' OR n.kind = ANY (h.kinds))`,
			args: []any{party, c.seq, c.id, c.kind, c.subject, c.at, c.body}})
	}
	return nil
}

type newsColumns struct {
	seq     []int64
	id      []uuid.UUID
	kind    []string
	subject []uuid.UUID
	at      []time.Time
	body    []string
}

// TellDue tells of milestones whose date is near, each date once, and says how many there were.
func (p *Post) TellDue(ctx context.Context) (n int, err error) {
	parties := map[uuid.UUID]bool{}
	err = p.inTx(ctx, func(tx *Tx) error {
		// Two processes: the second waits at the first's rows of ph.due_told and then finds them there.
		rows, err := tx.Query(ctx, `WITH near AS (
			SELECT m.studio_id, m.vendor_id, m.work_order_id, m.id, m.due_sort FROM ph.milestone m
			WHERE m.state IN ('open', 'failed', 'returned') AND m.due_sort >= (now() AT TIME ZONE 'UTC')::date AND m.due_sort <= (now() AT TIME ZONE 'UTC')::date + $1::int
			  AND NOT EXISTS (SELECT FROM ph.due_told t WHERE t.studio_id = m.studio_id AND t.milestone_id = m.id AND t.due_on = m.due_sort)
			ORDER BY m.due_sort, m.id LIMIT 1000
		), fresh AS (
			INSERT INTO ph.due_told (studio_id, milestone_id, due_on) SELECT studio_id, id, due_sort FROM near ON CONFLICT DO NOTHING RETURNING studio_id, milestone_id
		)
		SELECT n.studio_id, n.vendor_id, n.work_order_id, n.id, n.due_sort, now() FROM near n JOIN fresh f ON f.studio_id = n.studio_id AND f.milestone_id = n.id
		ORDER BY n.work_order_id, n.due_sort, n.id`, dueAhead)
		if err != nil {
			return fmt.Errorf("dates that come near: %w", err)
		}
		type near struct {
			Studio, Vendor, Order, Milestone uuid.UUID
			Due                              Date
			Now                              time.Time
		}
		list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[near])
		if err != nil {
			return fmt.Errorf("dates that come near: %w", err)
		}
		byOrder := map[uuid.UUID][]newsLeaf{}
		refs := map[uuid.UUID]near{}
		for _, m := range list {
			refs[m.Order] = m
			byOrder[m.Order] = append(byOrder[m.Order], newsLeaf{Index: -1, Kind: NewsDueSoon, Subject: m.Milestone, Actor: ByMachine, At: m.Now,
				Data: newsData{Milestone: m.Milestone, DueOn: m.Due.Format(time.DateOnly)}})
		}
		var items []newsItem
		for _, order := range sortedKeys(byOrder) {
			more, err := tx.newsOf(ctx, logRef{refs[order].Studio, order}, ptr(refs[order].Vendor), byOrder[order])
			if err != nil {
				return err
			}
			items = append(items, more...)
		}
		n = len(list)
		for _, i := range items {
			parties[i.party] = true
		}
		if err := tx.publish(ctx, items); err != nil {
			return err
		}
		return tx.mailAtOnce(ctx, items)
	})
	if err != nil {
		return 0, err
	}
	return n, p.notify(ctx, parties)
}

// Run tells every interval until ctx ends, and then returns nil; dates that come near and mornings are looked for each
// minute, what is old is forgotten each hour. A failure goes to problem and does not stop it: what was not told is told later.
func (p *Post) Run(ctx context.Context, every time.Duration, problem func(error)) error {
	tick := time.NewTicker(every)
	defer tick.Stop()
	var looked, forgot time.Time
	for {
		_, err := p.Tell(ctx)
		if err == nil && time.Since(looked) >= time.Minute {
			looked = time.Now()
			if _, err = p.TellDue(ctx); err == nil {
				_, err = p.Digests(ctx)
			}
		}
		if err == nil && time.Since(forgot) >= time.Hour {
			forgot = time.Now()
			err = p.Forget(ctx)
		}
		if err != nil && ctx.Err() == nil {
			problem(err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}
