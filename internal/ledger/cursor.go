package ledger

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/google/uuid"
)

const (
	pageDefault = 50
	pageMax     = 200
)

// limit is the page's size, within bounds.
func (p Page) limit() int {
	switch {
	case p.Limit <= 0:
		return pageDefault
	case p.Limit > pageMax:
		return pageMax
	}
	return p.Limit
}

// cursor packs the sort keys of the last row; callers treat it as opaque.
func cursor(keys ...string) string {
	b, _ := json.Marshal(keys) // strings always marshal
	return base64.RawURLEncoding.EncodeToString(b)
}

func (p Page) keys(n int) ([]string, error) {
	b, err := base64.RawURLEncoding.DecodeString(p.After)
	var keys []string
	if err == nil {
		err = json.Unmarshal(b, &keys)
	}
	if err != nil || len(keys) != n {
		return nil, invalid("cursor", "is not one of ours")
	}
	return keys, nil
}

// afterID is the id to go on from: first where the page is the first one.
func (p Page) afterID(first uuid.UUID) (uuid.UUID, error) {
	if p.After == "" {
		return first, nil
	}
	keys, err := p.keys(1)
	if err != nil {
		return uuid.Nil, err
	}
	id, err := uuid.Parse(keys[0])
	if err != nil {
		return uuid.Nil, invalid("cursor", "is not one of ours")
	}
	return id, nil
}

// listOf cuts the row read too many, which says that there is a next page.
func listOf[T any](rows []T, limit int, key func(T) string) List[T] {
	if len(rows) <= limit {
		return List[T]{Items: rows}
	}
	rows = rows[:limit]
	return List[T]{Items: rows, Next: key(rows[limit-1])}
}

// myColumn is the column that must hold the caller's party, so that every query begins at an index of that party. Row-
// level security says the same again.
func (tx *Tx) myColumn() string {
	if tx.Who.Side == StudioSide {
		return "studio_id"
	}
	return "vendor_id"
}

// sql puts the caller's party column where the query says {me}.
func (tx *Tx) sql(query string) string { return strings.ReplaceAll(query, "{me}", tx.myColumn()) }

// hanging narrows rows named alias to those that hang on one row of ph.<table>, whose id is parameter n; the caller's party is $1. The
// indexes of what hangs together begin with the studio: a vendor, who does not say which, would read all that is theirs instead.
func (tx *Tx) hanging(alias, table string, n int) string {
	cond := fmt.Sprintf(" AND %s.%s_id = $%d", alias, table, n)
	if tx.Who.Side == VendorSide {
		cond += fmt.Sprintf(" AND %s.studio_id = (SELECT x.studio_id FROM ph.%s x WHERE x.vendor_id = $1 AND x.id = $%d)", alias, table, n)
	}
	return cond
}

// allow checks side and roles.
func (tx *Tx) allow(what string, side Side, roles ...Role) error {
	if tx.Who.Side != side {
		return fmt.Errorf("%w: %s is for the %s", ErrForbidden, what, side)
	}
	if len(roles) > 0 && !tx.Who.Has(roles...) {
		words := make([]string, len(roles))
		for i, r := range roles {
			words[i] = strings.ReplaceAll(string(r), "_", " ")
		}
		return fmt.Errorf("%w: %s needs the role %s", ErrForbidden, what, strings.Join(words, " or "))
	}
	return nil
}

var (
	firstID = uuid.Nil
	lastID  = uuid.Max
)
