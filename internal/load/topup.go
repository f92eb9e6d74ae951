package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"

	"proofhouse/internal/embedded"
	"proofhouse/internal/ledger"
)

// toDeliver are milestones of a vendor on which a delivery may be opened.
const (
	deliverable = `FROM ph.milestone m JOIN ph.prop p ON p.studio_id = m.studio_id AND p.id = m.prop_id
		WHERE m.state IN ('open', 'failed', 'returned', 'stuck') AND p.spec_in_force IS NOT NULL
		AND NOT EXISTS (SELECT FROM ph.delivery d WHERE d.studio_id = m.studio_id AND d.milestone_id = m.id AND d.state IN ('open', 'sealing'))`
	toDeliver = `SELECT m.id::text ` + deliverable + ` AND m.vendor_id = $1 ORDER BY md5(m.id::text) LIMIT 4000`
)

// perMinuteMost is how many deliveries the ledger by itself may take in a run: four times as many as it did when this was written.
const perMinuteMost = 6000

// stagesEach are the stages of a prop that is ordered here, with their shares of its price in basis points.
var stagesEach = []ledger.NewMilestone{{Kind: "sculpt", ShareBP: 3000}, {Kind: "game_mesh", ShareBP: 3000}, {Kind: "maps", ShareBP: 2000}, {Kind: "final", ShareBP: 2000}}

const propsAtOnce = 20 // in one transaction

// shortOf is a vendor's order that gets further props, and how many.
type shortOf struct {
	vendor, order, spec uuid.UUID
	props               int
}

// topUp sees to it that every vendor of the large studio has its share of need milestones to deliver on, so that runs do not eat the
// ledger up and no single caller seals more than a caller may ask. What is missing is ordered as producers order it, through the
// ledger itself: rows, leaves and receipts are the service's own. It says how many props that were.
func topUp(ctx context.Context, dir string, m manifest, need int) (props int, err error) {
	pg, err := embedded.StartPostgres(ctx, embedded.PostgresConfig{Folder: dir})
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, pg.Stop()) }()
	if err := ledger.Migrate(ctx, pg.URL(), pg.RolePassword); err != nil {
		return 0, err
	}
	admin, err := pgx.Connect(ctx, pg.URL())
	if err != nil {
		return 0, err
	}
	defer admin.Close(context.WithoutCancel(ctx))
	short, err := shortVendors(ctx, admin, m.Studio, need)
	if err != nil {
		return 0, err
	}
	who := ledger.Who{Party: m.Studio, Side: ledger.StudioSide, Name: "Lead", Roles: []ledger.Role{ledger.Producer}}
	if err := admin.QueryRow(ctx, `SELECT id FROM ph.member WHERE party_id = $1 AND 'producer' = ANY (roles) ORDER BY id LIMIT 1`, m.Studio).Scan(&who.Member); err != nil {
		return 0, fmt.Errorf("a producer: %w", err)
	}
	api, err := poolOf(ctx, pg, ledger.RoleAPI, 4)
	if err != nil {
		return 0, err
	}
	defer api.Close()
	store, err := ledger.NewStore(api)
	if err != nil {
		return 0, err
	}
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(4) // orders at once: a log takes one transaction at a time
	for _, s := range short {
		props += s.props
		group.Go(func() error {
			for n := 0; n < s.props; n += propsAtOnce {
				if err := store.InTx(ctx, who, func(tx *ledger.Tx) error { return orderMore(ctx, tx, s, min(propsAtOnce, s.props-n)) }); err != nil {
					return fmt.Errorf("order props in %s: %w", s.order, err)
				}
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		return 0, err
	}
	if props > 0 {
		say("%d props ordered of %d vendors, for what is sealed", props, len(short))
	}
	return props, nil
}

// shortVendors lists the vendors of a studio that have less than their share of need milestones to deliver on, each with its newest
// order and a spec of that order.
func shortVendors(ctx context.Context, admin *pgx.Conn, studio uuid.UUID, need int) ([]shortOf, error) {
	rows, err := admin.Query(ctx, `SELECT e.vendor_id, w.id, s.id, coalesce(n.n, 0), count(*) OVER ()
		FROM ph.engagement e
		CROSS JOIN LATERAL (SELECT w.id FROM ph.work_order w WHERE w.studio_id = e.studio_id AND w.vendor_id = e.vendor_id ORDER BY w.id DESC LIMIT 1) w
		CROSS JOIN LATERAL (SELECT s.id FROM ph.spec_revision s JOIN ph.prop p ON p.studio_id = s.studio_id AND p.spec_in_force = s.id
			WHERE p.studio_id = e.studio_id AND p.work_order_id = w.id ORDER BY s.id LIMIT 1) s
		LEFT JOIN (SELECT m.vendor_id, count(*)::int AS n `+deliverable+` AND m.studio_id = $1 GROUP BY 1) n ON n.vendor_id = e.vendor_id
		WHERE e.studio_id = $1 ORDER BY e.vendor_id`, studio)
	if err != nil {
		return nil, fmt.Errorf("vendors that are short of work: %w", err)
	}
	var out []shortOf
	var s shortOf
	var have, vendors int
	_, err = pgx.ForEachRow(rows, []any{&s.vendor, &s.order, &s.spec, &have, &vendors}, func() error {
		if missing := (need+vendors-1)/vendors - have; missing > 0 {
			s.props = (missing + len(stagesEach) - 1) / len(stagesEach)
			out = append(out, s)
		}
		return nil
	})
	return out, err
}

// orderMore orders n props with the spec of another one of their order.
func orderMore(ctx context.Context, tx *ledger.Tx, s shortOf, n int) error {
	like, err := tx.SpecRevision(ctx, s.spec)
	if err != nil {
		return err
	}
	stages := append([]ledger.NewMilestone(nil), stagesEach...)
	due := time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 2, 0)
	for i := range stages {
		stages[i].Due = &due
	}
	for range n {
		p, err := tx.CreateProp(ctx, ledger.NewProp{WorkOrder: s.order, Code: "spare_" + uuid.NewString()[:13], Title: "Spare piece for the quay", Tier: "mid", PriceMinor: 120_000, Milestones: stages})
		if err != nil {
			return err
		}
		if _, err := tx.CreateSpecRevision(ctx, ledger.NewSpecRevision{Prop: p.ID, Document: like.Document, Digest: like.Digest}); err != nil {
			return err
		}
	}
	return nil
}

// leads are one lead of each of the studio's vendors: all of them have the password of the manifest's members.
func leads(ctx context.Context, conn *pgx.Conn, studio uuid.UUID) ([]lead, error) {
	rows, err := conn.Query(ctx, `SELECT DISTINCT ON (m.party_id) m.party_id, m.id, m.email FROM ph.engagement e JOIN ph.member m ON m.party_id = e.vendor_id
		WHERE e.studio_id = $1 AND 'vendor_lead' = ANY (m.roles) ORDER BY m.party_id, m.id`, studio)
	if err != nil {
		return nil, fmt.Errorf("vendors' leads: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[lead])
}

type lead struct {
	Party, Member uuid.UUID
	Email         string
}
