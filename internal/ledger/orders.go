package ledger

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

var (
	codeForm     = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$`)
	currencyForm = regexp.MustCompile(`^[A-Z]{3}$`) // ISO 4217
)

const termsMax = 100_000

// CreateProject starts a project of the caller's studio. A code that is taken is ErrConflict.
func (tx *Tx) CreateProject(ctx context.Context, in NewProject) (Project, error) {
	if err := tx.allow("starting a project", StudioSide, Producer); err != nil {
		return Project{}, err
	}
	in.Title = strings.TrimSpace(in.Title)
	if err := checkCodeTitle(in.Code, in.Title); err != nil {
		return Project{}, err
	}
	p := Project{ID: newID(), StudioID: tx.Who.Party, Code: in.Code, Title: in.Title}
	err := tx.QueryRow(ctx, `INSERT INTO ph.project (studio_id, id, code, title, created_by, by_name) VALUES ($1, $2, $3, $4, $5, $6) RETURNING created_at`,
		p.StudioID, p.ID, p.Code, p.Title, tx.Who.Member, tx.Who.Name).Scan(&p.CreatedAt)
	if err != nil {
		return Project{}, fmt.Errorf("create project %s: %w", in.Code, err)
	}
	tx.fact(FactProjectCreated, tx.Who.Party, tx.Who.Party, p.ID)
	return p, nil
}

const projectColumns = `id, studio_id, code, title, created_at`

// Project is one project of the caller's studio.
func (tx *Tx) Project(ctx context.Context, id uuid.UUID) (Project, error) {
	rows, err := tx.Query(ctx, `SELECT `+projectColumns+` FROM ph.project WHERE studio_id = $1 AND id = $2`, tx.Who.Party, id)
	if err != nil {
		return Project{}, fmt.Errorf("project %s: %w", id, err)
	}
	p, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Project])
	return p, mapError(err)
}

// Projects lists the projects of the caller's studio, newest first.
func (tx *Tx) Projects(ctx context.Context, p Page) (List[Project], error) {
	after, err := p.afterID(lastID)
	if err != nil {
		return List[Project]{}, err
	}
	rows, err := tx.Query(ctx, `SELECT `+projectColumns+` FROM ph.project WHERE studio_id = $1 AND id < $2 ORDER BY id DESC LIMIT $3`,
		tx.Who.Party, after, p.limit()+1)
	if err != nil {
		return List[Project]{}, fmt.Errorf("list projects: %w", err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Project])
	if err != nil {
		return List[Project]{}, fmt.Errorf("list projects: %w", err)
	}
	return listOf(items, p.limit(), func(p Project) string { return cursor(p.ID.String()) }), nil
}

// CreateWorkOrder places a work order with a vendor. Its log begins with it.
func (tx *Tx) CreateWorkOrder(ctx context.Context, in NewWorkOrder) (WorkOrder, error) {
	if err := tx.allow("placing a work order", StudioSide, Producer); err != nil {
		return WorkOrder{}, err
	}
	in.Title = strings.TrimSpace(in.Title)
	if err := faults(in.Faults()).first(); err != nil {
		return WorkOrder{}, err
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.work_order (studio_id, vendor_id, id, project_id, code, title, currency, rounds_included, review_days, terms, silence_accepts, kill_fee_bp, placed_by, by_name, codename, nda_required, source_roles, origin_required)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18)`,
		tx.Who.Party, in.Vendor, id, in.Project, in.Code, in.Title, in.Currency, in.RoundsIncluded, in.ReviewDays, in.Terms, in.SilenceAccepts, in.KillFeeBP,
		tx.Who.Member, tx.Who.Name, in.Codename, in.Secret, append([]string{}, in.SourceRoles...), in.OriginRequired); err != nil {
		return WorkOrder{}, fmt.Errorf("place work order %s: %w", in.Code, err)
	}
	if _, err := tx.Exec(ctx, `INSERT INTO ph.log (studio_id, vendor_id, id, root) VALUES ($1, $2, $3, $4)`, tx.Who.Party, in.Vendor, id, emptyRoot[:]); err != nil {
		return WorkOrder{}, fmt.Errorf("begin the log of work order %s: %w", in.Code, err)
	}
	tx.fact(FactWorkOrderPlaced, tx.Who.Party, id, id)
	if _, err := tx.PinCalendar(ctx, id, in.Calendar); err != nil && (in.Calendar != uuid.Nil || !errors.Is(err, ErrState)) {
		return WorkOrder{}, err
	}
	return tx.WorkOrder(ctx, id)
}

const workOrderSelect = `SELECT w.id, w.studio_id, w.vendor_id, e.studio_name, e.vendor_name, w.project_id, w.code, w.title, w.currency, w.rounds_included, w.review_days, w.terms,
	w.placed_at, w.silence_accepts, w.kill_fee_bp, w.codename, w.nda_required, w.source_roles, w.origin_required, coalesce(l.size, 0)
	FROM ph.work_order w JOIN ph.engagement e ON e.studio_id = w.studio_id AND e.vendor_id = w.vendor_id LEFT JOIN ph.log l ON l.studio_id = w.studio_id AND l.id = w.id `

// WorkOrder is one work order that the caller may see.
func (tx *Tx) WorkOrder(ctx context.Context, id uuid.UUID) (WorkOrder, error) {
	list, err := tx.workOrders(ctx, `WHERE w.{me} = $1 AND w.id = $2`, id)
	switch {
	case err != nil:
		return WorkOrder{}, fmt.Errorf("work order %s: %w", id, mapError(err))
	case len(list) == 0:
		return WorkOrder{}, ErrNotFound
	}
	return list[0], nil
}

// WorkOrders lists the work orders that the caller may see, newest first.
func (tx *Tx) WorkOrders(ctx context.Context, p Page) (List[WorkOrder], error) {
	after, err := p.afterID(lastID)
	if err != nil {
		return List[WorkOrder]{}, err
	}
	items, err := tx.workOrders(ctx, `WHERE w.{me} = $1 AND w.id < $2 ORDER BY w.id DESC LIMIT $3`, after, p.limit()+1)
	if err != nil {
		return List[WorkOrder]{}, fmt.Errorf("list work orders: %w", err)
	}
	return listOf(items, p.limit(), func(w WorkOrder) string { return cursor(w.ID.String()) }), nil
}

// workOrders runs a workOrderSelect and fills in what is counted of each order.
func (tx *Tx) workOrders(ctx context.Context, where string, args ...any) ([]WorkOrder, error) {
	rows, err := tx.Query(ctx, tx.sql(workOrderSelect+where), append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return nil, err
	}
	var sized []sizedOrder
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (w WorkOrder, err error) {
		var size int64
		err = row.Scan(&w.ID, &w.StudioID, &w.VendorID, &w.StudioName, &w.VendorName, &w.ProjectID, &w.Code, &w.Title, &w.Currency, &w.RoundsIncluded, &w.ReviewDays, &w.Terms,
			&w.PlacedAt, &w.SilenceAccepts, &w.KillFeeBP, &w.Codename, &w.Secret, &w.SourceRoles, &w.OriginRequired, &size)
		sized = append(sized, sizedOrder{w.StudioID, w.ID, size})
		return w, err
	})
	if err != nil || len(list) == 0 {
		return list, err
	}
	counts, err := rememberedByOrder(tx, "order", sized, func(studios, ids []uuid.UUID) (map[uuid.UUID]orderCounts, error) {
		return tx.countOrders(ctx, studios, ids)
	})
	if err != nil {
		return nil, err
	}
	for i := range list {
		w, n := &list[i], counts[list[i].ID]
		w.Props, w.Milestones, w.Accepted, w.PriceMinor, w.PayableMinor = n.props, n.milestones, n.accepted, n.priceMinor, n.payableMinor
	}
	return list, nil
}

// orderCounts is what is counted of one order.
type orderCounts struct {
	props, milestones, accepted int
	priceMinor, payableMinor    int64
}

// countOrders counts for each order, by indexes that begin with (studio_id, work_order_id).
func (tx *Tx) countOrders(ctx context.Context, studios, ids []uuid.UUID) (map[uuid.UUID]orderCounts, error) {
	rows, err := tx.Query(ctx, `SELECT w.id, p.props, m.milestones, m.accepted, p.price_minor + m.change_minor, y.payable_minor
		FROM unnest($1::uuid[], $2::uuid[]) AS w (studio_id, id)
		CROSS JOIN LATERAL (SELECT count(*)::int AS props, coalesce(sum(price_minor), 0)::bigint AS price_minor
			FROM ph.prop WHERE studio_id = w.studio_id AND work_order_id = w.id) p
		CROSS JOIN LATERAL (SELECT count(*)::int AS milestones, (count(*) FILTER (WHERE state = 'accepted'))::int AS accepted, coalesce(sum(change_minor), 0)::bigint AS change_minor
			FROM ph.milestone WHERE studio_id = w.studio_id AND work_order_id = w.id) m
		CROSS JOIN LATERAL (SELECT coalesce(sum(amount_minor), 0)::bigint AS payable_minor
			FROM ph.payable WHERE studio_id = w.studio_id AND work_order_id = w.id) y`, studios, ids)
	if err != nil {
		return nil, err
	}
	out := make(map[uuid.UUID]orderCounts, len(ids))
	var id uuid.UUID
	var n orderCounts
	_, err = pgx.ForEachRow(rows, []any{&id, &n.props, &n.milestones, &n.accepted, &n.priceMinor, &n.payableMinor}, func() error { out[id] = n; return nil })
	return out, err
}

// CreateProp adds a prop with its milestones to a work order. The price is split over the milestones to the last
// minor unit.
func (tx *Tx) CreateProp(ctx context.Context, in NewProp) (Prop, error) {
	if err := tx.allow("ordering a prop", StudioSide, Producer); err != nil {
		return Prop{}, err
	}
	in.Title = strings.TrimSpace(in.Title)
	if in.Kind == "" {
		in.Kind = "prop"
	}
	if err := faults(in.Faults()).first(); err != nil {
		return Prop{}, err
	}
	var vendor uuid.UUID
	if err := tx.QueryRow(ctx, `SELECT vendor_id FROM ph.work_order WHERE studio_id = $1 AND id = $2`, tx.Who.Party, in.WorkOrder).Scan(&vendor); err != nil {
		return Prop{}, fmt.Errorf("order prop %s in %s: %w", in.Code, in.WorkOrder, mapError(err))
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.prop (studio_id, vendor_id, work_order_id, id, code, title, tier, price_minor, ordered_by, by_name, kind, kit, pilot)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, nullif($12, ''), $13)`,
		tx.Who.Party, vendor, in.WorkOrder, id, in.Code, in.Title, in.Tier, in.PriceMinor, tx.Who.Member, tx.Who.Name, in.Kind, in.Kit, in.Pilot); err != nil {
		return Prop{}, fmt.Errorf("order prop %s: %w", in.Code, err)
	}
	amounts := in.Amounts()
	batch := &pgx.Batch{}
	for i, m := range in.Milestones {
		batch.Queue(`INSERT INTO ph.milestone (studio_id, vendor_id, work_order_id, prop_id, id, position, kind, share_bp, amount_minor, due_on)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
			tx.Who.Party, vendor, in.WorkOrder, id, newID(), i+1, m.Kind, m.ShareBP, amounts[i], m.Due)
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return Prop{}, fmt.Errorf("milestones of prop %s: %w", in.Code, err)
	}
	tx.fact(FactPropOrdered, tx.Who.Party, in.WorkOrder, id)
	return tx.Prop(ctx, id)
}

var (
	milestoneKinds = map[string]bool{"block_out": true, "sculpt": true, "game_mesh": true, "maps": true, "final": true}
	propKinds      = map[string]bool{"prop": true, "texture_set": true, "kit": true}
	tiers          = map[string]bool{"background": true, "mid": true, "hero": true, "close_up": true}
)

const priceMax = 1_000_000_000_000 // in minor units

// splitAmount splits a price by shares in basis points (10,000 together), so that the parts sum to the price exactly:
// each gets the whole units of its share, and the units left over go one each to the largest remainders, the earlier
// one first where two are equal (largest remainder method, also named after Hamilton).
func splitAmount(priceMinor int64, sharesBP []int) []int64 {
	amounts := make([]int64, len(sharesBP))
	remainders := make([]int64, len(sharesBP))
	left := priceMinor
	for i, bp := range sharesBP {
		product := priceMinor * int64(bp) // at most 1e12 × 1e4, far below 2^63
		amounts[i], remainders[i] = product/10000, product%10000
		left -= amounts[i]
	}
	for ; left > 0; left-- {
		best := 0
		for i, r := range remainders {
			if r > remainders[best] {
				best = i
			}
		}
		amounts[best]++
		remainders[best] = -1
	}
	return amounts
}
