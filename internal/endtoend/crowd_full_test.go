//go:build full

package endtoend

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/client"
	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/ledger"
)

// The crowd: many vendors upload and seal together over two API processes and several workers, while one of them has a pile
// in the queue, and every process is replaced one by one meanwhile. CROWD_VENDORS, CROWD_WORKERS, CROWD_PILE and CROWD_EACH
// make it larger. CROWD_OLD names a folder with the programs api and worker of an earlier commit: the installation begins with
// those and their schema, is migrated while deliveries are sealed, and runs both versions until the last one is replaced.

type crowdSize struct{ vendors, workers, pile, each int }

func crowdOf(t *testing.T) crowdSize {
	number := func(name string, otherwise int) int {
		text := os.Getenv(name)
		if text == "" {
			return otherwise
		}
		n, err := strconv.Atoi(text)
		require.NoError(t, err, name)
		return n
	}
	return crowdSize{number("CROWD_VENDORS", 4), number("CROWD_WORKERS", 2), number("CROWD_PILE", 5), number("CROWD_EACH", 1)}
}

// crowd is the installation with its API processes and the vendors' deliveries.
type crowd struct {
	*installation
	size    crowdSize
	h       *harbour
	b       *balance
	apis    []*exec.Cmd
	new     [2]string // the programs of today
	orders  []uuid.UUID
	pile    []*errand
	singles []*errand
}

func newCrowd(t *testing.T) *crowd {
	c := &crowd{installation: laidOut(t, "crowd"), size: crowdOf(t)}
	c.new = [2]string{buildAPI(t), worker}
	c.api, c.work = c.new[0], c.new[1]
	if old := os.Getenv("CROWD_OLD"); old != "" {
		c.api, c.work = filepath.Join(old, "api"), filepath.Join(old, "worker")
	}
	c.startPostgres()
	c.migrate()
	c.startS3(freePort(t))
	c.weather = newWeather(t, c.s3At.Endpoint)
	addresses := []string{freePort(t), freePort(t)}
	c.addr = addresses[0]
	c.b = newBalance(t, addresses...)
	c.env = map[string]string{
		"DATABASE_URL": c.pg.RoleURL(ledger.RoleAPI), "DATABASE_LOGIN_URL": c.pg.RoleURL(ledger.RoleLogin), "DATABASE_NOTARY_URL": c.pg.RoleURL(ledger.RoleNotary),
		"NOTARY_KEY": filepath.Join(c.dir, "notary.key"), "METRICS_LISTEN": "off", "PUBLIC_URL": c.b.url, "TRUSTED_PROXIES": "127.0.0.0/8",
		"S3_ENDPOINT": c.weather.url, "S3_REGION": s3server.Region, "S3_BUCKET": "harbour", "S3_ACCESS_KEY": c.s3At.API.Access, "S3_SECRET_KEY": c.s3At.API.Secret,
	}
	for _, a := range addresses {
		c.apis = append(c.apis, c.startAPIAt(a))
		awaitServing(t, "http://"+a)
	}
	t.Cleanup(func() {
		for _, cmd := range c.apis {
			kill(cmd)
		}
	})
	c.h = &harbour{t: t, admin: c.pg.URL(), base: c.b.url}
	c.h.people()
	c.contracts()
	return c
}

// contracts orders one prop for each delivery: the first vendor's pile, and a few for each of the others.
func (c *crowd) contracts() {
	for v := range c.size.vendors {
		n, list := c.size.each, &c.singles
		if v > 0 {
			c.h.takeOn(fmt.Sprintf("Yard %d", v), fmt.Sprintf("lead-%d@yard.example", v), fmt.Sprintf("W%d", v+1))
		} else {
			n, list = c.size.pile, &c.pile
		}
		c.orders = append(c.orders, c.h.order)
		for i := range n {
			code := fmt.Sprintf("box_%d_%d", v, i)
			folder, roles := boxFolder(c.t, code)
			*list = append(*list, &errand{vendor: c.h.vendor, milestone: c.h.contract(code, "background", boxSpec(code)), folder: folder, roles: roles})
		}
	}
}

// send delivers and seals; the client comes again where it is told to.
func (e *errand) send(ctx context.Context) error {
	var files []client.LocalFile
	for path, role := range e.roles {
		files = append(files, client.FilesOf(e.folder, []string{path}, []string{role})...)
	}
	d, err := e.vendor.Deliver(ctx, e.milestone, "", files, nil)
	if err == nil {
		e.delivery = d.Delivery.Id
	}
	return err
}

func sendAll(ctx context.Context, t *testing.T, list []*errand, atOnce int) {
	t.Helper()
	errs := make([]error, len(list))
	at := make(chan struct{}, atOnce)
	var all sync.WaitGroup
	for i, e := range list {
		all.Go(func() {
			at <- struct{}{}
			defer func() { <-at }()
			errs[i] = e.send(ctx)
		})
	}
	all.Wait()
	for _, err := range errs {
		require.NoError(t, err, "nothing fails that a vendor would see")
	}
}

func TestCrowd(t *testing.T) {
	c := newCrowd(t)
	ctx, cancel := context.WithTimeout(t.Context(), time.Hour)
	defer cancel()
	sendAll(ctx, t, c.pile, 4) // a pile, before anybody works
	for i := range c.size.workers {
		c.startWorker(i)
	}
	began := time.Now()
	var sending sync.WaitGroup
	sending.Go(func() { sendAll(ctx, t, c.singles, len(c.singles)) })
	var migrated time.Duration
	if c.api != c.new[0] {
		from := time.Now()
		c.api, c.work = c.new[0], c.new[1]
		c.migrate()
		migrated = time.Since(from)
	}
	c.replaceEverything()
	sending.Wait()
	db, err := pgx.Connect(ctx, c.pg.URL())
	require.NoError(t, err)
	defer db.Close(context.Background())
	total := len(c.pile) + len(c.singles)
	for {
		var done int
		require.NoError(t, db.QueryRow(ctx, `SELECT count(*) FROM ph.inspection WHERE state = 'done'`).Scan(&done))
		if done == total {
			break
		}
		require.NoError(t, ctx.Err(), "%d of %d done", done, total)
		time.Sleep(100 * time.Millisecond)
	}
	took := time.Since(began)
	c.fair(db)
	c.flood()
	c.table(db, took, migrated)
	c.b.mu.Lock()
	require.Empty(t, c.b.broken, "a stop lets requests finish; answers %v", c.b.statuses)
	for status := range c.b.statuses {
		require.True(t, status < 500 || status == http.StatusServiceUnavailable, "answers %v", c.b.statuses)
	}
	c.b.mu.Unlock()
	c.account(c.orders, total, false)
	for what, of := range map[string]int{"this process": syscall.RUSAGE_SELF, "programs that have ended": syscall.RUSAGE_CHILDREN} {
		var u syscall.Rusage
		require.NoError(t, syscall.Getrusage(of, &u))
		t.Logf("processor time of %s: %d s", what, u.Utime.Sec+u.Stime.Sec)
	}
}

// replaceEverything asks one process after the other to stop, waits for its orderly end, and starts today's program.
func (c *crowd) replaceEverything() {
	t := c.t
	stop := func(what string, cmd *exec.Cmd) {
		require.NoError(t, cmd.Process.Signal(syscall.SIGTERM))
		_ = cmd.Wait()
		require.Zero(t, cmd.ProcessState.ExitCode(), "%s stops in good order", what)
	}
	for i, at := range c.b.backends {
		c.b.rotate(at, false)
		time.Sleep(500 * time.Millisecond) // who was sent there just before gets there; orchestrators wait for seconds
		stop("an API process", c.apis[i])
		c.apis[i] = c.startAPIAt(at)
		awaitServing(t, "http://"+at)
		c.b.rotate(at, true)
	}
	for i := range c.workers {
		stop("a worker", c.workers[i])
		c.startWorker(i)
	}
}

// fair holds the order in which inspections began against the rule: while a vendor waits who was never served, the pile
// has no turn. A seal takes a moment from its time to its commit, longer where many seal at once: hence two, or one for each
// two workers.
func (c *crowd) fair(db *pgx.Conn) {
	var worst int
	require.NoError(c.t, db.QueryRow(c.t.Context(), `WITH pile AS (SELECT vendor_id FROM ph.inspection GROUP BY vendor_id ORDER BY count(*) DESC LIMIT 1),
		first AS (SELECT DISTINCT ON (vendor_id) vendor_id, queued_at, started_at FROM ph.inspection WHERE vendor_id NOT IN (SELECT vendor_id FROM pile) ORDER BY vendor_id, started_at)
		SELECT coalesce(max((SELECT count(*) FROM ph.inspection p WHERE p.vendor_id IN (SELECT vendor_id FROM pile) AND p.started_at > f.queued_at AND p.started_at < f.started_at)), 0)
		FROM first f`).Scan(&worst))
	c.t.Logf("at most %d of the pile of %d began while a vendor waited for a first turn", worst, len(c.pile))
	require.LessOrEqual(c.t, worst, max(2, c.size.workers/2), "a pile starves nobody")
}

// flood asks far more than one caller may, all at once: whoever is turned away is told when to come again, nothing breaks,
// and the process stays small.
func (c *crowd) flood() {
	const requests = 1500
	type result struct {
		status int
		again  string
	}
	results := make([]result, requests)
	transport := &http.Transport{MaxIdleConns: 64, MaxConnsPerHost: 600}
	defer transport.CloseIdleConnections()
	var all sync.WaitGroup
	for i := range requests {
		all.Go(func() {
			r, err := http.NewRequestWithContext(c.t.Context(), http.MethodGet, "http://"+c.b.backends[0]+"/v1/work-orders", nil)
			if err != nil {
				return
			}
			r.Header.Set("Authorization", "Bearer "+c.h.token)
			r.Header.Set("X-Forwarded-For", fmt.Sprintf("10.9.%d.%d", i>>8, i&255)) // by many addresses
			answer, err := transport.RoundTrip(r)
			if err != nil {
				return
			}
			_ = answer.Body.Close()
			results[i] = result{answer.StatusCode, answer.Header.Get("Retry-After")}
		})
	}
	all.Wait()
	counts := map[int]int{}
	for _, r := range results {
		counts[r.status]++
		if r.status != http.StatusOK {
			require.Contains(c.t, []int{http.StatusTooManyRequests, http.StatusServiceUnavailable}, r.status, "answers %v", counts)
			require.NotEmpty(c.t, r.again, "whoever is turned away is told for how long")
		}
	}
	peak := peakOf(c.t, c.apis[0].Process.Pid)
	c.t.Logf("a flood of %d requests of one caller: %v; most memory of that process %d MiB", requests, counts, peak>>20)
	require.Positive(c.t, counts[http.StatusOK])
	require.Positive(c.t, counts[http.StatusTooManyRequests])
	require.Less(c.t, peak, int64(1<<30), "memory of the manifest's limit")
}

// peakOf is the most memory that a process held (proc(5), VmHWM).
func peakOf(t *testing.T, pid int) int64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	require.NoError(t, err)
	for line := range strings.Lines(string(text)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			kib, err := strconv.ParseInt(strings.Fields(rest)[0], 10, 64)
			require.NoError(t, err)
			return kib << 10
		}
	}
	t.Fatal("the system does not say")
	return 0
}

// table prints how long things took.
func (c *crowd) table(db *pgx.Conn, took, migrated time.Duration) {
	t := c.t
	row := func(what string, ms []float64) {
		if len(ms) == 0 {
			t.Logf("| %s | – | – | – | – |", what)
			return
		}
		slices.Sort(ms)
		at := func(share float64) float64 { return ms[min(len(ms)-1, int(share*float64(len(ms))))] }
		t.Logf("| %s | %d | %.0f | %.0f | %.0f |", what, len(ms), at(0.50), at(0.95), at(0.99))
	}
	t.Logf("%d vendors, %d API processes, %d workers of 2 slots, %d processors; a pile of %d and %d singles in %.1f s: %.0f deliveries a minute; migration while sealing %.1f s",
		c.size.vendors, len(c.apis), c.size.workers, runtime.NumCPU(), len(c.pile), len(c.singles), took.Seconds(), float64(len(c.pile)+len(c.singles))/took.Minutes(), migrated.Seconds())
	t.Log("| ms | n | p50 | p95 | p99 |")
	t.Log("|---|---:|---:|---:|---:|")
	for what, cond := range map[string]string{"seal to verdict, single deliveries": "NOT IN", "seal to verdict, the pile": "IN"} {
		rows, err := db.Query(t.Context(), `SELECT extract(epoch FROM finished_at - queued_at)::float8 * 1000 FROM ph.inspection
			WHERE vendor_id `+cond+` (SELECT vendor_id FROM ph.inspection GROUP BY vendor_id ORDER BY count(*) DESC LIMIT 1)`)
		require.NoError(t, err)
		ms, err := pgx.CollectRows(rows, pgx.RowTo[float64])
		require.NoError(t, err)
		row(what, ms)
	}
	for what, ms := range c.routes() {
		row(what, ms)
	}
}

// routes reads the times of the busiest routes out of the API's log.
func (c *crowd) routes() map[string][]float64 {
	f, err := os.Open(filepath.Join(c.dir, "api.log"))
	require.NoError(c.t, err)
	defer f.Close()
	out := map[string][]float64{}
	for in := bufio.NewScanner(f); in.Scan(); {
		var line struct {
			Msg, Method, Route string
			Status             int
			Ms                 float64
		}
		if json.Unmarshal(in.Bytes(), &line) != nil || line.Msg != "request" || line.Method != http.MethodPost || line.Status >= 300 {
			continue
		}
		for _, route := range []string{"/v1/deliveries/:delivery_id/seal", "/v1/milestones/:milestone_id/deliveries"} {
			if line.Route == route {
				out["POST "+route] = append(out["POST "+route], line.Ms)
			}
		}
	}
	require.NotEmpty(c.t, out["POST /v1/deliveries/:delivery_id/seal"])
	return out
}
