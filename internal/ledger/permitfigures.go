package ledger

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// PermissionFigure is what a check measured on one delivery that a permission is about.
type PermissionFigure struct {
	Delivery  uuid.UUID
	Number    int
	PropTitle string
	Part, Set string
	Outcome   string
	Measured  *float64
	Unit      string
	Limit     *float64
	Covered   bool // by the permission, were it granted
}

// PermissionFigures are the findings that a permission would be held against today: of its check, on the newest
// inspected delivery of each milestone that it reaches. What is wrong comes first. At most 100.
func (tx *Tx) PermissionFigures(ctx context.Context, p Permission) ([]PermissionFigure, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT d.id, d.number, o.title, f.part, f.set_name, f.outcome, f.measured, f.unit, f.limit_value FROM ph.prop o
		JOIN ph.milestone m ON m.studio_id = o.studio_id AND m.prop_id = o.id
		CROSS JOIN LATERAL (SELECT d.id, d.number FROM ph.delivery d WHERE d.studio_id = m.studio_id AND d.milestone_id = m.id AND d.state = 'sealed' ORDER BY d.number DESC LIMIT 1) d
		JOIN ph.inspection i ON i.studio_id = m.studio_id AND i.delivery_id = d.id AND i.current
		JOIN ph.finding f ON f.studio_id = i.studio_id AND f.inspection_id = i.id AND f.chk = $3
		WHERE o.{me} = $1 AND o.work_order_id = $2 AND ($4::uuid IS NULL OR o.id = $4) AND ($5 = '' OR o.kit = $5) AND ($6 = '' OR f.part = $6) AND ($7 = '' OR f.set_name = $7)
		ORDER BY array_position(ARRAY['fail', 'warn', 'not_evaluated', 'pass'], f.outcome), o.title, d.id, f.ord LIMIT 100`),
		tx.Who.Party, p.WorkOrderID, p.Check, p.Prop, p.Kit, p.Part, p.Set)
	if err != nil {
		return nil, fmt.Errorf("figures of permission %s: %w", p.ID, err)
	}
	held := standing{ID: p.ID, Check: p.Check, Part: p.Part, Set: p.Set, Worst: p.Worst}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (f PermissionFigure, err error) {
		err = row.Scan(&f.Delivery, &f.Number, &f.PropTitle, &f.Part, &f.Set, &f.Outcome, &f.Measured, &f.Unit, &f.Limit)
		f.Covered = held.covers(Finding{Check: p.Check, Part: f.Part, Set: f.Set, Outcome: f.Outcome, Measured: f.Measured, Limit: f.Limit})
		return f, err
	})
}

// PermissionsAsked lists what vendors ask the studio to permit, the longest wait first.
func (tx *Tx) PermissionsAsked(ctx context.Context) ([]Permission, error) {
	asked, err := tx.permitsRequested(ctx, reviewMax)
	if err != nil {
		return nil, fmt.Errorf("permissions that are asked for: %w", err)
	}
	return asked.Items, nil
}
