package ledger

import (
	"context"
	"encoding/base64"
	"fmt"
	"net/url"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Bounds of hooks.
const (
	hooksMax       = 20
	hookOverlapMax = 7 * 24 * time.Hour
	hookSecret     = "whsec_" // Standard Webhooks: the secret's prefix, before base64
)

// NewHook is an address that a party's programs listen at.
type NewHook struct {
	URL   string
	Kinds []string // of news; none is all
}

// Hook is such an address. Why it is disabled: "member", somebody said so; "failing", for days nothing arrived; "gone", it
// answered 410.
type Hook struct {
	ID            uuid.UUID
	URL           string
	Kinds         []string
	PreviousUntil *time.Time // the secret before signs too until then
	MadeBy        uuid.UUID
	CreatedAt     time.Time
	FailingSince  *time.Time
	DisabledAt    *time.Time
	DisabledWhy   string
	Waiting       int // messages to send
}

func (tx *Tx) allowHooks() error {
	return tx.allow("webhooks", tx.Who.Side, Producer, VendorLead)
}

func checkHook(in NewHook) error {
	u, err := url.Parse(in.URL)
	switch {
	case err != nil || u.Hostname() == "" || (u.Scheme != "https" && u.Scheme != "http") || u.User != nil || u.Fragment != "" || len(in.URL) > 2000:
		return invalid("url", "must be a whole https address without a name or password in it")
	case slices.ContainsFunc(in.Kinds, func(k string) bool { return TopicOf(k) == "" }):
		return invalid("kinds", "has one that is not known")
	}
	return nil
}

// CreateHook registers an address. Its secret is returned now and never again.
func (tx *Tx) CreateHook(ctx context.Context, key PostKey, in NewHook) (Hook, string, error) {
	if err := tx.allowHooks(); err != nil {
		return Hook{}, "", err
	}
	if err := checkHook(in); err != nil {
		return Hook{}, "", err
	}
	list, err := tx.Hooks(ctx)
	if err != nil {
		return Hook{}, "", err
	}
	if len(list) >= hooksMax {
		return Hook{}, "", fmt.Errorf("%w: a party has %d webhooks at most", ErrState, hooksMax)
	}
	id := newID()
	secret, sealed, err := newHookSecret(key, id)
	if err != nil {
		return Hook{}, "", err
	}
	if _, err := tx.Exec(ctx, `INSERT INTO ph.hook (party_id, id, url, kinds, secret, made_by) VALUES ($1, $2, $3, $4, $5, $6)`,
		tx.Who.Party, id, in.URL, sortedKinds(in.Kinds), sealed, tx.Who.Member); err != nil {
		return Hook{}, "", fmt.Errorf("create a webhook: %w", err)
	}
	h, err := tx.Hook(ctx, id)
	return h, secret, err
}

func newHookSecret(key PostKey, id uuid.UUID) (secret string, sealed []byte, err error) {
	plain := randomBytes(32) // Standard Webhooks asks for 24 to 64
	if sealed, err = key.seal(id, plain); err != nil {
		return "", nil, err
	}
	return hookSecret + base64.StdEncoding.EncodeToString(plain), sealed, nil
}

func sortedKinds(kinds []string) []string {
	kinds = append([]string{}, kinds...) // none is not NULL
	slices.Sort(kinds)
	return slices.Compact(kinds)
}

const hookSelect = `SELECT h.id, h.url, h.kinds, CASE WHEN h.previous_until > now() THEN h.previous_until END, h.made_by, h.created_at, h.failing_since, h.disabled_at, coalesce(h.disabled_why, ''),
	(SELECT count(*) FROM ph.hook_send s WHERE s.party_id = h.party_id AND s.hook_id = h.id AND s.state = 'due')
	FROM ph.hook h WHERE h.party_id = $1 AND h.removed_at IS NULL `

// Hooks lists the party's webhooks, oldest first.
func (tx *Tx) Hooks(ctx context.Context) ([]Hook, error) {
	if err := tx.allowHooks(); err != nil {
		return nil, err
	}
	rows, err := tx.Query(ctx, hookSelect+`ORDER BY h.id`, tx.Who.Party)
	if err != nil {
		return nil, fmt.Errorf("webhooks: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Hook])
}

// Hook is one of the party's webhooks.
func (tx *Tx) Hook(ctx context.Context, id uuid.UUID) (Hook, error) {
	if err := tx.allowHooks(); err != nil {
		return Hook{}, err
	}
	rows, err := tx.Query(ctx, hookSelect+`AND h.id = $2`, tx.Who.Party, id)
	if err != nil {
		return Hook{}, fmt.Errorf("webhook %s: %w", id, err)
	}
	h, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Hook])
	return h, mapError(err)
}

// ChangeHook gives a webhook another address and kinds, and switches it on or off. Switched on again, it goes on with what
// waits; what happened while it was off is sent by ReplayHook.
func (tx *Tx) ChangeHook(ctx context.Context, id uuid.UUID, in NewHook, on bool) (Hook, error) {
	if err := tx.allowHooks(); err != nil {
		return Hook{}, err
	}
	if err := checkHook(in); err != nil {
		return Hook{}, err
	}
	tag, err := tx.Exec(ctx, `UPDATE ph.hook SET url = $3, kinds = $4,
		failing_since = CASE WHEN $5 AND disabled_at IS NOT NULL THEN NULL ELSE failing_since END,
		disabled_at = CASE WHEN $5 THEN NULL ELSE coalesce(disabled_at, now()) END,
		disabled_why = CASE WHEN $5 THEN NULL ELSE coalesce(disabled_why, 'member') END
		WHERE party_id = $1 AND id = $2 AND removed_at IS NULL`, tx.Who.Party, id, in.URL, sortedKinds(in.Kinds), on)
	if err != nil {
		return Hook{}, fmt.Errorf("change webhook %s: %w", id, err)
	}
	if tag.RowsAffected() == 0 {
		return Hook{}, ErrNotFound
	}
	return tx.Hook(ctx, id)
}

// RemoveHook ends a webhook for good. Removing it twice is fine.
func (tx *Tx) RemoveHook(ctx context.Context, id uuid.UUID) error {
	if err := tx.allowHooks(); err != nil {
		return err
	}
	tag, err := tx.Exec(ctx, `UPDATE ph.hook SET removed_at = coalesce(removed_at, now()) WHERE party_id = $1 AND id = $2`, tx.Who.Party, id)
	if err != nil {
		return fmt.Errorf("remove webhook %s: %w", id, err)
	}
	if tag.RowsAffected() == 0 {
		return ErrNotFound
	}
	return nil
}

// RotateHook gives a webhook a new secret, which is returned now and never again. The one before signs too for overlap, so
// that its reader can change over without losing a message.
func (tx *Tx) RotateHook(ctx context.Context, key PostKey, id uuid.UUID, overlap time.Duration) (Hook, string, error) {
	if err := tx.allowHooks(); err != nil {
		return Hook{}, "", err
	}
	if overlap < 0 || overlap > hookOverlapMax {
		return Hook{}, "", invalid("overlap_hours", "is not within %d", int(hookOverlapMax.Hours()))
	}
	secret, sealed, err := newHookSecret(key, id)
	if err != nil {
		return Hook{}, "", err
	}
	// The old secret is copied by the database: this role cannot read it.
	var moved bool
	if err := tx.QueryRow(ctx, `SELECT ph.rotate_hook($1, $2, $3)`, id, sealed, overlap).Scan(&moved); err != nil {
		return Hook{}, "", fmt.Errorf("rotate the secret of webhook %s: %w", id, err)
	}
	if !moved {
		return Hook{}, "", ErrNotFound
	}
	h, err := tx.Hook(ctx, id)
	return h, secret, err
}

// Message is one message to a webhook and what became of it.
type Message struct {
	ID        uuid.UUID
	MessageID uuid.UUID // webhook-id
	Kind      string
	State     string // due, sent, given_up
	NextAt    *time.Time
	CreatedAt time.Time
	DoneAt    *time.Time
	Attempts  []Attempt // newest first, ten at most
}

// Attempt is one call.
type Attempt struct {
	Number  int       `json:"number"`
	At      time.Time `json:"at"`
	Status  *int      `json:"status"`  // nil: no answer
	Problem string    `json:"problem"` // why there was none
	Excerpt string    `json:"excerpt"` // of the answer
	TookMS  int       `json:"took_ms"`
}

const messageSelect = `SELECT s.id, s.message_id, s.kind, s.state, CASE WHEN s.state = 'due' THEN s.next_at END, s.created_at, s.done_at,
	coalesce((SELECT jsonb_agg(to_jsonb(a) ORDER BY a.number DESC) FROM (SELECT a.number, a.at, a.status, a.problem, a.excerpt, a.took_ms FROM ph.hook_attempt a
		WHERE a.party_id = s.party_id AND a.send_id = s.id ORDER BY a.number DESC LIMIT 10) a), '[]')
	FROM ph.hook_send s WHERE s.party_id = $1 AND s.hook_id = $2 `

// Messages lists the messages of a webhook, newest first.
func (tx *Tx) Messages(ctx context.Context, hook uuid.UUID, p Page) (List[Message], error) {
	if _, err := tx.Hook(ctx, hook); err != nil {
		return List[Message]{}, err
	}
	before, err := p.afterID(lastID)
	if err != nil {
		return List[Message]{}, err
	}
	rows, err := tx.Query(ctx, messageSelect+`AND s.message_id < $3 ORDER BY s.message_id DESC LIMIT $4`, tx.Who.Party, hook, before, p.limit()+1)
	if err != nil {
		return List[Message]{}, fmt.Errorf("messages of webhook %s: %w", hook, err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Message])
	if err != nil {
		return List[Message]{}, fmt.Errorf("messages of webhook %s: %w", hook, err)
	}
	return listOf(items, p.limit(), func(m Message) string { return cursor(m.MessageID.String()) }), nil
}

// PingHook lines a test message up.
func (tx *Tx) PingHook(ctx context.Context, hook uuid.UUID) (Message, error) {
	if _, err := tx.Hook(ctx, hook); err != nil {
		return Message{}, err
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.hook_send (party_id, hook_id, id, message_id, kind, subject_id) VALUES ($1, $2, $3, $3, $4, $3)`, tx.Who.Party, hook, id, NewsPing); err != nil {
		return Message{}, fmt.Errorf("ping webhook %s: %w", hook, err)
	}
	return tx.Message(ctx, hook, id)
}

// Message is one message to a webhook.
func (tx *Tx) Message(ctx context.Context, hook, id uuid.UUID) (Message, error) {
	rows, err := tx.Query(ctx, messageSelect+`AND s.id = $3`, tx.Who.Party, hook, id)
	if err != nil {
		return Message{}, fmt.Errorf("message %s: %w", id, err)
	}
	m, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Message])
	return m, mapError(err)
}

// ReplayMessage sends one message again, under the same webhook-id.
func (tx *Tx) ReplayMessage(ctx context.Context, hook, id uuid.UUID) (Message, error) {
	if _, err := tx.Hook(ctx, hook); err != nil {
		return Message{}, err
	}
	tag, err := tx.Exec(ctx, `UPDATE ph.hook_send SET state = 'due', tries = 0, next_at = now(), claimed_until = NULL, done_at = NULL
		WHERE party_id = $1 AND hook_id = $2 AND id = $3`, tx.Who.Party, hook, id)
	if err != nil {
		return Message{}, fmt.Errorf("send message %s again: %w", id, err)
	}
	if tag.RowsAffected() == 0 {
		return Message{}, ErrNotFound
	}
	return tx.Message(ctx, hook, id)
}

// ReplayHook sends all news since a time again, and those that were never sent, of the kinds that the webhook takes. It says
// how many.
func (tx *Tx) ReplayHook(ctx context.Context, hook uuid.UUID, since time.Time) (int, error) {
	h, err := tx.Hook(ctx, hook)
	if err != nil {
		return 0, err
	}
	if h.DisabledAt != nil {
		return 0, fmt.Errorf("%w: the webhook is switched off", ErrState)
	}
	tag, err := tx.Exec(ctx, `INSERT INTO ph.hook_send AS s (party_id, hook_id, id, seq, message_id, kind, subject_id)
		SELECT n.party_id, $2, gen_random_uuid(), n.seq, n.id, n.kind, n.subject_id FROM ph.news n
		WHERE n.party_id = $1 AND n.at >= $3 AND ($4::text[] = '{}' OR n.kind = ANY ($4)) ORDER BY n.seq
		ON CONFLICT (party_id, hook_id, seq) DO UPDATE SET state = 'due', tries = 0, next_at = now(), claimed_until = NULL, done_at = NULL`,
		tx.Who.Party, hook, since, h.Kinds)
	if err != nil {
		return 0, fmt.Errorf("send since %s again: %w", since, err)
	}
	return int(tag.RowsAffected()), nil
}
