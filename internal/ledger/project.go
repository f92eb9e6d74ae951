package ledger

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// DueWeek is what falls due in one week of a project.
type DueWeek struct {
	Begins   Date // a Monday
	Due      int
	Accepted int // of them
	Late     int // past their due date and not done
	Studio   int // of those not done, on the studio's desk
}

// DueWeeks counts a project's milestones by the week in which they fall due, from one Monday up to another. Index:
// milestone_all_of_studio.
func (tx *Tx) DueWeeks(ctx context.Context, project uuid.UUID, from, to Date) ([]DueWeek, error) {
	if err := tx.allow("a project's weeks", StudioSide); err != nil {
		return nil, err
	}
	rows, err := tx.Query(ctx, `SELECT date_trunc('week', m.due_sort::timestamp)::date, count(*)::int, (count(*) FILTER (WHERE m.state = 'accepted'))::int,
		(count(*) FILTER (WHERE m.state <> 'accepted' AND m.due_sort < (now() AT TIME ZONE 'UTC')::date))::int, (count(*) FILTER (WHERE m.state IN ('review', 'held', 'stuck')))::int
		FROM ph.milestone m JOIN ph.work_order w ON w.studio_id = m.studio_id AND w.id = m.work_order_id AND w.project_id = $2
		WHERE m.studio_id = $1 AND m.due_sort >= $3 AND m.due_sort < $4 AND m.state <> 'cancelled' GROUP BY 1 ORDER BY 1`, tx.Who.Party, project, from, to)
	if err != nil {
		return nil, fmt.Errorf("weeks of project %s: %w", project, err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[DueWeek])
}

// VendorLoad is what one vendor has of a project, by the milestone that is being worked on.
type VendorLoad struct {
	VendorID  uuid.UUID
	Name      string
	Props     int
	Done      int // props of which nothing is open
	AtVendor  int
	AtStudio  int
	Inspected int // at the inspector
	Late      int
	Soon      int // due within four weeks and not done
}

// VendorLoads counts a project's props by vendor, in the order of names.
func (tx *Tx) VendorLoads(ctx context.Context, project uuid.UUID) ([]VendorLoad, error) {
	if err := tx.allow("a project's vendors", StudioSide); err != nil {
		return nil, err
	}
	rows, err := tx.Query(ctx, `SELECT l.vendor_id, l.vendor_name, count(*)::int, (count(*) FILTER (WHERE l.state IN ('accepted', 'cancelled')))::int,
		(count(*) FILTER (WHERE l.state IN ('open', 'failed', 'returned')))::int, (count(*) FILTER (WHERE l.state IN ('review', 'held', 'stuck')))::int,
		(count(*) FILTER (WHERE l.state = 'inspecting'))::int, (count(*) FILTER (WHERE `+lineLate+`))::int,
		(count(*) FILTER (WHERE l.state NOT IN ('accepted', 'cancelled') AND l.due_sort < (now() AT TIME ZONE 'UTC')::date + 28))::int
		FROM ph.prop_line l WHERE l.studio_id = $1 AND l.project_id = $2 GROUP BY 1, 2 ORDER BY 2, 1`, tx.Who.Party, project)
	if err != nil {
		return nil, fmt.Errorf("vendors of project %s: %w", project, err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[VendorLoad])
}
