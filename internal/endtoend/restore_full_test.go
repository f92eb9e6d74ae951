//go:build full

package endtoend

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/client"
	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// block is one block of shell commands of the runbook, as it stands there.
func block(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(root, "docs", "runbook.md"))
	require.NoError(t, err)
	found := regexp.MustCompile("(?s)\n```sh " + name + "\n(.*?)\n```\n").FindSubmatch(text)
	require.NotNil(t, found, "the runbook has no block %q", name)
	return string(found[1])
}

// moved is an installation of three parts that a backup is made of, or restored into.
func moved(t *testing.T, name string) *installation {
	p := laidOut(t, name)
	p.api, p.work = buildAPI(t), worker
	p.startPostgres()
	p.startS3(freePort(t))
	p.weather = newWeather(t, p.s3At.Endpoint)
	p.env = map[string]string{
		"DATABASE_URL": p.roleURL(ledger.RoleAPI), "DATABASE_LOGIN_URL": p.roleURL(ledger.RoleLogin), "DATABASE_NOTARY_URL": p.roleURL(ledger.RoleNotary),
		"NOTARY_KEY": filepath.Join(p.dir, "notary.key"), "METRICS_LISTEN": "off", "TRUSTED_PROXIES": "127.0.0.0/8",
		"S3_ENDPOINT": p.s3At.Endpoint, "S3_REGION": s3server.Region, "S3_BUCKET": "harbour", "S3_ACCESS_KEY": p.s3At.API.Access, "S3_SECRET_KEY": p.s3At.API.Secret,
	}
	return p
}

// operator runs commands of the runbook with what it says is set, and nothing else.
func (p *installation) operator(commands, backup string) {
	cmd := exec.Command("sh", "-c", commands)
	cmd.Dir = p.t.TempDir()
	cmd.Env = []string{"PATH=" + filepath.Dir(p.api) + ":" + p.pg.BinDir() + ":/usr/bin:/bin", "HOME=" + cmd.Dir, "BACKUP=" + backup, "DATABASE_ADMIN_URL=" + p.pg.URL(),
		"DATABASE_WORKER_URL=" + p.pg.RoleURL(ledger.RoleWorker), "DATABASE_CLOCK_URL=" + p.pg.RoleURL(ledger.RoleClock), "DATABASE_POST_URL=" + p.pg.RoleURL(ledger.RolePost)}
	for k, v := range p.env {
		cmd.Env = append(cmd.Env, k+"="+v)
	}
	out, err := cmd.CombinedOutput()
	require.NoError(p.t, err, string(out))
}

// rows is every table of an installation's database: how many rows it has, and a digest of them all.
func (p *installation) rows() map[string]string {
	ctx := p.t.Context()
	db, err := pgx.Connect(ctx, p.pg.URL())
	require.NoError(p.t, err)
	defer db.Close(ctx)
	rows, err := db.Query(ctx, `SELECT c.oid::regclass::text FROM pg_class c WHERE c.relnamespace::regnamespace::text IN ('ph', 'river', 'public') AND c.relkind = 'r'
		AND c.relname NOT IN ('river_leader', 'river_queue') ORDER BY 1`) // those two are signs of life, written every few seconds
	require.NoError(p.t, err)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(p.t, err)
	out := map[string]string{}
	for _, table := range tables {
		var n int
		var sum string
		require.NoError(p.t, db.QueryRow(ctx, `SELECT count(*), coalesce(md5(string_agg(x::text, E'\n' ORDER BY x::text)), '') FROM `+table+` x`).Scan(&n, &sum), table)
		out[table] = fmt.Sprint(n, " ", sum)
	}
	return out
}

// stored is every object of an installation's bucket below what the record speaks of, by key, with its length and digest.
func (p *installation) stored() map[string]string {
	out := map[string]string{}
	store := p.openStore()
	for _, prefix := range []string{"in/", "ref/", "wo/"} {
		require.NoError(p.t, store.List(p.t.Context(), prefix, func(page []storage.Listed) error {
			for _, o := range page {
				sum, size, err := store.Fetch(p.t.Context(), o.Key, "", discard{})
				if err != nil {
					return err
				}
				out[o.Key] = fmt.Sprint(size, " ", sum)
			}
			return nil
		}))
	}
	return out
}

// exported writes an order's record to a file.
func (p *installation) exported(order uuid.UUID) string {
	h := &harbour{t: p.t, base: "http://" + p.addr}
	_, studio := h.caller("ida@gull.example", client.ScopeRead)
	got, err := studio.ExportWorkOrderWithResponse(p.t.Context(), order)
	require.NoError(p.t, err)
	require.Equal(p.t, http.StatusOK, got.StatusCode(), string(got.Body))
	path := filepath.Join(p.dir, "bundle.json")
	require.NoError(p.t, os.WriteFile(path, got.Body, 0o600))
	return path
}

// references publishes a pack of one picture with the order.
func (h *harbour) references() {
	t := h.t
	data := []byte("\x89PNG the look of the quay")
	pack, err := h.studio.CreateReferencesWithResponse(t.Context(), h.order, &client.CreateReferencesParams{IdempotencyKey: key()}, client.NewReferencePack{Note: new("The look."),
		Files: []client.NewReference{{Path: "quay.png", What: "concept", Bytes: int64(len(data)), Sha256: fmt.Sprintf("%x", sha256.Sum256(data))}}})
	require.NoError(t, err)
	require.NotNil(t, pack.JSON201, string(pack.Body))
	put := pack.JSON201.Files[0].Put
	r, err := http.NewRequestWithContext(t.Context(), string(put.Method), put.Url, bytes.NewReader(data))
	require.NoError(t, err)
	for name, value := range put.Headers {
		r.Header.Set(name, value)
	}
	resp, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	require.Equal(t, http.StatusOK, resp.StatusCode)
	published, err := h.studio.PublishReferencesWithResponse(t.Context(), pack.JSON201.Id, &client.PublishReferencesParams{IdempotencyKey: key()})
	require.NoError(t, err)
	require.NotNil(t, published.JSON200, string(published.Body))
}

// The runbook's own commands, on an installation with a delivery in parts, its evidence, a reference and a decision, bring all
// of it to a machine where nothing was: every row, every object, a record that verifies from the receipt of before, people who
// log in, and work that goes on, though storage calls the same bytes by other names now.
func TestBackupAndRestoreAsWritten(t *testing.T) {
	if _, err := exec.LookPath("rclone"); err != nil {
		if os.Getenv("PROOFHOUSE_FULL") != "" {
			require.NoError(t, err)
		}
		t.Skip("rclone is not installed")
	}
	p := moved(t, "before")
	p.migrate()
	p.startAPI()
	h := &harbour{t: t, admin: p.pg.URL(), base: "http://" + p.addr}
	awaitServing(t, h.base)
	h.people()
	h.references()
	milestone := h.contract("box", "background", boxSpec("box")+"checks: {scene.origin: {mode: warns}}\n")
	folder, roles := boxFolder(t, "box")
	large, err := os.Create(filepath.Join(folder, "box_source.bin"))
	require.NoError(t, err)
	require.NoError(t, large.Truncate(40<<20)) // in parts
	require.NoError(t, large.Close())
	roles["box_source.bin"] = "source.other"
	p.startWorker(0)
	d := h.deliver(milestone, folder, roles)
	first := h.await(d)
	require.Equal(t, client.VerdictPass, *first.Verdict)
	receipt := filepath.Join(p.dir, "receipt.json")
	text, err := json.Marshal(d.Receipt)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(receipt, text, 0o600))
	time.Sleep(3 * time.Second) // what was done last is anchored, and nothing happens any more

	backup := t.TempDir()
	p.operator(block(t, "backup"), backup)
	p.operator(block(t, "backup"), backup) // again, beside the first
	verifier := strings.Fields(string(must(os.ReadFile(p.env["NOTARY_KEY"]))))
	rows, objects := p.rows(), p.stored()
	require.Greater(t, len(objects), 3, "files, evidence and a reference")
	require.Contains(t, strings.Join(keysOf(objects), " "), "ref/")
	p.end() // the old machine is gone

	q := moved(t, "after")
	require.Empty(t, q.stored())
	q.operator(block(t, "restore"), backup)
	require.Equal(t, rows, q.rows(), "every row of every table")
	require.Equal(t, objects, q.stored(), "every object")
	q.startAPI()
	awaitServing(t, "http://"+q.addr)
	verify := exec.Command(q.api, "verify", "--verifier", verifier[len(verifier)-1], "--since", receipt, "--objects", q.exported(h.order))
	for _, name := range []string{"S3_ENDPOINT", "S3_REGION", "S3_BUCKET", "S3_ACCESS_KEY", "S3_SECRET_KEY"} {
		verify.Env = append(verify.Env, name+"="+q.env[name])
	}
	out, err := verify.CombinedOutput()
	require.NoError(t, err, string(out))
	require.Contains(t, string(out), "It holds.")

	// Storage calls what came in parts by another name here.
	var object, sealedAs string
	db, err := pgx.Connect(t.Context(), q.pg.URL())
	require.NoError(t, err)
	defer db.Close(context.Background())
	require.NoError(t, db.QueryRow(t.Context(), `SELECT object_key, etag FROM ph.file WHERE path = 'box_source.bin'`).Scan(&object, &sealedAs))
	there, err := q.openStore().Head(t.Context(), object)
	require.NoError(t, err)
	require.NotEqual(t, sealedAs, there.ETag)

	// Work goes on: the same delivery is inspected again, from the objects as they are here.
	q.startWorker(0)
	h.base = "http://" + q.addr
	_, h.studio = h.caller("ida@gull.example", client.ScopeOrder, client.ScopeReview, client.ScopeAdmin)
	_, h.vendor = h.caller("olaf@breaker.example", client.ScopeDeliver)
	again, err := h.studio.ReinspectDeliveryWithResponse(t.Context(), d.Delivery.Id, &client.ReinspectDeliveryParams{IdempotencyKey: key()}, client.Reason{Reason: "on the new machine"})
	require.NoError(t, err)
	require.Less(t, again.StatusCode(), 300, string(again.Body))
	ctx, cancel := context.WithTimeout(t.Context(), waiting)
	defer cancel()
	var second *client.InspectionHead
	for second == nil || second.Id == first.Id || second.Verdict == nil {
		got, err := h.vendor.Await(ctx, d.Delivery.Id)
		require.NoError(t, err)
		second = got.Inspection
	}
	require.Equal(t, client.VerdictPass, *second.Verdict, "nothing is told as changed")
}

func must(b []byte, err error) []byte {
	if err != nil {
		panic(err)
	}
	return b
}

func keysOf(m map[string]string) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	return out
}
