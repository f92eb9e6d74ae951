package ledger

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// NewOrigin is what a vendor declares of where a prop's content comes from. No items say that all of it is their own work.
type NewOrigin struct {
	Prop      uuid.UUID
	Items     []OriginItem
	Statement string
}

// OriginItem is one thing in a prop that is not the vendor's own work.
type OriginItem struct {
	Kind    string `json:"kind"`    // one of OriginKinds
	What    string `json:"what"`    // "scan of a rusted chain"
	Licence string `json:"licence"` // its name or number, or who allowed it
	Holder  string `json:"holder,omitempty"`
}

// OriginKinds are what may have to be declared, in the order of forms.
var OriginKinds = []string{"scan", "photo", "font", "logo", "third_party", "machine_made", "other"}

// Origin is one declaration; the newest of a prop counts.
type Origin struct {
	ID        uuid.UUID
	PropID    uuid.UUID
	Items     []OriginItem
	Statement string
	ByName    string
	At        time.Time
}

// originOwed stands among the roles that a held payment waits for.
const originOwed = "origin declaration"

const originItemsMax = 100

// DeclareOrigin says where a prop's content comes from, by the vendor's lead. A later declaration takes the place of an
// earlier one, which stays on record.
func (tx *Tx) DeclareOrigin(ctx context.Context, in NewOrigin) (Origin, error) {
	if err := tx.allow("declaring where content comes from", VendorSide, VendorLead); err != nil {
		return Origin{}, err
	}
	if len(in.Items) > originItemsMax {
		return Origin{}, invalid("items", "are over %d", originItemsMax)
	}
	if len([]rune(in.Statement)) > reasonMax {
		return Origin{}, invalid("statement", "is over %d characters", reasonMax)
	}
	for i := range in.Items {
		if err := in.Items[i].check(i); err != nil {
			return Origin{}, err
		}
	}
	items, err := json.Marshal(append([]OriginItem{}, in.Items...)) // none is not null
	if err != nil {
		return Origin{}, err
	}
	id := newID()
	var studio, order uuid.UUID
	if err := tx.QueryRow(ctx, `INSERT INTO ph.origin_declaration (studio_id, vendor_id, work_order_id, prop_id, id, items, statement, by_member, by_name)
		SELECT studio_id, vendor_id, work_order_id, id, $3, $4, $5, $6, $7 FROM ph.prop WHERE vendor_id = $1 AND id = $2 RETURNING studio_id, work_order_id`,
		tx.Who.Party, in.Prop, id, items, in.Statement, tx.Who.Member, tx.Who.Name).Scan(&studio, &order); err != nil {
		return Origin{}, fmt.Errorf("origin of prop %s: %w", in.Prop, mapError(err))
	}
	tx.fact(FactOriginDeclared, studio, order, id)
	all, err := tx.origins(ctx, `id = $2`, id)
	if err != nil || len(all) == 0 {
		return Origin{}, fmt.Errorf("origin of prop %s: %w", in.Prop, cmpErr(err, ErrNotFound))
	}
	return all[0], nil
}

func (o *OriginItem) check(i int) error {
	o.What, o.Licence, o.Holder = strings.TrimSpace(o.What), strings.TrimSpace(o.Licence), strings.TrimSpace(o.Holder)
	known := false
	for _, k := range OriginKinds {
		known = known || k == o.Kind
	}
	switch {
	case !known:
		return invalid(fmt.Sprintf("items[%d].kind", i), "is not one of %s", strings.Join(OriginKinds, ", "))
	case o.What == "" || len([]rune(o.What)) > 300:
		return invalid(fmt.Sprintf("items[%d].what", i), "needs 1 to 300 characters")
	case o.Licence == "" || len([]rune(o.Licence)) > 300:
		return invalid(fmt.Sprintf("items[%d].licence", i), "needs 1 to 300 characters")
	case len([]rune(o.Holder)) > 200:
		return invalid(fmt.Sprintf("items[%d].holder", i), "is over 200 characters")
	}
	return nil
}

// Origins lists what was declared of a prop, newest first: the first counts.
func (tx *Tx) Origins(ctx context.Context, prop uuid.UUID) ([]Origin, error) {
	return tx.origins(ctx, `prop_id = $2 ORDER BY id DESC`, prop)
}

func (tx *Tx) origins(ctx context.Context, cond string, args ...any) ([]Origin, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT id, prop_id, items, statement, coalesce(by_name, ''), at FROM ph.origin_declaration WHERE {me} = $1 AND `+cond), append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("origins: %w", err)
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (o Origin, err error) {
		var items []byte
		if err = row.Scan(&o.ID, &o.PropID, &items, &o.Statement, &o.ByName, &o.At); err == nil {
			err = json.Unmarshal(items, &o.Items)
		}
		return o, err
	})
}
