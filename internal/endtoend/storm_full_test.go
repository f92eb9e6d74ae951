//go:build full

package endtoend

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/client"
	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/ledger"
)

// The storm: every part runs as a process of its own and is killed at random moments, connections are cut, storage answers
// with errors, slowly and half, while vendors deliver and the studio decides. STORM_DELIVERIES, STORM_VENDORS and
// STORM_SEED make it longer, wider, or the same again, STORM_MINUTES bounds it; the faults follow from the seed, their moments also from the
// machine's load.

// stormSize is how much is delivered by how many. A run of the test suite is small; scripts/soak runs hundreds.
func stormSize(t *testing.T) (deliveries, vendors int, seed uint64, patience time.Duration) {
	number := func(name string, otherwise int) int {
		text := os.Getenv(name)
		if text == "" {
			return otherwise
		}
		n, err := strconv.Atoi(text)
		require.NoError(t, err, name)
		return n
	}
	return number("STORM_DELIVERIES", 16), number("STORM_VENDORS", 4), uint64(number("STORM_SEED", 20261127)), time.Duration(number("STORM_MINUTES", 10)) * time.Minute
}

// installation is all parts on this machine, each a process of its own.
type installation struct {
	t    *testing.T
	dir  string
	api  string // the program
	work string // the worker's
	addr string // of the API
	pg   *pgserver.Server
	s3   *exec.Cmd
	s3At s3Told
	env  map[string]string

	mu       sync.Mutex // one fault at a time
	service  *exec.Cmd
	workers  []*exec.Cmd
	weather  *weather
	faults   map[string]int
	children int

	cable                      *cable      // to PostgreSQL, in the storm
	clock                      *falseClock // PostgreSQL's, in the storm
	database, objects, scratch *disk       // nil where none can be filled
}

// s3Told is what the S3 server's process says of itself.
type s3Told struct {
	Endpoint    string
	API, Worker struct{ Access, Secret string }
}

// storeAlone is what this test binary does instead of testing where STORM_S3 names a folder: it is the S3 server, which
// can then be killed.
func storeAlone(dir, listen string) int {
	s, err := s3server.Start(context.Background(), s3server.Config{Dir: dir, Listen: listen, Bucket: "harbour"})
	if err != nil {
		return say(err)
	}
	var told s3Told
	told.Endpoint = s.Endpoint
	told.API.Access, told.API.Secret = s.API.Access, s.API.Secret
	told.Worker.Access, told.Worker.Secret = s.Worker.Access, s.Worker.Secret
	if err := json.NewEncoder(os.Stdout).Encode(told); err != nil {
		return say(err)
	}
	_, _ = io.Copy(io.Discard, os.Stdin) // until the parent goes
	return 0
}

func init() {
	instead = func() (int, bool) {
		if dir := os.Getenv("STORM_S3"); dir != "" {
			return storeAlone(dir, os.Getenv("STORM_S3_LISTEN")), true
		}
		if dir := os.Getenv("COMPOSED_S3"); dir != "" {
			return storeComposed(dir), true
		}
		return 0, false
	}
}

func freePort(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

func newInstallation(t *testing.T) *installation {
	p := laidOut(t, "storm")
	p.api, p.work = buildAPI(t), worker
	p.clock = newFalseClock(t, p.dir)
	p.database, p.scratch = newDisk(t, filepath.Join(p.dir, "pg")), newDisk(t, filepath.Join(p.dir, "scratch"))
	if number, _, _, _ := stormSize(t); number <= 400 { // what is stored lies in memory then, some 5 MB a delivery
		p.objects = newDisk(t, filepath.Join(p.dir, "s3"))
	}
	p.startPostgres()
	p.migrate()
	p.cable = newCable(t, p.pg)
	p.startS3(freePort(t))
	p.weather = newWeather(t, p.s3At.Endpoint)
	p.env = map[string]string{
		"DATABASE_URL": p.roleURL(ledger.RoleAPI), "DATABASE_LOGIN_URL": p.roleURL(ledger.RoleLogin), "DATABASE_NOTARY_URL": p.roleURL(ledger.RoleNotary),
		"DATABASE_CLOCK_URL": p.roleURL(ledger.RoleClock), "DATABASE_POST_URL": p.roleURL(ledger.RolePost), "POST_KEY": "aW4gdGhlIHN0b3JtIG5vYm9keSByZWFkcyBsZXR0ZXI=",
		"NOTARY_KEY": filepath.Join(p.dir, "notary.key"), "METRICS_LISTEN": "off", "TRUSTED_PROXIES": "127.0.0.0/8",
		"S3_ENDPOINT": p.weather.url, "S3_REGION": s3server.Region, "S3_BUCKET": "harbour", "S3_ACCESS_KEY": p.s3At.API.Access, "S3_SECRET_KEY": p.s3At.API.Secret,
	}
	p.startAPI()
	return p
}

// laidOut makes the folder of an installation whose parts are still to be started.
func laidOut(t *testing.T, name string) *installation {
	p := &installation{t: t, dir: filepath.Join(scratch, name), addr: freePort(t), faults: map[string]int{}}
	require.NoError(t, os.MkdirAll(p.dir, 0o755))
	require.NoError(t, os.Chmod(scratch, 0o755)) // PostgreSQL's own user must reach its cluster
	t.Cleanup(p.end)
	return p
}

func buildAPI(t *testing.T) string {
	path := filepath.Join(scratch, "api")
	build := exec.Command("go", "build", "-o", path, "proofhouse/cmd/api")
	build.Dir = root
	out, err := build.CombinedOutput()
	require.NoError(t, err, string(out))
	return path
}

// migrate brings the database to the schema of the installation's program, as an operator does.
func (p *installation) migrate() {
	cmd := exec.Command(p.api, "migrate")
	cmd.Env = append(os.Environ(), "DATABASE_ADMIN_URL="+p.pg.URL())
	for _, role := range []string{ledger.RoleAPI, ledger.RoleLogin, ledger.RoleWorker, ledger.RoleNotary, ledger.RoleClock, ledger.RolePost} {
		name := map[string]string{ledger.RoleAPI: "DATABASE_URL"}[role]
		if name == "" {
			name = "DATABASE_" + strings.ToUpper(strings.TrimPrefix(role, "ph_")) + "_URL"
		}
		cmd.Env = append(cmd.Env, name+"="+p.pg.RoleURL(role))
	}
	out, err := cmd.CombinedOutput()
	require.NoError(p.t, err, string(out))
}

func (p *installation) startPostgres() {
	var err error
	for range 60 { // a killed server's children take a moment to notice
		if p.pg, err = pgserver.Start(context.Background(), pgserver.Config{Folder: filepath.Join(p.dir, "pg")}); err == nil {
			return
		}
		time.Sleep(time.Second)
	}
	require.NoError(p.t, err)
}

// roleURL is PostgreSQL's address as a program is told it.
func (p *installation) roleURL(role string) string {
	if p.cable == nil {
		return p.pg.RoleURL(role)
	}
	return p.cable.url(p.pg.RoleURL(role))
}

func (p *installation) startS3(listen string) {
	p.s3 = exec.Command(os.Args[0])
	p.s3.Env = append(os.Environ(), "STORM_S3="+filepath.Join(p.dir, "s3"), "STORM_S3_LISTEN="+listen)
	p.s3.Stderr = p.log("s3.log")
	_, err := p.s3.StdinPipe()
	require.NoError(p.t, err)
	out, err := p.s3.StdoutPipe()
	require.NoError(p.t, err)
	require.NoError(p.t, p.s3.Start())
	require.NoError(p.t, json.NewDecoder(out).Decode(&p.s3At))
}

func (p *installation) log(name string) *os.File {
	f, err := os.OpenFile(filepath.Join(p.dir, name), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(p.t, err)
	return f
}

func (p *installation) startAPI() { p.service = p.startAPIAt(p.addr) }

func (p *installation) startAPIAt(addr string) *exec.Cmd {
	cmd := exec.Command(p.api, "serve")
	for k, v := range p.env {
		cmd.Env = append(cmd.Env, k+"="+v)
	}
	cmd.Env = append(cmd.Env, "LISTEN="+addr)
	cmd.Stderr = p.log("api.log")
	require.NoError(p.t, cmd.Start())
	return cmd
}

func (p *installation) startWorker(i int) {
	cmd := exec.Command(p.work, "serve", "--slots", "2", "--threads", "1", "--scratch", filepath.Join(p.dir, "scratch", strconv.Itoa(i)))
	cmd.Env = append(os.Environ(), "DATABASE_URL="+p.roleURL(ledger.RoleWorker), "S3_ENDPOINT="+p.weather.url, "S3_REGION="+s3server.Region, "S3_BUCKET=harbour",
		"S3_ACCESS_KEY="+p.s3At.Worker.Access, "S3_SECRET_KEY="+p.s3At.Worker.Secret)
	cmd.Stderr = p.log("worker.log")
	require.NoError(p.t, os.MkdirAll(filepath.Join(p.dir, "scratch", strconv.Itoa(i)), 0o755))
	require.NoError(p.t, cmd.Start())
	for len(p.workers) <= i {
		p.workers = append(p.workers, nil)
	}
	p.workers[i] = cmd
}

func (p *installation) end() {
	for _, cmd := range append(p.workers, p.service, p.s3) {
		if cmd != nil && cmd.Process != nil {
			_ = cmd.Process.Kill()
			_ = cmd.Wait()
		}
	}
	if p.pg != nil {
		_ = p.pg.Stop()
	}
}

func kill(cmd *exec.Cmd) {
	_ = cmd.Process.Kill()
	_ = cmd.Wait()
}

// strike does one fault, chosen by r, and mends what must be mended for life to go on.
func (p *installation) strike(r *rand.Rand) {
	p.mu.Lock()
	defer p.mu.Unlock()
	pause := func(most time.Duration) { time.Sleep(time.Duration(r.Int64N(int64(most)))) }
	all := append(p.rarer(r), []fault{
		{"worker killed", func() { i := r.IntN(len(p.workers)); kill(p.workers[i]); pause(time.Second); p.startWorker(i) }},
		{"worker asked to stop", func() {
			i := r.IntN(len(p.workers))
			_ = p.workers[i].Process.Signal(syscall.SIGTERM)
			_ = p.workers[i].Wait()
			p.startWorker(i)
		}},
		{"child killed", func() { p.killChild() }},
		{"API killed", func() { kill(p.service); pause(time.Second); p.startAPI() }},
		{"PostgreSQL killed", func() {
			_ = syscall.Kill(p.pg.PID(), syscall.SIGKILL)
			pause(time.Second)
			_ = p.pg.Stop()
			p.startPostgres()
			p.cable.plug(p.t, p.pg)
		}},
		{"S3 server killed", func() {
			at := strings.TrimPrefix(p.s3At.Endpoint, "http://")
			kill(p.s3)
			pause(time.Second)
			p.startS3(at)
		}},
		{"connections cut", func() { p.weather.cut() }},
		{"storage answers 500", func() { p.weather.turn("errors", 500*time.Millisecond+time.Duration(r.Int64N(int64(time.Second)))) }},
		{"storage answers by half", func() { p.weather.turn("half", 500*time.Millisecond+time.Duration(r.Int64N(int64(time.Second)))) }},
		{"storage is slow", func() { p.weather.turn("slow", 500*time.Millisecond+time.Duration(r.Int64N(int64(time.Second)))) }},
	}...)
	f := all[r.IntN(len(all))]
	f.do()
	p.faults[f.name]++
}

// killChild kills one inspecting child, where one runs.
func (p *installation) killChild() {
	out, _ := exec.Command("pgrep", "-f", p.work+" __inspect").Output()
	for _, line := range strings.Fields(string(out)) {
		if pid, err := strconv.Atoi(line); err == nil {
			_ = syscall.Kill(pid, syscall.SIGKILL)
			p.children++
			return
		}
	}
}

// errand is one delivery of the storm.
type errand struct {
	vendor    *client.Service
	milestone uuid.UUID
	folder    string
	roles     map[string]string
	delivery  uuid.UUID
}

// untilDone does something again until it works: everybody does who has work to deliver. It gives up with ctx.
func untilDone(ctx context.Context, what string, do func() error) error {
	for {
		err := do()
		if err == nil {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("%s: %w", what, err)
		case <-time.After(300 * time.Millisecond):
		}
	}
}

func TestStorm(t *testing.T) {
	deliveries, vendors, seed, patience := stormSize(t)
	t.Logf("%d deliveries by %d vendors, STORM_SEED=%d", deliveries, vendors, seed)
	p := newInstallation(t)
	h := &harbour{t: t, admin: p.pg.URL(), base: "http://" + p.addr}
	awaitServing(t, h.base)
	h.people()
	var todo []*errand
	orders := []uuid.UUID{h.order}
	for v := range vendors {
		if v > 0 {
			h.takeOn(fmt.Sprintf("Yard %d", v), fmt.Sprintf("lead-%d@yard.example", v), fmt.Sprintf("W%d", v+1))
			orders = append(orders, h.order)
		}
		for i := range deliveries / vendors {
			code := fmt.Sprintf("box_%d_%d", v, i)
			folder, roles := boxFolder(t, code)
			todo = append(todo, &errand{vendor: h.vendor, milestone: h.contract(code, "background", boxSpec(code)+"checks: {scene.origin: {mode: warns}}\n"), folder: folder, roles: roles})
		}
	}
	p.startWorker(0)
	p.startWorker(1)
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()

	calm := make(chan struct{})
	var striking sync.WaitGroup
	striking.Go(func() {
		for r := rand.New(rand.NewPCG(seed, 1)); ; { // the same faults for the same seed
			select {
			case <-calm:
				return
			case <-time.After(200*time.Millisecond + time.Duration(r.Int64N(int64(800*time.Millisecond)))):
				p.strike(r)
			}
		}
	})
	errs := make([]error, len(todo))
	var working sync.WaitGroup
	at := make(chan struct{}, 8)
	for i, e := range todo {
		working.Go(func() {
			at <- struct{}{}
			defer func() { <-at }()
			errs[i] = e.run(ctx, h.studio, i)
		})
	}
	working.Wait()
	close(calm)
	striking.Wait()
	for _, err := range errs {
		require.NoError(t, err)
	}
	p.account(orders, len(todo), true)
}

// run delivers, waits for the verdict and has the studio accept, each again until it works. Acts carry keys of their own, so
// that again is not twice.
func (e *errand) run(ctx context.Context, studio *client.Service, i int) error {
	var files []client.LocalFile
	for path, role := range e.roles {
		files = append(files, client.FilesOf(e.folder, []string{path}, []string{role})...)
	}
	err := untilDone(ctx, "deliver", func() error {
		d, err := e.vendor.Deliver(ctx, e.milestone, "", files, nil)
		if err == nil {
			e.delivery = d.Delivery.Id
		}
		return err
	})
	if err != nil {
		return err
	}
	var found *client.Delivery
	err = untilDone(ctx, "await", func() (err error) { found, err = e.vendor.Await(ctx, e.delivery); return err })
	if err != nil || found.Inspection.Verdict == nil || *found.Inspection.Verdict != "pass" {
		return err // an inspection that three kills ended is told as not evaluated, and nothing can be accepted
	}
	return untilDone(ctx, "accept", func() error {
		got, err := studio.SignOffWithResponse(ctx, e.delivery, &client.SignOffParams{IdempotencyKey: fmt.Sprintf("storm-accept-%d", i)}, client.NewSignOff{Decision: "accept"})
		if err != nil {
			return err
		}
		if got.JSON201 == nil {
			return client.Refusal("accept", got.HTTPResponse, got.ApplicationproblemJSONDefault)
		}
		return nil
	})
}

func awaitServing(t *testing.T, base string) {
	for until := time.Now().Add(time.Minute); ; {
		r, err := http.Get(base + "/readyz")
		if err == nil {
			_ = r.Body.Close()
			if r.StatusCode == http.StatusOK {
				return
			}
		}
		require.True(t, time.Now().Before(until), "the service does not begin to serve: %v", err)
		time.Sleep(50 * time.Millisecond)
	}
}
