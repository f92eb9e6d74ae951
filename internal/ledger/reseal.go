package ledger

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// sealedText begins a text that a PostKey sealed. Texts without it are from before they were sealed.
const sealedText = "sealed:"

// sealText seals a text of id's; "" stays "".
func (k PostKey) sealText(id uuid.UUID, plain string) (string, error) {
	if plain == "" {
		return "", nil
	}
	sealed, err := k.seal(id, []byte(plain))
	if err != nil {
		return "", err
	}
	return sealedText + base64.StdEncoding.EncodeToString(sealed), nil
}

func (k PostKey) openText(id uuid.UUID, text string) (string, error) {
	coded, sealed := strings.CutPrefix(text, sealedText)
	if !sealed {
		return text, nil
	}
	raw, err := base64.StdEncoding.DecodeString(coded)
	if err != nil {
		return "", errors.New("open: it is not in base64")
	}
	plain, err := k.open(id, raw)
	return string(plain), err
}

// Reseal seals anew whatever secret rests in the database, under the key now: secrets of webhooks and of log-in providers,
// those too that were kept plain by programs from before. Each must open with now or with one of old; where one does not,
// nothing is changed and the error says whose it is. adminURL is that of Migrate. n counts what was sealed.
func Reseal(ctx context.Context, adminURL string, now PostKey, old ...PostKey) (n int, err error) {
	if !now.Known() {
		return 0, ErrNoPost
	}
	cfg, err := ownerConfig(adminURL)
	if err != nil {
		return 0, err
	}
	conn, err := pgx.ConnectConfig(ctx, cfg)
	if err != nil {
		return 0, fmt.Errorf("reseal: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	err = pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		n = 0
		for _, table := range []func(context.Context, pgx.Tx, keyRing) (int, error){resealProviders, resealHooks} {
			sealed, err := table(ctx, tx, keyRing{now, old})
			if err != nil {
				return err
			}
			n += sealed
		}
		return nil
	})
	if err != nil {
		return 0, fmt.Errorf("reseal: %w", err)
	}
	return n, nil
}

// keyRing is the key to seal with, and those that things may still be sealed with.
type keyRing struct {
	now PostKey
	old []PostKey
}

// again opens with whatever key fits and seals with the present one.
func (r keyRing) again(open func(k PostKey) (plain []byte, err error), id uuid.UUID) ([]byte, error) {
	var last error
	for _, k := range append([]PostKey{r.now}, r.old...) {
		plain, err := open(k)
		if err == nil {
			return r.now.seal(id, plain)
		}
		last = err
	}
	return nil, last
}

func resealProviders(ctx context.Context, tx pgx.Tx, ring keyRing) (int, error) {
	type row struct {
		Party  uuid.UUID
		Secret string
	}
	rows, err := tx.Query(ctx, `SELECT party_id, client_secret FROM ph.provider WHERE client_secret <> '' FOR UPDATE`)
	if err != nil {
		return 0, err
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[row])
	if err != nil {
		return 0, err
	}
	for _, r := range list {
		sealed, err := ring.again(func(k PostKey) ([]byte, error) {
			plain, err := k.openText(r.Party, r.Secret)
			return []byte(plain), err
		}, r.Party)
		if err != nil {
			return 0, fmt.Errorf("log-in provider of party %s: %w", r.Party, err)
		}
		if _, err := tx.Exec(ctx, `UPDATE ph.provider SET client_secret = $2 WHERE party_id = $1`, r.Party, sealedText+base64.StdEncoding.EncodeToString(sealed)); err != nil {
			return 0, err
		}
	}
	return len(list), nil
}

func resealHooks(ctx context.Context, tx pgx.Tx, ring keyRing) (int, error) {
	type row struct {
		Party, ID        uuid.UUID
		Secret, Previous []byte
	}
	rows, err := tx.Query(ctx, `SELECT party_id, id, secret, previous FROM ph.hook WHERE removed_at IS NULL FOR UPDATE`)
	if err != nil {
		return 0, err
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[row])
	if err != nil {
		return 0, err
	}
	n := 0
	for _, r := range list {
		for _, secret := range []*[]byte{&r.Secret, &r.Previous} {
			if len(*secret) == 0 {
				continue
			}
			was := *secret
			if *secret, err = ring.again(func(k PostKey) ([]byte, error) { return k.open(r.ID, was) }, r.ID); err != nil {
				return 0, fmt.Errorf("webhook %s: %w", r.ID, err)
			}
			n++
		}
		if _, err := tx.Exec(ctx, `UPDATE ph.hook SET secret = $3, previous = $4 WHERE party_id = $1 AND id = $2`, r.Party, r.ID, r.Secret, r.Previous); err != nil {
			return 0, err
		}
	}
	return n, nil
}
