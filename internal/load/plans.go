package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"proofhouse/internal/embedded"
)

// bounds say which plans are not ones that a large ledger can be asked by.
const (
	bigTable  = 10_000 // rows from which a table is never read whole
	sortMost  = 10_000 // rows that one sort may take: some 5 ms
	wasteMost = 10_000 // rows that a scan may read and throw away: some 10 ms
)

// borne are statements whose plans are known and borne, by a piece of their text, each with its reason. The table tells of them.
var borne = []struct{ what, piece, reason string }{
	{"props by a word (`/props?q=`)", "strpos(lower(l.code", "no index of PostgreSQL's own finds text in the middle of a title; every line of the party is looked at, which took 26 ms of 100,000 on a busy machine, and counting stops at 1,001"},
	{"how many props a vendor has (`/props`)", "SELECT count(*) FROM (SELECT FROM ph.prop_line l WHERE l.vendor_id", "counting stops at 1,001, which the planner finds soonest in an index of all vendors': 10,000 to 14,000 entries of it, no row"},
}

// bearable says whether what is wrong with a statement's plan is borne: reading the list of props, and that alone.
func bearable(query, what string) bool {
	query = strings.Join(strings.Fields(query), " ")
	for _, b := range borne {
		if strings.Contains(query, b.piece) && strings.Contains(what, "prop_line") {
			return true
		}
	}
	return false
}

// fault is a plan that does not hold.
type fault struct{ Route, Caller, What, Query string }

// plansCommand asks every read route and page once as each role, with PostgreSQL telling how it ran every statement of the role ph_api, and
// lists what reads a large table whole, sorts without bound, or throws most of what it reads away.
func plansCommand(ctx context.Context, args []string) error {
	f := flag.NewFlagSet("plans", flag.ContinueOnError)
	dir := f.String("dir", "", "data `folder` made by seed")
	program := f.String("api", "build/api", "the service's `program`")
	only := f.String("only", "", "routes whose name holds this `text` alone")
	if err := f.Parse(args); err != nil {
		return err
	}
	faults, asked, err := lookAtPlans(ctx, *dir, *program, *only)
	if err != nil {
		return err
	}
	for _, one := range faults {
		fmt.Printf("%s as %s: %s\n    %.400s\n", one.Route, one.Caller, one.What, strings.Join(strings.Fields(one.Query), " "))
	}
	fmt.Printf("%d questions, %d faults\n", asked, len(faults))
	return nil
}

// telling makes PostgreSQL write every plan of the role ph_api into its log, or stops it.
func telling(ctx context.Context, dir string, on bool) (err error) {
	pg, err := embedded.StartPostgres(ctx, embedded.PostgresConfig{Folder: dir})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, pg.Stop()) }()
	conn, err := pgx.Connect(ctx, pg.URL())
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if !on {
		_, err = conn.Exec(ctx, `ALTER ROLE ph_api RESET ALL`)
		return err
	}
	for _, s := range []string{`session_preload_libraries = 'auto_explain'`, `auto_explain.log_min_duration = 0`, `auto_explain.log_analyze = on`, `auto_explain.log_timing = off`,
		`auto_explain.log_buffers = on`, `auto_explain.log_format = 'json'`, `auto_explain.log_nested_statements = on`} {
		if _, err := conn.Exec(ctx, `ALTER ROLE ph_api SET `+s); err != nil {
			return fmt.Errorf("%s: %w", s, err)
		}
	}
	return nil
}

func lookAtPlans(ctx context.Context, dir, program, only string) (faults []fault, asked int, err error) {
	m, err := readManifest(dir)
	if err != nil {
		return nil, 0, err
	}
	if err := telling(ctx, dir, true); err != nil {
		return nil, 0, err
	}
	defer func() { err = errors.Join(err, telling(context.WithoutCancel(ctx), dir, false)) }()
	s, err := serve(ctx, program, dir)
	if err != nil {
		return nil, 0, err
	}
	defer func() { err = errors.Join(err, s.stop()) }()
	conn, err := adminConn(ctx, dir)
	if err != nil {
		return nil, 0, err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	big, err := bigTables(ctx, conn)
	if err != nil {
		return nil, 0, err
	}
	callers, err := logIn(ctx, s.url, m.Password, "10.0", m.Members)
	if err != nil {
		return nil, 0, err
	}
	r := measurement{manifest: m}
	if err := r.drawSubjects(ctx, conn, callers); err != nil {
		return nil, 0, err
	}
	routes, err := described("openapi/proofhouse.yaml")
	if err != nil {
		return nil, 0, err
	}
	addresses, err := pages("internal/web/web.go")
	if err != nil {
		return nil, 0, err
	}
	routes = slices.DeleteFunc(append(routes, addresses...), func(route string) bool { return !strings.Contains(route, only) })
	list, _ := makeTargets(routes, callers, rand.New(rand.NewPCG(m.Seed, 3)))
	log, err := os.Open(filepath.Join(dir, "postgres", "server.log"))
	if err != nil {
		return nil, 0, err
	}
	defer log.Close()
	for _, t := range list {
		done := map[string]bool{}
		for _, v := range t.variants {
			kind := v.caller.Side + " " + v.caller.Role + " " + shape(v.url)
			if done[kind] {
				continue
			}
			done[kind] = true
			if _, err := log.Seek(0, io.SeekEnd); err != nil {
				return nil, 0, err
			}
			_, _ = v.caller.fetch(ctx, s.url+v.url) // what is refused was asked for too
			asked++
			time.Sleep(5 * time.Millisecond) // the server writes its log after its answer
			text, err := io.ReadAll(log)
			if err != nil {
				return nil, 0, err
			}
			for _, p := range plansIn(text) {
				for _, what := range p.Plan.faults(big, nil) {
					if bearable(p.Query, what) {
						continue
					}
					faults = append(faults, fault{t.route, v.caller.Side + " " + v.caller.Role, what, p.Query})
				}
			}
		}
	}
	return dedupe(faults), asked, nil
}

// shape is a question without its subject.
func shape(url string) string {
	_, query, _ := strings.Cut(url, "?")
	out := query
	for _, part := range strings.Split(query, "&") {
		if _, value, ok := strings.Cut(part, "="); ok && len(value) == 36 {
			out = strings.Replace(out, value, "x", 1)
		}
	}
	return out
}

func dedupe(list []fault) (out []fault) {
	seen := map[string]bool{}
	for _, f := range list {
		key := f.Route + f.Caller + f.What + f.Query
		if !seen[key] {
			seen[key] = true
			out = append(out, f)
		}
	}
	return out
}

// bigTables are the tables that no question may read whole, parts of the findings among them.
func bigTables(ctx context.Context, conn *pgx.Conn) (map[string]bool, error) {
	rows, err := conn.Query(ctx, `SELECT relname FROM pg_class WHERE relnamespace = 'ph'::regnamespace AND relkind = 'r' AND reltuples > $1`, bigTable)
	if err != nil {
		return nil, err
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	out := map[string]bool{}
	for _, n := range names {
		out[n] = true
	}
	return out, err
}

// told is one statement as auto_explain tells of it.
type told struct {
	Query string `json:"Query Text"`
	Plan  node   `json:"Plan"`
}

// node is a step of a plan.
type node struct {
	Type     string  `json:"Node Type"`
	Relation string  `json:"Relation Name"`
	Index    string  `json:"Index Name"`
	Rows     float64 `json:"Actual Rows"` // a loop
	Loops    float64 `json:"Actual Loops"`
	Removed  float64 `json:"Rows Removed by Filter"`
	Method   string  `json:"Sort Method"`
	Plans    []node  `json:"Plans"`
}

// plansIn reads the plans in a piece of PostgreSQL's log.
func plansIn(log []byte) (out []told) {
	for {
		at := bytes.Index(log, []byte("plan:\n"))
		if at < 0 {
			return out
		}
		log = log[at+len("plan:\n"):]
		var p told
		d := json.NewDecoder(bytes.NewReader(log))
		if d.Decode(&p) == nil {
			out = append(out, p)
			log = log[d.InputOffset():]
		}
	}
}

func (n node) faults(big map[string]bool, out []string) []string {
	switch {
	case n.Type == "Seq Scan" && big[n.Relation] && (n.Rows+n.Removed)*n.Loops > bigTable+1: // a LIMIT stops a scan early
		out = append(out, fmt.Sprintf("reads all of %s", n.Relation))
	case n.Type == "Sort" && len(n.Plans) == 1 && n.Plans[0].Rows > sortMost:
		out = append(out, fmt.Sprintf("sorts %.0f rows (%s)", n.Plans[0].Rows, n.Method))
	}
	if n.Removed*max(n.Loops, 1) > wasteMost {
		out = append(out, fmt.Sprintf("%s on %s %s throws %.0f rows away", n.Type, n.Relation, n.Index, n.Removed*n.Loops))
	}
	for _, child := range n.Plans {
		out = child.faults(big, out)
	}
	return out
}
