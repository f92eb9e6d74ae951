package ledger

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// FigureFilter narrows figures. Zero values mean all; days are in UTC, To is the first day after the period. Figures are
// kept by month: a period counts whole months, those that it touches.
type FigureFilter struct {
	From, To Date
	Vendor   uuid.UUID
	Project  uuid.UUID
	Tier     string
}

// Performance is what happened to the milestones that were accepted in a period, for one vendor, project or tier. Compare
// vendors within one tier: a hero prop is not a crate.
type Performance struct {
	Key                       string // a vendor's or project's id, or a tier
	Name                      string
	Accepted                  int64
	FirstPass                 int64 // accepted with the first delivery
	Rounds                    int64 // deliveries sealed for them
	ReworkVendor              int64 // rounds for nonconformities
	ReworkStudio              int64 // rounds for changed minds
	WithDue                   int64
	OnTime                    int64
	Vendor, Studio, Inspector time.Duration // on each desk, in all
}

// share is a part of a whole; 0 of nothing is 0.
func share(part, whole int64) float64 {
	if whole == 0 {
		return 0
	}
	return float64(part) / float64(whole)
}

// FirstPassYield is the share accepted with the first delivery.
func (p Performance) FirstPassYield() float64 { return share(p.FirstPass, p.Accepted) }

// OnTimeShare is the share, of those with a due date, whose accepted delivery was sealed by it.
func (p Performance) OnTimeShare() float64 { return share(p.OnTime, p.WithDue) }

// months is the period as conditions on a table that counts by month.
func (f FigureFilter) months(args []any) (string, []any) {
	cond := ""
	if !f.From.IsZero() {
		args = append(args, f.From)
		cond += fmt.Sprintf(" AND d.month >= date_trunc('month', $%d::date::timestamp)::date", len(args))
	}
	if !f.To.IsZero() {
		args = append(args, f.To)
		cond += fmt.Sprintf(" AND d.month < $%d", len(args)) // the first of the next month ends a period on the last
	}
	if f.Tier != "" {
		args = append(args, f.Tier)
		cond += fmt.Sprintf(" AND d.tier = $%d", len(args))
	}
	return cond, args
}

// where narrows the milestones' table; the caller's own column comes first, as its index begins with it.
func (f FigureFilter) where(args []any) (string, []any) {
	cond, args := f.months(args)
	if f.Vendor != uuid.Nil {
		args = append(args, f.Vendor)
		cond += fmt.Sprintf(" AND d.vendor_id = $%d", len(args))
	}
	if f.Project != uuid.Nil {
		args = append(args, f.Project)
		cond += fmt.Sprintf(" AND d.project_id = $%d", len(args))
	}
	return cond, args
}

// Performances lists the figures of a period by "vendor", "project" (the studio only) or "tier", in the order of names.
func (tx *Tx) Performances(ctx context.Context, by string, f FigureFilter) ([]Performance, error) {
	var key, name, join string
	switch by {
	case "vendor":
		key, name, join = "d.vendor_id::text", "e.vendor_name", "JOIN ph.engagement e ON e.studio_id = d.studio_id AND e.vendor_id = d.vendor_id"
	case "project":
		if err := tx.allow("figures by project", StudioSide); err != nil {
			return nil, err
		}
		key, name, join = "d.project_id::text", "p.title", "JOIN ph.project p ON p.studio_id = d.studio_id AND p.id = d.project_id"
	case "tier":
		key, name = "d.tier", "d.tier"
	default:
		return nil, invalid("by", "is not vendor, project or tier")
	}
	return remembered(ctx, tx, "figures", [2]any{by, f}, func() ([]Performance, error) { return tx.addPerformances(ctx, by, key, name, join, f) })
}

func (tx *Tx) addPerformances(ctx context.Context, by, key, name, join string, f FigureFilter) ([]Performance, error) {
	cond, args := f.where([]any{tx.Who.Party})
	rows, err := tx.Query(ctx, tx.sql(`SELECT `+key+`, `+name+`, sum(accepted)::bigint, sum(first_pass)::bigint, sum(rounds)::bigint, sum(rework_vendor)::bigint, sum(rework_studio)::bigint,
		sum(with_due)::bigint, sum(on_time)::bigint, sum(vendor_secs)::bigint, sum(studio_secs)::bigint, sum(inspector_secs)::bigint
		FROM ph.milestone_count d `+join+` WHERE d.{me} = $1`+cond+` GROUP BY 1, 2 ORDER BY 2, 1`), args...)
	if err != nil {
		return nil, fmt.Errorf("figures by %s: %w", by, err)
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (p Performance, err error) {
		var v, s, i int64
		err = row.Scan(&p.Key, &p.Name, &p.Accepted, &p.FirstPass, &p.Rounds, &p.ReworkVendor, &p.ReworkStudio, &p.WithDue, &p.OnTime, &v, &s, &i)
		p.Vendor, p.Studio, p.Inspector = time.Duration(v)*time.Second, time.Duration(s)*time.Second, time.Duration(i)*time.Second
		return p, err
	})
}

// CheckFigure says how often a check failed in a period.
type CheckFigure struct {
	Check          string
	Judged, Failed int64
}

// FailingChecks lists the checks that failed most often, over all recorded inspections of a period. The table holds the
// counts of all, of each vendor, of each project and of both; NULL stands for every one.
func (tx *Tx) FailingChecks(ctx context.Context, f FigureFilter, limit int) ([]CheckFigure, error) {
	return remembered(ctx, tx, "failing checks", [2]any{limit, f}, func() ([]CheckFigure, error) { return tx.addChecks(ctx, f, limit) })
}

func (tx *Tx) addChecks(ctx context.Context, f FigureFilter, limit int) ([]CheckFigure, error) {
	cond, args := f.months([]any{tx.Who.Party})
	if tx.Who.Side == VendorSide {
		if f.Vendor != uuid.Nil && f.Vendor != tx.Who.Party {
			return []CheckFigure{}, nil
		}
		f.Vendor = tx.Who.Party
	}
	for _, of := range []struct {
		column string
		id     uuid.UUID
	}{{"vendor_id", f.Vendor}, {"project_id", f.Project}} {
		if of.id == uuid.Nil {
			cond += " AND d." + of.column + " IS NULL"
			continue
		}
		args = append(args, of.id)
		cond += fmt.Sprintf(" AND d.%s = $%d", of.column, len(args))
	}
	rows, err := tx.Query(ctx, tx.sql(`SELECT d.chk, sum(d.judged)::bigint, sum(d.failed)::bigint FROM ph.check_count d WHERE d.{me} = $1`+cond+
		fmt.Sprintf(` GROUP BY 1 HAVING sum(d.failed) > 0 ORDER BY 3 DESC, 1 LIMIT %d`, min(max(limit, 1), 200))), args...)
	if err != nil {
		return nil, fmt.Errorf("failing checks: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[CheckFigure])
}
