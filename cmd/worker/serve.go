package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"os"
	"runtime"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"proofhouse/internal/desk"
	"proofhouse/internal/inspection"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
	"proofhouse/internal/watch"
)

// config is everything `worker serve` is told. Each field can be given as a flag or in the environment.
type config struct {
	databaseURL string // secret
	s3          storage.Config
	slots       int
	threads     int
	scratch     string
	memoryMB    int
	minutes     int
	grace       time.Duration
	metrics     string // address
	collector   string // OTLP
}

const serveUsage = `Take inspections from the queue, inspect, record. Start as many as you like, on as many machines as you like.
SIGTERM lets running inspections finish, then stops. Each setting is a flag or the variable named behind it.
`

func serve(ctx context.Context, exe string, args []string) int {
	c, code := readConfig(args)
	if code >= 0 {
		return code
	}
	log := slog.New(slog.NewJSONHandler(os.Stderr, nil))
	if err := c.run(ctx, exe, log); err != nil {
		log.Error("the worker cannot go on", "error", err.Error())
		return 1
	}
	return 0
}

func readConfig(args []string) (config, int) {
	var c config
	env := func(name, otherwise string) string {
		if v := os.Getenv(name); v != "" {
			return v
		}
		return otherwise
	}
	var odd []string
	number := func(name string, otherwise int) int {
		text := os.Getenv(name)
		if text == "" {
			return otherwise
		}
		n, err := strconv.Atoi(text)
		if err != nil {
			odd = append(odd, name+" is not a whole number")
		}
		return n
	}
	f := flag.NewFlagSet("serve", flag.ContinueOnError)
	f.StringVar(&c.databaseURL, "database-url", env("DATABASE_URL", ""), "PostgreSQL `URL` of the role ph_worker (DATABASE_URL)")
	f.StringVar(&c.s3.Endpoint, "s3-endpoint", env("S3_ENDPOINT", ""), "the S3 storage's `address`; empty for AWS (S3_ENDPOINT)")
	f.StringVar(&c.s3.Region, "s3-region", env("S3_REGION", "us-east-1"), "its `region` (S3_REGION)")
	f.StringVar(&c.s3.Bucket, "s3-bucket", env("S3_BUCKET", "proofhouse"), "the `bucket` (S3_BUCKET)")
	f.StringVar(&c.s3.AccessKey, "s3-access-key", env("S3_ACCESS_KEY", ""), "access `key` (S3_ACCESS_KEY)")
	f.StringVar(&c.s3.SecretKey, "s3-secret-key", env("S3_SECRET_KEY", ""), "secret `key`; better in the environment (S3_SECRET_KEY)")
	f.IntVar(&c.slots, "slots", number("WORKER_SLOTS", 1), "inspections at a time (WORKER_SLOTS)")
	f.IntVar(&c.threads, "threads", number("WORKER_THREADS", runtime.NumCPU()), "processor cores of one inspection (WORKER_THREADS)")
	f.StringVar(&c.scratch, "scratch", env("WORKER_SCRATCH", os.TempDir()), "a `folder` on a disk for files under inspection (WORKER_SCRATCH)")
	f.IntVar(&c.memoryMB, "memory-mb", number("WORKER_MEMORY_MB", 4096), "memory of one inspection (WORKER_MEMORY_MB)")
	f.IntVar(&c.minutes, "minutes", number("WORKER_MINUTES", 15), "time of one inspection (WORKER_MINUTES)")
	f.StringVar(&c.metrics, "metrics-listen", env("WORKER_METRICS_LISTEN", "off"), "`address` for Prometheus, or off (WORKER_METRICS_LISTEN)")
	f.StringVar(&c.collector, "otlp-endpoint", env("OTEL_EXPORTER_OTLP_ENDPOINT", ""), "`address` of a collector for traces, OTLP over HTTP; empty for none (OTEL_EXPORTER_OTLP_ENDPOINT)")
	f.DurationVar(&c.grace, "grace", 2*time.Minute, "how long running inspections may go on after SIGTERM")
	f.Usage = func() { fmt.Fprint(os.Stdout, serveUsage+"\n"); f.PrintDefaults() }
	rest, code, done := desk.ParseFlags(desk.Streams{Out: os.Stdout, Err: os.Stderr}, f, args)
	if done {
		return c, code
	}
	faults := append(odd, c.faults(len(rest))...)
	for _, fault := range faults {
		fmt.Fprintln(os.Stderr, "worker serve: "+fault)
	}
	if len(faults) > 0 {
		return c, desk.ExitWrongCall
	}
	return c, -1
}

// faults lists everything that is wrong with the configuration, one sentence each.
func (c config) faults(extra int) []string {
	var out []string
	if extra > 0 {
		out = append(out, "it takes no arguments besides its flags")
	}
	if c.databaseURL == "" {
		out = append(out, "no database: set DATABASE_URL to the URL of the role ph_worker")
	} else if _, err := pgxpool.ParseConfig(c.databaseURL); err != nil {
		out = append(out, "DATABASE_URL is not a PostgreSQL URL") // the library's text may hold the password
	}
	if c.s3.AccessKey == "" || c.s3.SecretKey == "" {
		out = append(out, "no storage keys: set S3_ACCESS_KEY and S3_SECRET_KEY")
	}
	for name, v := range map[string]int{"slots": c.slots, "threads": c.threads, "memory-mb": c.memoryMB, "minutes": c.minutes} {
		if v < 1 {
			out = append(out, "--"+name+" must be at least 1")
		}
	}
	if info, err := os.Stat(c.scratch); err != nil || !info.IsDir() {
		out = append(out, "the scratch folder "+c.scratch+" is not there")
	}
	return out
}

// askStorage is how long a starting worker waits for storage's first answer; one that hangs must not keep it from the queue,
// where inspections wait for storage themselves.
const askStorage = 10 * time.Second

func (c config) run(ctx context.Context, exe string, log *slog.Logger) error {
	address, err := pgxpool.ParseConfig(c.databaseURL)
	if err != nil {
		return fmt.Errorf("the database cannot be used: %w", err)
	}
	ledger.PlainUUIDs(address)
	pool, err := pgxpool.NewWithConfig(ctx, address)
	if err != nil {
		return fmt.Errorf("the database cannot be used: %w", err)
	}
	defer pool.Close()
	if err := pool.Ping(ctx); err != nil {
		return fmt.Errorf("the database does not answer: %w", err)
	}
	store, err := storage.Open(c.s3)
	if err != nil {
		return err
	}
	asking, done := context.WithTimeout(ctx, askStorage)
	err = store.Answers(asking)
	done()
	if errors.Is(err, storage.ErrKeys) {
		return err
	} else if err != nil && ctx.Err() == nil {
		log.Warn("storage does not answer as it should; inspections will wait for it", "error", err.Error())
	}
	host, err := os.Hostname()
	if err != nil {
		host = "worker"
	}
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	taken := ledger.NewWorker(pool)
	watch.RegisterQueueMetrics(registry, taken.Figures)
	stopMetrics, err := watch.Serve(ctx, c.metrics, registry)
	if err != nil {
		return err
	}
	defer stopMetrics()
	tracer, flush, err := watch.ToCollector(c.collector, "proofhouse-worker", log)
	if err != nil {
		return err
	}
	defer flush()
	wall := time.Duration(c.minutes) * time.Minute
	s := &inspection.Service{
		Metrics: inspection.NewMetrics(registry), Tracer: tracer,
		Ledger: taken, Pool: pool, Store: store, Log: log, Exe: exe,
		Owner: fmt.Sprintf("%s/%d", host, os.Getpid()), Scratch: c.scratch, Slots: c.slots, Threads: c.threads, Grace: c.grace,
		Limits: inspection.Limits{
			MemoryBytes: int64(c.memoryMB) << 20, Wall: wall, CPU: time.Duration(c.threads) * wall, FileBytes: 1 << 30, OutBytes: 4 << 30, Confine: true,
		},
	}
	return s.Run(ctx)
}
