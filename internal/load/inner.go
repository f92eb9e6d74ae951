package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"golang.org/x/sync/errgroup"

	"proofhouse/internal/embedded"
	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/ledger"
)

// inner is what the ledger does by itself, with no HTTP before it, on the same database.
type inner struct {
	Facts           []rate  // facts a second, by how many a transaction appends
	PerMinute       float64 // deliveries from a manifest to a recorded inspection of 60 findings
	Deliveries      int
	Pgbench         float64 // transactions a second
	PgbenchClients  int
	PgbenchScale    int
	PgbenchLatency  float64 // ms
	PostgresVersion string
}

type rate struct {
	Each      int
	PerSecond float64
}

const (
	factOrders   = 50
	factClients  = 16
	factTime     = 8 * time.Second
	minuteTime   = 15 * time.Second
	pgbenchScale = 50
	pgbenchSecs  = 15
)

// measureInner starts the database of a data folder by itself, as nobody else uses it now.
func measureInner(ctx context.Context, dir string, m manifest) (out inner, err error) {
	pg, err := embedded.StartPostgres(ctx, embedded.PostgresConfig{Folder: dir})
	if err != nil {
		return out, err
	}
	defer func() { err = errors.Join(err, pg.Stop()) }()
	admin, err := pgx.Connect(ctx, pg.URL())
	if err != nil {
		return out, err
	}
	defer admin.Close(context.WithoutCancel(ctx))
	if err := admin.QueryRow(ctx, `SHOW server_version`).Scan(&out.PostgresVersion); err != nil {
		return out, err
	}
	api, err := poolOf(ctx, pg, ledger.RoleAPI, factClients)
	if err != nil {
		return out, err
	}
	defer api.Close()
	worker, err := poolOf(ctx, pg, ledger.RoleWorker, 8)
	if err != nil {
		return out, err
	}
	defer worker.Close()
	store, err := ledger.NewStore(api)
	if err != nil {
		return out, err
	}
	for _, each := range []int{1, 20} {
		say("facts, %d a transaction", each)
		n, err := facts(ctx, admin, store, m, each)
		if err != nil {
			return out, fmt.Errorf("facts: %w", err)
		}
		out.Facts = append(out.Facts, rate{each, n})
	}
	say("deliveries a minute")
	if out.Deliveries, out.PerMinute, err = deliveries(ctx, admin, store, ledger.NewWorker(worker), m); err != nil {
		return out, fmt.Errorf("deliveries: %w", err)
	}
	say("pgbench")
	return out, out.pgbench(ctx, admin, pg)
}

// poolOf opens a pool as the service's programs do.
func poolOf(ctx context.Context, pg *embedded.Postgres, role string, most int32) (*pgxpool.Pool, error) {
	cfg, err := pgxpool.ParseConfig(pg.RoleURL(role))
	if err != nil {
		return nil, err
	}
	cfg.MaxConns = most
	ledger.PlainUUIDs(cfg)
	return pgxpool.NewWithConfig(ctx, cfg)
}

// facts writes notes on one delivery of each of fifty work orders, each note a leaf of its order's log.
func facts(ctx context.Context, admin *pgx.Conn, store *ledger.Store, m manifest, each int) (float64, error) {
	who := ledger.Who{Party: m.Studio, Side: ledger.StudioSide, Name: "Lead"}
	if err := admin.QueryRow(ctx, `SELECT id FROM ph.member WHERE party_id = $1 ORDER BY id DESC LIMIT 1`, m.Studio).Scan(&who.Member); err != nil {
		return 0, err
	}
	rows, err := admin.Query(ctx, `SELECT d.id FROM (SELECT studio_id, id FROM ph.work_order WHERE studio_id = $1 ORDER BY md5(id::text) LIMIT $2) w
		CROSS JOIN LATERAL (SELECT id FROM ph.delivery d WHERE d.studio_id = w.studio_id AND d.work_order_id = w.id AND d.state = 'sealed' LIMIT 1) d`, m.Studio, factOrders)
	if err != nil {
		return 0, err
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
	if err != nil {
		return 0, err
	}
	var next, done atomic.Int64
	began := time.Now()
	group, ctx := errgroup.WithContext(ctx)
	for range factClients {
		group.Go(func() error {
			for time.Since(began) < factTime {
				id := ids[int(next.Add(1))%len(ids)]
				if err := store.InTx(ctx, who, func(tx *ledger.Tx) error {
					for range each {
						if _, err := tx.AddNote(ctx, ledger.NewNote{Delivery: id, Text: "Looks right from the pier."}); err != nil {
							return err
						}
					}
					return nil
				}); err != nil {
					return err
				}
				done.Add(int64(each))
			}
			return nil
		})
	}
	err = group.Wait()
	return float64(done.Load()) / time.Since(began).Seconds(), err
}

// deliveries takes deliveries from their manifest to a recorded inspection: six transactions each, by eight at once.
func deliveries(ctx context.Context, admin *pgx.Conn, store *ledger.Store, worker *ledger.Worker, m manifest) (int, float64, error) {
	type job struct {
		who       ledger.Who
		milestone uuid.UUID
	}
	var jobs []job
	vendors, err := leads(ctx, admin, m.Studio)
	if err != nil {
		return 0, 0, err
	}
	for _, l := range vendors {
		who := ledger.Who{Party: l.Party, Member: l.Member, Side: ledger.VendorSide, Name: "Lead", Roles: []ledger.Role{ledger.VendorLead}}
		list, err := strings1(ctx, admin, toDeliver, l.Party)
		if err != nil {
			return 0, 0, err
		}
		for _, id := range list {
			jobs = append(jobs, job{who, uuid.MustParse(id)})
		}
	}
	rand.New(rand.NewPCG(m.Seed, 3)).Shuffle(len(jobs), func(i, j int) { jobs[i], jobs[j] = jobs[j], jobs[i] }) // vendors and orders in no order, as they come
	var next, done atomic.Int64
	began := time.Now()
	group, ctx := errgroup.WithContext(ctx)
	for range 8 {
		group.Go(func() error {
			for i := next.Add(1) - 1; i < int64(len(jobs)) && time.Since(began) < minuteTime; i = next.Add(1) - 1 {
				if err := deliverOne(ctx, store, worker, jobs[i].who, jobs[i].milestone); err != nil {
					return err
				}
				done.Add(1)
			}
			return nil
		})
	}
	err = group.Wait()
	if n := int64(len(jobs)); err == nil && next.Load() > n && time.Since(began) < minuteTime {
		err = fmt.Errorf("%d milestones are too few for %s", n, minuteTime)
	}
	return int(done.Load()), float64(done.Load()) / time.Since(began).Minutes(), err
}

func deliverOne(ctx context.Context, store *ledger.Store, worker *ledger.Worker, who ledger.Who, milestone uuid.UUID) error {
	digest := sha256.Sum256(meshBytes)
	var d ledger.Delivery
	if err := store.InTx(ctx, who, func(tx *ledger.Tx) (err error) {
		d, err = tx.OpenDelivery(ctx, ledger.Manifest{Milestone: milestone, Files: []ledger.NewFile{{Path: "piece.glb", Role: "game", Size: int64(len(meshBytes)), SHA256: digest[:], MediaType: "model/gltf-binary"}}})
		return err
	}); err != nil {
		return err
	}
	if err := store.InTx(ctx, who, func(tx *ledger.Tx) error { _, err := tx.BeginSeal(ctx, d.ID); return err }); err != nil {
		return err
	}
	if err := store.InTx(ctx, who, func(tx *ledger.Tx) error {
		_, err := tx.FinishSeal(ctx, d.ID, []ledger.Arrived{{File: d.Files[0].ID, Size: d.Files[0].Size, ETag: "e"}})
		return err
	}); err != nil {
		return err
	}
	job, err := worker.Claim(ctx, "load")
	if errors.Is(err, ledger.ErrNotFound) {
		return nil // another took it and has not recorded it yet
	}
	if err != nil {
		return err
	}
	r := ledger.Result{Engine: "load", EngineDigest: "load", Verdict: ledger.VerdictPass, Headline: "technical: clear", EvidenceSHA256: digest[:]}
	for i := range 60 {
		v := float64(i)
		r.Findings = append(r.Findings, ledger.Finding{Check: fmt.Sprintf("load.check_%02d", i), Outcome: "pass", Blocks: true, Measured: &v, Unit: "count", LimitKey: "max_count", Limit: &v})
	}
	r.Objects = []ledger.EvidenceObject{{Name: "evidence.json", What: "the evidence", ObjectKey: "load", SHA256: digest[:], Size: 1, MediaType: "application/json"}}
	return worker.Record(ctx, job.Inspection.ID, job.Fence, r, nil)
}

var tpsLine = regexp.MustCompile(`tps = ([0-9.]+)`)
var latencyLine = regexp.MustCompile(`latency average = ([0-9.]+)`)

// pgbench runs PostgreSQL's own benchmark, its TPC-B-like default script, in a database of its own on the same cluster.
func (out *inner) pgbench(ctx context.Context, admin *pgx.Conn, pg *embedded.Postgres) error {
	program := filepath.Join(pg.BinDir(), "pgbench")
	if _, err := exec.LookPath(program); err != nil {
		return fmt.Errorf("pgbench: %w (it comes with PostgreSQL's server package)", err)
	}
	if _, err := admin.Exec(ctx, `DROP DATABASE IF EXISTS pgbench`); err != nil {
		return err
	}
	if _, err := admin.Exec(ctx, `CREATE DATABASE pgbench`); err != nil {
		return err
	}
	url := pg.URLFor(pgserver.Owner, pg.OwnerPassword(), "pgbench")
	if text, err := exec.CommandContext(ctx, program, "-i", "-q", "-s", strconv.Itoa(pgbenchScale), url).CombinedOutput(); err != nil {
		return fmt.Errorf("pgbench: %w: %s", err, text)
	}
	out.PgbenchScale, out.PgbenchClients = pgbenchScale, factClients
	text, err := exec.CommandContext(ctx, program, "-M", "prepared", "-c", strconv.Itoa(factClients), "-j", strconv.Itoa(runtime.NumCPU()), "-T", strconv.Itoa(pgbenchSecs), url).CombinedOutput()
	if err != nil {
		return fmt.Errorf("pgbench: %w: %s", err, text)
	}
	for _, read := range []struct {
		line *regexp.Regexp
		to   *float64
	}{{tpsLine, &out.Pgbench}, {latencyLine, &out.PgbenchLatency}} {
		if found := read.line.FindSubmatch(text); found != nil {
			*read.to, _ = strconv.ParseFloat(string(found[1]), 64)
		}
	}
	_, err = admin.Exec(ctx, `DROP DATABASE pgbench`)
	return err
}
