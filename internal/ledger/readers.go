package ledger

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"time"

	"github.com/jackc/pgx/v5"
)

// Reading is how a member reads the pages.
type Reading struct {
	Language string // a tag of BCP 47, "" for what the browser asks for
	TimeZone string // of the IANA time zone database, "" for UTC or, as a setting, the party's
}

// Reading is how the caller of a page reads: by their settings, and where they chose no zone by their party's calendar.
func (l *Login) Reading(ctx context.Context, who Who) (r Reading, err error) {
	err = l.pool.QueryRow(ctx, `SELECT language, time_zone FROM ph.login_reader($1, $2)`, who.Party, who.Member).Scan(&r.Language, &r.TimeZone)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return r, fmt.Errorf("how member %s reads: %w", who.Member, err)
	}
	return r, nil
}

// Reading is what the caller has chosen; "" where nothing.
func (tx *Tx) Reading(ctx context.Context) (r Reading, err error) {
	err = tx.QueryRow(ctx, `SELECT coalesce(language, ''), coalesce(time_zone, '') FROM ph.member WHERE party_id = $1 AND id = $2`, tx.Who.Party, tx.Who.Member).
		Scan(&r.Language, &r.TimeZone)
	if err != nil {
		return r, fmt.Errorf("how member %s reads: %w", tx.Who.Member, mapError(err))
	}
	return r, nil
}

var languageTag = regexp.MustCompile(`^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$`)

// SetReading chooses how the caller reads; "" leaves it to the browser and to the party.
func (tx *Tx) SetReading(ctx context.Context, r Reading) error {
	if r.Language != "" && (!languageTag.MatchString(r.Language) || len(r.Language) > 35) { // RFC 5646, 4.4.1
		return invalid("language", "is not a language's tag")
	}
	if r.TimeZone != "" {
		if _, err := time.LoadLocation(r.TimeZone); err != nil || len(r.TimeZone) > 100 || r.TimeZone == "Local" {
			return invalid("time_zone", "is not in the IANA time zone database")
		}
	}
	tag, err := tx.Exec(ctx, `UPDATE ph.member SET language = nullif($3, ''), time_zone = nullif($4, '') WHERE party_id = $1 AND id = $2`, tx.Who.Party, tx.Who.Member, r.Language, r.TimeZone)
	if err != nil {
		return fmt.Errorf("choose how member %s reads: %w", tx.Who.Member, mapError(err))
	}
	if tag.RowsAffected() == 0 {
		return ErrNotFound
	}
	return nil
}
