//go:build full

package endtoend

import (
	"context"
	"crypto/rand"
	"io"
	"maps"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	"github.com/versity/versitygw/auth"
	"github.com/versity/versitygw/backend/meta"
	"github.com/versity/versitygw/backend/posix"
	"github.com/versity/versitygw/embedgw"
	"gopkg.in/yaml.v3"

	"proofhouse/internal/embedded/pgserver"
)

// compose.yaml has no engine to run it here. What it says is run by hand instead: each service as a process of its own that is
// told exactly its environment, in the order that depends_on gives, over a PostgreSQL and the storage server that it names.
// Only hosts, ports and mounted folders are this machine's.

// composeFile is what is played of compose.yaml.
type composeFile struct {
	Services map[string]struct {
		Entrypoint  []string
		Command     []string
		Environment map[string]string
	}
	Configs map[string]struct{ Content string }
}

var composeVariable = regexp.MustCompile(`\$\{([A-Z0-9_]+)(?:(:[-?])([^}]*))?\}`)

// interpolated puts the variables of a .env file into the text of a Compose file (Compose specification, "Interpolation"). A
// required one that .env has not is made up, as its head says how: openssl rand -hex 24.
func interpolated(text string, env map[string]string) string {
	return composeVariable.ReplaceAllStringFunc(text, func(found string) string {
		m := composeVariable.FindStringSubmatch(found)
		value, known := env[m[1]]
		switch {
		case known:
		case m[2] == ":-":
			return m[3]
		default:
			value = strings.ToLower(rand.Text())
			env[m[1]] = value
		}
		return value
	})
}

// composed is the installation that compose.yaml describes, on this machine.
type composed struct {
	t     *testing.T
	file  composeFile
	dir   string
	where *strings.Replacer // addresses and folders of containers to those of this machine
	api   string            // the program
}

// told is a service's environment, and nothing else of this process's.
func (c *composed) told(service string, change map[string]string) (env []string) {
	all := maps.Clone(c.file.Services[service].Environment)
	require.NotEmpty(c.t, all, service)
	maps.Copy(all, change)
	for k, v := range all {
		env = append(env, k+"="+c.where.Replace(v))
	}
	return env
}

// run runs a service that ends, with its own command or another.
func (c *composed) run(service string, args ...string) string {
	if len(args) == 0 {
		args = c.file.Services[service].Command
	}
	cmd := exec.Command(c.api, args...)
	cmd.Env = c.told(service, nil)
	out, err := cmd.CombinedOutput()
	require.NoError(c.t, err, "%s: %s", service, out)
	return string(out)
}

// start starts a service that stays.
func (c *composed) start(service, program string, change map[string]string) {
	cmd := exec.Command(program, c.file.Services[service].Command...)
	cmd.Env = c.told(service, change)
	log, err := os.Create(filepath.Join(c.dir, service+".log"))
	require.NoError(c.t, err)
	cmd.Stderr = log
	require.NoError(c.t, cmd.Start())
	c.t.Cleanup(func() {
		_ = cmd.Process.Signal(os.Interrupt)
		_ = cmd.Wait()
		if text, err := os.ReadFile(log.Name()); err == nil && c.t.Failed() {
			c.t.Logf("%s:\n%s", service, text)
		}
	})
}

// storeComposed is what this test binary does where COMPOSED_S3 names a folder: it is the storage server that compose.yaml names,
// as its command and environment say, at COMPOSED_LISTEN.
func storeComposed(dir string) int {
	iam, err := auth.New(&auth.Opts{RootAccount: auth.Account{Access: os.Getenv("ROOT_ACCESS_KEY"), Secret: os.Getenv("ROOT_SECRET_KEY")}, Dir: filepath.Join(dir, "iam"), CacheDisable: true})
	if err != nil {
		return say(err)
	}
	data := filepath.Join(dir, "data")
	store, err := posix.New(data, meta.XattrMeta{}, posix.PosixOpts{})
	if err != nil {
		return say(err)
	}
	err = embedgw.RunVersityGW(context.Background(), store, &embedgw.Config{
		RootUserAccess: os.Getenv("ROOT_ACCESS_KEY"), RootUserSecret: os.Getenv("ROOT_SECRET_KEY"), Region: "us-east-1", Ports: []string{os.Getenv("COMPOSED_LISTEN")},
		MaxConnections: 256, MaxRequests: 256, MultipartMaxParts: 10_000, HealthPath: "/healthz", Quiet: true, CORSAllowOrigin: os.Getenv("VGW_CORS_ALLOW_ORIGIN"), IAMService: iam,
	})
	return say(err)
}

// startStore starts it with the accounts that compose.yaml's config holds.
func (c *composed) startStore(listen string) {
	for _, d := range []string{"iam", "data"} {
		require.NoError(c.t, os.MkdirAll(filepath.Join(c.dir, d), 0o755))
	}
	require.NoError(c.t, os.WriteFile(filepath.Join(c.dir, "iam", "users.json"), []byte(c.file.Configs["accounts"].Content), 0o600))
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(c.told("objects", nil), "COMPOSED_S3="+c.dir, "COMPOSED_LISTEN="+listen)
	cmd.Stderr = os.Stderr
	require.NoError(c.t, cmd.Start())
	c.t.Cleanup(func() { kill(cmd) })
	require.Eventually(c.t, func() bool {
		r, err := http.Get("http://" + listen + "/healthz")
		if err != nil {
			return false
		}
		_, _ = io.Copy(io.Discard, r.Body)
		return r.Body.Close() == nil && r.StatusCode == http.StatusOK
	}, time.Minute, 50*time.Millisecond, "the storage server does not answer")
}

// startDatabase starts a PostgreSQL with the owner and the database that the postgres image makes of its environment, within
// reach by TCP.
func (c *composed) startDatabase() *pgserver.Server {
	pg, err := pgserver.Start(c.t.Context(), pgserver.Config{Folder: filepath.Join(c.dir, "pg")})
	require.NoError(c.t, err)
	c.t.Cleanup(func() { _ = pg.Stop() })
	env := c.file.Services["database"].Environment
	db, err := pgx.Connect(c.t.Context(), pg.URL())
	require.NoError(c.t, err)
	defer db.Close(context.Background())
	owner, name := pgx.Identifier{env["POSTGRES_USER"]}.Sanitize(), pgx.Identifier{env["POSTGRES_DB"]}.Sanitize()
	_, err = db.Exec(c.t.Context(), `CREATE ROLE `+owner+` SUPERUSER LOGIN PASSWORD '`+env["POSTGRES_PASSWORD"]+`'`)
	require.NoError(c.t, err)
	if _, err = db.Exec(c.t.Context(), `CREATE DATABASE `+name+` OWNER `+owner); err != nil {
		require.ErrorContains(c.t, err, "already exists") // the server makes one of that name for itself
	}
	return pg
}

func TestWhatComposeSaysIsEnough(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(root, "compose.yaml"))
	require.NoError(t, err)
	dir := filepath.Join(scratch, "composed")
	require.NoError(t, os.MkdirAll(dir, 0o755))
	require.NoError(t, os.Chmod(scratch, 0o755)) // PostgreSQL's own user must reach its cluster
	for _, d := range []string{"keys", "scratch"} {
		require.NoError(t, os.MkdirAll(filepath.Join(dir, d), 0o755))
	}
	store, page, metrics, workers := freePort(t), freePort(t), freePort(t), freePort(t)
	dotenv := map[string]string{"PUBLIC_URL": "http://" + page, "S3_PUBLIC_ENDPOINT": "http://" + store, "POST_KEY": "MDEyMzQ1Njc4OWFiY2RlZjAxMjM0NTY3ODlhYmNkZWY="}
	c := &composed{t: t, dir: dir, api: buildAPI(t), where: strings.NewReplacer()}
	require.NoError(t, yaml.Unmarshal([]byte(interpolated(string(text), dotenv)), &c.file))
	pg := c.startDatabase()
	db := newCable(t, pg)
	c.where = strings.NewReplacer("@database/", "@"+db.l.Addr().String()+"/", "http://objects:7070", "http://"+store, "/keys/", filepath.Join(dir, "keys")+"/", "/scratch", filepath.Join(dir, "scratch"))
	c.startStore(store)

	require.Contains(t, c.run("bucket"), "least rights")
	require.Contains(t, c.run("migrate"), "schema")
	c.start("api", c.api, map[string]string{"LISTEN": page, "METRICS_LISTEN": metrics})
	c.start("worker", worker, map[string]string{"WORKER_METRICS_LISTEN": workers})
	base := "http://" + page
	awaitServing(t, base)
	// As the head of the file says that an installation begins.
	said := c.run("migrate", "bootstrap", "--studio", "First Light", "--name", "Runa", "--email", "runa@firstlight.example")
	require.Contains(t, said, "runa@firstlight.example")

	h := &harbour{t: t, admin: c.where.Replace(c.file.Services["migrate"].Environment["DATABASE_ADMIN_URL"]), base: base}
	h.people()
	folder, roles := boxFolder(t, "box")
	got := h.await(h.deliver(h.contract("box", "background", boxSpec("box")), folder, roles))
	require.NotNil(t, got.Verdict)
	require.NotEqual(t, "not_evaluated", string(*got.Verdict), got.Headline)
	owner, err := pgx.Connect(t.Context(), h.admin)
	require.NoError(t, err)
	defer owner.Close(context.Background())
	h.owner = owner
	h.recordedOnce(1)
	h.eventually("the notary signs what was recorded", `SELECT count(*) FROM ph.checkpoint`)
	for _, address := range []string{metrics, workers} {
		r, err := http.Get("http://" + address + "/metrics")
		require.NoError(t, err)
		body, err := io.ReadAll(r.Body)
		require.NoError(t, err)
		require.NoError(t, r.Body.Close())
		require.Contains(t, string(body), "proofhouse_")
	}

	// Neither program is connected as the owner, and each by roles of its own.
	rows, err := owner.Query(t.Context(), `SELECT DISTINCT usename::text FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid() AND usename <> 'ph_admin' ORDER BY 1`)
	require.NoError(t, err)
	by, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	require.Subset(t, []string{"ph_api", "ph_clock", "ph_login", "ph_notary", "ph_post", "ph_worker"}, by)
	require.Contains(t, by, "ph_worker")
	require.Zero(t, h.count(`SELECT count(*) FROM pg_stat_activity WHERE usename = 'ph_admin' AND pid <> pg_backend_pid()`))
}
