package seed

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"
)

func sum(b []byte) []byte { s := sha256.Sum256(b); return s[:] }

// unhex reads a digest of our own making.
func unhex(s string) []byte { b, _ := hex.DecodeString(s); return b }

// loader is one connection with its tables, which it has emptied in its transaction.
type loader struct {
	conn   *pgx.Conn
	tx     pgx.Tx
	chunks chan *tables
	specs  []tableSpec
}

func (w *world) newLoader(ctx context.Context, connect func() (*pgx.Conn, error), n int) (*loader, error) {
	conn, err := connect()
	if err != nil {
		return nil, err
	}
	l := &loader{conn: conn, chunks: make(chan *tables, 1)}
	// Past triggers: each would look at one row at a time. What they hold is held by how the rows are made.
	if _, err := conn.Exec(ctx, `SET session_replication_role = replica; SET synchronous_commit = off`); err != nil {
		return nil, err
	}
	if l.tx, err = conn.Begin(ctx); err != nil {
		return nil, err
	}
	for _, s := range tableSpecs {
		if s.loader != n {
			continue
		}
		l.specs = append(l.specs, s)
		if s.name == "log" { // the studios' own are there
			continue
		}
		if _, err := l.tx.Exec(ctx, `TRUNCATE ph.`+s.name); err != nil {
			return nil, fmt.Errorf("empty %s: %w", s.name, err)
		}
	}
	return l, nil
}

// run copies chunk after chunk.
func (l *loader) run(ctx context.Context) error {
	defer l.conn.Close(context.WithoutCancel(ctx))
	for t := range l.chunks {
		for _, s := range l.specs {
			if s.name == "finding" {
				if err := l.findings(ctx, t, s.columns); err != nil {
					return err
				}
				continue
			}
			if err := copyInto(ctx, l.tx, s.name, s.columns, t.of(s.name), s.name != "log"); err != nil {
				return err
			}
		}
	}
	return l.tx.Commit(ctx)
}

// findings go straight into the parts: only those can be frozen.
func (l *loader) findings(ctx context.Context, t *tables, columns string) error {
	for _, name := range t.parts() {
		if err := copyInto(ctx, l.tx, name, columns, t.of(name), true); err != nil {
			return err
		}
	}
	return nil
}

// copyAll plays the orders, some forty at a time, while what was played before is copied.
func (w *world) copyAll(ctx context.Context, connect func() (*pgx.Conn, error)) error {
	group, ctx := errgroup.WithContext(ctx)
	var list []*loader
	for n := range loaders {
		l, err := w.newLoader(ctx, connect, n)
		if err != nil {
			return err
		}
		list = append(list, l)
		group.Go(func() error { return l.run(ctx) })
	}
	group.Go(func() error {
		defer func() {
			for _, l := range list {
				close(l.chunks)
			}
		}()
		return w.playAll(ctx, func(t *tables) error {
			for _, l := range list {
				select {
				case l.chunks <- t:
				case <-ctx.Done():
					return ctx.Err()
				}
			}
			return nil
		})
	})
	return group.Wait()
}

// playAll plays stretches of the year in a drawn order, so that how often work is returned can follow the promised count.
func (w *world) playAll(ctx context.Context, send func(*tables) error) error {
	p := &w.player
	p.tables = newTables()
	if err := w.begins(); err != nil {
		return err
	}
	var stretches [][]*order
	for part := range slices.Chunk(w.orders, ordersAtOnce) {
		stretches = append(stretches, part)
	}
	p.rng.Shuffle(len(stretches), func(i, j int) { stretches[i], stretches[j] = stretches[j], stretches[i] })
	rounds := float64(w.Deliveries) / 4
	for i, part := range stretches {
		for _, o := range part {
			// What is missing is made up over the next tenth of the props.
			missing := (1.005*float64(w.Deliveries*p.counts.Props) - float64(p.counts.Deliveries)) / (4 * float64(max(w.Props/10, 20)))
			o.rounds = min(max(rounds+missing, 1), 8)
			if err := p.play(o); err != nil {
				return err
			}
			o.acts = nil
		}
		if err := send(p.tables); err != nil {
			return err
		}
		p.tables = newTables()
		if (i+1)%5 == 0 {
			w.Tell("%d of %d props", p.counts.Props, w.Props)
		}
	}
	return nil
}

// begins writes vendors' engagements and projects, with their facts in the studios' own logs.
func (w *world) begins() error {
	p := &w.player
	for i, s := range w.studios {
		first := &s.people[0]
		l := logBook{studio: s.id, id: s.id}
		for n := range w.vendors {
			v, at := &w.vendors[n], w.begin.AddDate(0, 0, -7)
			p.tables.begin("engagement").id(s.id).id(v.id).text(s.name).text(v.name).time(at).id(first.id).done(at)
			var d object
			d.text("name", v.name).id("vendor", v.id)
			if err := l.add(p.rng, p.tables, act{at: at, kind: "vendor.engaged", version: 1, subject: v.id, actor: "studio", by: first, data: d.end()}); err != nil {
				return err
			}
		}
		for n := range w.project[s] {
			j := &w.project[s][n]
			p.tables.begin("project").id(s.id).id(j.id).text(j.code).text(j.title).time(j.at).id(first.id).text(first.name).done(j.at)
			var d object
			d.text("code", j.code).text("title", j.title)
			if err := l.add(p.rng, p.tables, act{at: j.at, kind: "project.created", version: 1, subject: j.id, actor: "studio", by: first, data: d.end()}); err != nil {
				return err
			}
		}
		w.books[i] = l
	}
	return nil
}

// derived writes what is not copied: the heads of the studios' logs, and the sums.
func (w *world) derived(ctx context.Context, conn *pgx.Conn) error {
	checks, milestones := w.player.figures.rows()
	return pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		for _, l := range w.books {
			root, frontier, err := l.head()
			if err != nil {
				return err
			}
			if _, err := tx.Exec(ctx, `UPDATE ph.log SET size = $2, root = $3, frontier = $4 WHERE studio_id = $1 AND id = $1`, l.id, l.size, root[:], frontier); err != nil {
				return fmt.Errorf("log of a studio: %w", err)
			}
		}
		if err := copyInto(ctx, tx, "check_count", checkColumns, &checks, false); err != nil {
			return err
		}
		if err := copyInto(ctx, tx, "milestone_count", milestoneColumns, &milestones, false); err != nil {
			return err
		}
		// What triggers keep beside the rows, by the triggers' own functions.
		for _, keep := range []string{
			`SELECT ph.write_lines(studio_id, array_agg(id)) FROM ph.prop GROUP BY studio_id, work_order_id`,
			`INSERT INTO ph.stored (studio_id, vendor_id, work_order_id, prop_id, delivered_bytes, evidence_bytes)
			 SELECT studio_id, vendor_id, work_order_id, prop_id, sum(delivered), sum(evidence) FROM (
			   SELECT studio_id, vendor_id, work_order_id, prop_id, bytes AS delivered, 0::bigint AS evidence FROM ph.delivery WHERE state = 'sealed'
			   UNION ALL SELECT i.studio_id, i.vendor_id, i.work_order_id, i.prop_id, 0, e.size FROM ph.evidence e JOIN ph.inspection i ON i.studio_id = e.studio_id AND i.id = e.inspection_id) a
			 GROUP BY studio_id, vendor_id, work_order_id, prop_id`,
		} {
			if _, err := tx.Exec(ctx, keep); err != nil {
				return fmt.Errorf("%s: %w", keep, err)
			}
		}
		return nil
	})
}

// members writes vendors and everybody's people; all have the first member's password.
func (w *world) members(ctx context.Context, tx pgx.Tx) error {
	var list []*party
	list = append(list, w.studios...)
	for i := range w.vendors {
		v := &w.vendors[i]
		if _, err := tx.Exec(ctx, `INSERT INTO ph.party (id, side, name, created_at) VALUES ($1, 'vendor', $2, $3)`, v.id, v.name, w.begin.AddDate(0, 0, -7)); err != nil {
			return fmt.Errorf("vendor: %w", err)
		}
		list = append(list, v)
	}
	for _, p := range list {
		for i, m := range p.people {
			if p.side == "studio" && i == 0 {
				continue
			}
			if _, err := tx.Exec(ctx, `INSERT INTO ph.member (party_id, id, side, name, email, password_hash, roles, created_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
				p.id, m.id, p.side, m.name, m.email, w.hash, m.roles, w.begin.AddDate(0, 0, -7)); err != nil {
				return fmt.Errorf("member: %w", err)
			}
		}
	}
	return nil
}
