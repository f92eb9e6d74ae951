//go:build full

package endtoend

import (
	"bytes"
	"fmt"
	"maps"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/client"
	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// account holds what is recorded against what was done, once the weather is fine.
func (p *installation) account(orders []uuid.UUID, sent int, decided bool) {
	t, ctx := p.t, p.t.Context()
	awaitServing(t, "http://"+p.addr)
	db, err := pgx.Connect(ctx, p.pg.URL())
	require.NoError(t, err)
	defer db.Close(ctx)
	count := func(query string) (n int) {
		require.NoError(t, db.QueryRow(ctx, query).Scan(&n), query)
		return n
	}
	sealed := count(`SELECT count(*) FROM ph.delivery WHERE state = 'sealed'`)
	current := count(`SELECT count(*) FROM ph.inspection WHERE current AND state = 'done'`)
	facts := count(`SELECT count(*) FROM ph.fact WHERE kind = 'inspection.recorded'`)
	runs := count(`SELECT count(*) FROM ph.inspection`)
	passed := count(`SELECT count(*) FROM ph.inspection WHERE current AND verdict = 'pass'`)
	accepted := count(`SELECT count(*) FROM ph.milestone WHERE state = 'accepted'`)
	owed := count(`SELECT coalesce(sum(amount_minor), 0) FROM ph.payable`)
	strays := p.tidied(db)
	missing, orphans := p.compareObjects(db)
	total := 0
	for _, n := range p.faults {
		total += n
	}
	var of strings.Builder
	for _, name := range slices.Sorted(maps.Keys(p.faults)) {
		fmt.Fprintf(&of, "\n    %-28s %4d", name, p.faults[name])
	}
	t.Logf("\nfaults                         %4d, of them%s\ndeliveries                     %4d\nlost                           %4d\ndoubled                        %4d\n"+
		"passed, accepted, owed         %4d, %d, %d.%02d\nevidence missing               %4d\nevidence orphaned              %4d (%d tidied away by the service's own rule)",
		total, of.String(), sealed, sent-current, facts-sealed, passed, accepted, owed/100, owed%100, missing, orphans, strays)
	require.Equal(t, sent, sealed, "every delivery is sealed, once")
	require.Equal(t, sent, current, "every sealed delivery has one inspection that counts")
	require.Equal(t, sent, runs)
	require.Equal(t, sent, facts, "recorded once")
	if decided {
		require.Positive(t, passed, "something was there to be accepted and paid")
		require.Equal(t, passed, accepted)
		require.Equal(t, 10_000*passed, owed, "each accepted prop is owed once")
	}
	require.Zero(t, missing, "evidence is there, byte for byte")
	require.Zero(t, orphans, "no object without a row")
	p.verifyLogs(orders)
}

// tidied does what the service does once a day and after its wait: objects that nothing in the record speaks of are marked and
// deleted. A worker that is killed between storing and recording leaves such objects, where its inspection was then given up
// for good; whatever is left by any other is a fault. It returns how many there were.
func (p *installation) tidied(db *pgx.Conn) int {
	t, ctx := p.t, p.t.Context()
	pool, err := pgxpool.New(ctx, p.pg.RoleURL(ledger.RoleClock))
	require.NoError(t, err)
	defer pool.Close()
	clock, store := ledger.NewClock(pool), p.openStore()
	for range 2 { // marked, and still there at the next look
		for _, prefix := range []string{"in/", "ref/", "wo/"} {
			require.NoError(t, store.List(ctx, prefix, func(page []storage.Listed) error {
				list := make([]ledger.StoredObject, len(page))
				for i, o := range page {
					list[i] = ledger.StoredObject{Key: o.Key, Size: o.Size}
				}
				_, err := clock.MarkOrphans(ctx, list)
				return err
			}))
		}
		_, err = db.Exec(ctx, `UPDATE ph.orphan SET marked_at = marked_at - $1::interval`, 2*ledger.OrphanWait)
		require.NoError(t, err)
	}
	due, err := clock.Orphans(ctx)
	require.NoError(t, err)
	for _, key := range due {
		var givenUp int
		part := strings.Split(key, "/")
		if part[1] == "probe" { // an API process that was killed while it tried the storage
			require.NoError(t, store.Delete(ctx, key))
			continue
		}
		require.Equal(t, "wo", part[0], "evidence alone is stored before its row: %s", key)
		require.NoError(t, db.QueryRow(ctx, `SELECT count(*) FROM ph.inspection i JOIN ph.delivery d ON d.studio_id = i.studio_id AND d.id = i.delivery_id
			WHERE d.work_order_id = $1 AND i.verdict = 'not_evaluated' AND i.attempts >= 3`, part[1]).Scan(&givenUp))
		require.Positive(t, givenUp, "what nothing speaks of is left by inspections that were given up: %s", key)
		require.NoError(t, store.Delete(ctx, key))
	}
	require.NoError(t, clock.OrphansSwept(ctx, due))
	return len(due)
}

func (p *installation) openStore() *storage.Store {
	store, err := storage.Open(storage.Config{Endpoint: p.s3At.Endpoint, Region: s3server.Region, Bucket: "harbour", AccessKey: p.s3At.API.Access, SecretKey: p.s3At.API.Secret})
	require.NoError(p.t, err)
	return store
}

// compareObjects reads every stored object: evidence of rows must be there with its digest, and every object must have a row.
func (p *installation) compareObjects(db *pgx.Conn) (missing, orphans int) {
	t, ctx := p.t, p.t.Context()
	store := p.openStore()
	rows, err := db.Query(ctx, `SELECT object_key, encode(sha256, 'hex') FROM ph.evidence UNION SELECT object_key, encode(sha256, 'hex') FROM ph.file`)
	require.NoError(t, err)
	known := map[string]bool{}
	for rows.Next() {
		var key, sum string
		require.NoError(t, rows.Scan(&key, &sum))
		known[key] = true
		if got, _, err := store.Fetch(ctx, key, "", discard{}); err != nil || got != sum {
			missing++
		}
	}
	require.NoError(t, rows.Err())
	bucket := filepath.Join(p.dir, "s3", "objects", "harbour")
	require.DirExists(t, bucket)
	require.NoError(t, filepath.WalkDir(bucket, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		key, err := filepath.Rel(bucket, path)
		if (strings.HasPrefix(key, "in/") || strings.HasPrefix(key, "wo/")) && !known[key] {
			t.Logf("no row for %s", key)
			orphans++
		}
		return err
	}))
	return missing, orphans
}

// verifyLogs exports every order's record and has `api verify` check it with no server.
func (p *installation) verifyLogs(orders []uuid.UUID) {
	t := p.t
	h := &harbour{t: t, base: "http://" + p.addr}
	_, studio := h.caller("ida@gull.example", client.ScopeRead)
	for _, id := range orders {
		got, err := studio.ExportWorkOrderWithResponse(t.Context(), id)
		require.NoError(t, err)
		require.Equal(t, http.StatusOK, got.StatusCode(), string(got.Body))
		bundle := filepath.Join(p.dir, id.String()+".json")
		require.NoError(t, os.WriteFile(bundle, got.Body, 0o600))
		var out bytes.Buffer
		cmd := exec.Command(p.api, "verify", bundle)
		cmd.Stdout, cmd.Stderr = &out, &out
		require.NoError(t, cmd.Run(), out.String())
	}
}
