package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/errgroup"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
	"proofhouse/internal/watch"
	"proofhouse/internal/web"
)

const (
	stopTime    = 30 * time.Second // requests under way when the service is told to stop
	anchorEvery = time.Second      // the house log's tick
	clockEvery  = time.Minute      // reminders and silence
	sendEvery   = 5 * time.Second  // decisions whose time to be taken back is over
	startTime   = 60 * time.Second
)

const serveAbout = `Serve the interface and the pages. SIGTERM lets requests under way finish, then stops.

Either everything on this machine:   api serve --embedded DIR
or over servers of yours: DATABASE_URL, DATABASE_LOGIN_URL, S3_ENDPOINT, S3_BUCKET, S3_ACCESS_KEY, S3_SECRET_KEY.

Each setting is a flag or the variable named behind it:`

const serveFlags = `otlp-endpoint storage-price programs-dir listen public-url metrics-listen trusted-proxies outward-allow embedded s3-listen database-url database-login-url
	database-direct-url database-worker-url database-notary-url database-clock-url database-post-url notary-key post-key proof-age smtp-url mail-from s3-endpoint s3-public-endpoint s3-region s3-bucket s3-access-key s3-secret-key`

func serveCommand(ctx context.Context, io streams, env environment, args []string) int {
	c, code, done := parse(io, env, "serve", serveAbout, serveFlags, args)
	if done {
		return code
	}
	if faults := c.serveFaults(); len(faults) > 0 {
		return complain(io, "serve", faults)
	}
	log := slog.New(slog.NewJSONHandler(io.err, nil))
	err := c.serve(ctx, log, func(address string) { fmt.Fprintf(io.out, "proofhouse serves %s\n", address) })
	if err != nil {
		return failed(ctx, io, "serve", err)
	}
	return exitOK
}

// serve runs the service until ctx ends. serving is told the address once it answers.
func (c config) serve(ctx context.Context, log *slog.Logger, serving func(address string)) error {
	listener, err := listen(ctx, "listen", "LISTEN", c.listen)
	if err != nil {
		return err
	}
	defer listener.Close() // closed already after a proper stop
	metrics, err := listen(ctx, "metrics-listen", "METRICS_LISTEN", c.metricsListen)
	if err != nil {
		return err
	}
	if metrics != nil {
		defer metrics.Close()
	}
	if c.publicURL == "" {
		c.publicURL = "http://" + reachable(listener.Addr().String())
	}
	if c.embedded != "" {
		stop, err := c.startEmbedded(ctx, log)
		if err != nil {
			return err
		}
		defer stop()
	}
	return c.run(ctx, log, listener, metrics, serving)
}

// reachable turns the address of every interface into one that can be dialled.
func reachable(address string) string {
	host, port, err := net.SplitHostPort(address)
	if ip := net.ParseIP(host); err == nil && ip != nil && ip.IsUnspecified() {
		return net.JoinHostPort("localhost", port)
	}
	return address
}

func (c config) run(ctx context.Context, log *slog.Logger, listener, metrics net.Listener, serving func(string)) error {
	api, err := c.pool(ctx, c.database.api, apiConnections)
	if err != nil {
		return err
	}
	defer api.Close()
	login, err := c.pool(ctx, c.database.login, loginConnections)
	if err != nil {
		return err
	}
	defer login.Close()
	store, err := ledger.NewStore(api)
	if err != nil {
		return err
	}
	objects, err := storage.Open(c.storage())
	if err != nil {
		return err
	}
	if err := checkParts(ctx, store, objects); err != nil {
		return err
	}
	registry := prometheus.NewRegistry()
	who := ledger.NewLogin(login)
	tracer, flush, err := watch.ToCollector(c.collector, "proofhouse-api", log)
	if err != nil {
		return err
	}
	defer flush()
	price, err := httpapi.ParseStoragePrice(c.storagePrice)
	if err != nil {
		return err
	}
	store.UsePost(c.key())
	store.UseProof(c.proofAge())
	live := httpapi.NewStreams()
	server, err := httpapi.New(httpapi.Config{
		Streams: live, PostKey: c.key(), Tracer: tracer, StoragePrice: price, ProgramsDir: c.programs, Mails: c.smtp != "" && c.database.post != "", ReadyParts: map[string]func(context.Context) error{"clock": clockReady(api)},
		Store: store, Login: who, Storage: objects, PublicURL: c.publicURL, Log: log, Registry: registry,
		TrustedProxies: fields(c.trustedProxies), Outward: c.outward(), Pages: web.Mount(store, who, objects),
	})
	if err != nil {
		return err
	}
	stopFigures, err := c.queueMetrics(ctx, registry)
	if err != nil {
		return err
	}
	defer stopFigures()
	group, ctx := errgroup.WithContext(ctx)
	serveOn(ctx, group, listener, server.Handler())
	if metrics != nil {
		mux := http.NewServeMux()
		mux.Handle("GET /metrics", httpapi.MetricsHandler(registry))
		serveOn(ctx, group, metrics, mux)
	}
	if err := c.startNotary(ctx, group, log); err != nil {
		return err
	}
	if err := c.startClock(ctx, group, store, objects, registry, log); err != nil {
		return err
	}
	c.startStreams(ctx, group, live, log)
	if err := c.startPost(ctx, group, log); err != nil {
		return err
	}
	group.Go(func() error { sweepKeys(ctx, store, log); return nil })
	log.InfoContext(ctx, "serving", "config", c.visible())
	serving(c.publicURL)
	defer server.Settle()
	return group.Wait()
}

// queueMetrics adds the state of the queue to the metrics, where this process has the role that sees it.
func (c config) queueMetrics(ctx context.Context, registry *prometheus.Registry) (stop func(), err error) {
	if c.database.worker == "" {
		return func() {}, nil
	}
	pool, err := c.pool(ctx, c.database.worker, 0)
	if err != nil {
		return nil, err
	}
	watch.RegisterQueueMetrics(registry, ledger.NewWorker(pool).Figures)
	return pool.Close, nil
}

// checkParts refuses to serve on a database or a storage that would not keep the service's promises.
func checkParts(ctx context.Context, store *ledger.Store, objects *storage.Store) error {
	ctx, cancel := context.WithTimeout(ctx, startTime)
	defer cancel()
	if err := store.Ready(ctx); errors.Is(err, ledger.ErrSchema) {
		return fmt.Errorf("%w (the command is: api migrate)", err)
	} else if err != nil {
		return fmt.Errorf("the database does not answer: %w", err)
	}
	if err := objects.Probe(ctx); errors.Is(err, storage.ErrUnsafe) {
		return err
	} else if err != nil {
		return fmt.Errorf("the object storage does not take a test object; check S3_ENDPOINT, S3_BUCKET and the keys: %w", err)
	}
	return nil
}

// How many connections the pools that answer questions open where their address does not say (pool_max_conns). Most of a question's
// time is waiting for a disk or a lock, not computing: with the library's own default, one for each core and at least four, four
// cold reads hold up everybody. The other pools have one loop each and keep that default (0).
const (
	apiConnections   = 8
	loginConnections = 8
)

// pool opens a pool for one role. Behind a pooler statements are not prepared: the next one may meet another server.
func (c config) pool(ctx context.Context, address secret, atMost int32) (*pgxpool.Pool, error) {
	cfg, err := pgxpool.ParseConfig(string(address))
	if err != nil {
		return nil, errors.New("a database address is not a PostgreSQL URL") // the library's own text may hold the password
	}
	if atMost > 0 && !strings.Contains(string(address), "pool_max_conns") {
		cfg.MaxConns = atMost
	}
	if c.database.direct != "" && c.database.direct != c.database.api {
		cfg.ConnConfig.DefaultQueryExecMode = pgx.QueryExecModeExec
	}
	ledger.PlainUUIDs(cfg)
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", err)
	}
	return pool, nil
}

// startNotary signs the log's heads in this process, where it has the role and the key for it.
func (c config) startNotary(ctx context.Context, group *errgroup.Group, log *slog.Logger) error {
	if c.database.notary == "" {
		return nil
	}
	pool, err := c.pool(ctx, c.database.notary, 0)
	if err != nil {
		return err
	}
	notary, err := ledger.NewNotary(pool, c.notaryKey)
	if err != nil {
		pool.Close()
		return fmt.Errorf("the notary's key: %w", err)
	}
	notary.OnError = func(err error) {
		log.ErrorContext(ctx, "the heads of the logs were not signed; trying again", "error", err.Error())
	}
	log.InfoContext(ctx, "signing the heads of the logs", "verifier", notary.Verifier())
	group.Go(func() error {
		defer pool.Close()
		if err := notary.Run(ctx, anchorEvery); err != nil && ctx.Err() == nil {
			return fmt.Errorf("sign the heads of the logs: %w", err)
		}
		return nil
	})
	return nil
}

// startClock acts by the passing of time in this process, where it has the role for it.
func (c config) startClock(ctx context.Context, group *errgroup.Group, store *ledger.Store, objects *storage.Store, registry *prometheus.Registry, log *slog.Logger) error {
	if c.database.clock == "" {
		return nil
	}
	pool, err := c.pool(ctx, c.database.clock, 0)
	if err != nil {
		return err
	}
	clock := ledger.NewClock(pool)
	clock.OnError = func(err error) {
		log.ErrorContext(ctx, "reviews that are due were not looked at; trying again", "error", err.Error())
	}
	group.Go(func() error {
		defer pool.Close()
		sender := ledger.NewSender(clock, store)
		sender.OnError = func(err error) {
			log.ErrorContext(ctx, "decisions were not sent; trying again", "error", err.Error())
		}
		sweeping, _ := errgroup.WithContext(ctx)
		sweeping.Go(func() error { return sender.Run(ctx, sendEvery) })
		sweeping.Go(func() error { sweepUploads(ctx, clock, objects, log); return nil })
		sweeping.Go(func() error { newKeeper(clock, objects, log, registry).run(ctx); return nil })
		err := clock.Run(ctx, clockEvery)
		_ = sweeping.Wait() // its functions return no error
		return err
	})
	return nil
}

// sweepUploads deletes what was sent of deliveries that were given up, once an hour. What could not be deleted is tried again.
func sweepUploads(ctx context.Context, clock *ledger.Clock, objects *storage.Store, log *slog.Logger) {
	tick := time.NewTicker(time.Hour)
	defer tick.Stop()
	for {
		gone, err := clock.GiveUp(ctx)
		for _, one := range gone { // one that cannot be deleted keeps no other from its turn
			err = errors.Join(err, clearDelivery(ctx, clock, objects, one, clock.Cleared))
		}
		if err != nil && ctx.Err() == nil {
			log.ErrorContext(ctx, "uploads that were never sealed stay for now", "error", err.Error())
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// clearDelivery deletes the objects of a delivery and says so, unless a legal hold has come to stand on its order since it was listed.
func clearDelivery(ctx context.Context, clock *ledger.Clock, objects *storage.Store, one ledger.Swept, cleared func(context.Context, ledger.Swept) error) error {
	held, err := clock.Held(ctx, one)
	if err != nil || held {
		return err
	}
	if err := deleteUploads(ctx, objects, one); err != nil {
		return fmt.Errorf("delivery %s: %w", one.Delivery, err)
	}
	return cleared(ctx, one)
}

func deleteUploads(ctx context.Context, objects *storage.Store, one ledger.Swept) error {
	for _, f := range one.Files {
		if f.UploadID != "" {
			if err := objects.AbortMultipart(ctx, f.ObjectKey, f.UploadID); err != nil && !errors.Is(err, storage.ErrNotFound) {
				return err
			}
		}
		if err := objects.Delete(ctx, f.ObjectKey); err != nil && !errors.Is(err, storage.ErrNotFound) {
			return err
		}
	}
	return nil
}

// sweepKeys forgets idempotency keys whose time is over, once an hour.
func sweepKeys(ctx context.Context, store *ledger.Store, log *slog.Logger) {
	tick := time.NewTicker(time.Hour)
	defer tick.Stop()
	for {
		if _, err := store.SweepAccess(ctx); err != nil && ctx.Err() == nil {
			log.ErrorContext(ctx, "old rows of the access log were not swept", "error", err.Error())
		}
		if _, err := store.SweepKeys(ctx); err != nil && ctx.Err() == nil {
			log.ErrorContext(ctx, "old idempotency keys stay for now", "error", err.Error())
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// serveOn serves until ctx ends, then lets what is under way finish.
func serveOn(ctx context.Context, group *errgroup.Group, l net.Listener, h http.Handler) {
	s := &http.Server{
		Handler: h, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: time.Minute, WriteTimeout: 6 * time.Minute, IdleTimeout: 2 * time.Minute,
		MaxHeaderBytes: 32 << 10,
	}
	group.Go(func() error {
		if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			return fmt.Errorf("serve at %s: %w", l.Addr(), err)
		}
		return nil
	})
	group.Go(func() error {
		<-ctx.Done()
		stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
		defer cancel()
		if err := s.Shutdown(stopping); err != nil {
			return errors.Join(fmt.Errorf("some requests did not finish within %s: %w", stopTime, err), s.Close())
		}
		return nil
	})
}

// listen takes an address, or says in one sentence why it cannot. "off" takes none.
func listen(ctx context.Context, flag, variable, address string) (net.Listener, error) {
	if address == "off" {
		return nil, nil
	}
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		return nil, fmt.Errorf("the address %s is taken by another program: choose another with --%s or %s", address, flag, variable)
	case errors.Is(err, syscall.EACCES):
		return nil, fmt.Errorf("the address %s may not be used by this user: choose a port of 1024 or more with --%s or %s", address, flag, variable)
	case err != nil:
		return nil, fmt.Errorf("the address %s cannot be used (--%s, %s): %w", address, flag, variable, err)
	}
	return l, nil
}

func fields(list string) []string {
	var out []string
	for one := range strings.SplitSeq(list, ",") {
		if one = strings.TrimSpace(one); one != "" {
			out = append(out, one)
		}
	}
	return out
}

// visible is the configuration as it may be logged: every setting that is no secret.
func (c config) visible() slog.Value {
	var attrs []slog.Attr
	for _, v := range variables {
		if v.text != nil && v.env != "" && *v.text(&c) != "" {
			attrs = append(attrs, slog.String(v.env, *v.text(&c)))
		}
	}
	return slog.GroupValue(attrs...)
}
