package main

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// subjects are ids that a party may ask for, by what stands in a route's braces.
type subjects map[string][]string

// The samples, of a party's column, by name; "?" stands for the column. Rows are drawn by the digest of their id, so that
// runs ask the same.
var samples = []struct{ name, query string }{
	{"prop_id", `SELECT id::text FROM ph.prop WHERE ? = $1 ORDER BY md5(id::text) LIMIT 400`},
	{"work_order_id", `SELECT id::text FROM ph.work_order WHERE ? = $1 ORDER BY md5(id::text) LIMIT 300`},
	{"project_id", `SELECT id::text FROM ph.project WHERE studio_id = $1 LIMIT 200`},
	{"question_id", `SELECT id::text FROM ph.question WHERE ? = $1 ORDER BY md5(id::text) LIMIT 200`},
	{"log_id", `SELECT id::text FROM ph.log WHERE ? = $1 AND size > 20 ORDER BY md5(id::text) LIMIT 200`},
	{"vendor_id", `SELECT vendor_id::text FROM ph.engagement WHERE ? = $1`},
	{"open", `SELECT id::text FROM ph.delivery WHERE ? = $1 AND state = 'open' LIMIT 100`},
}

// Of the props drawn, what hangs on them.
var dependents = []struct{ name, query string }{
	{"spec_id", `SELECT id::text FROM ph.spec_revision WHERE prop_id = ANY ($1::uuid[])`},
	{"milestone_id", `SELECT id::text FROM ph.milestone WHERE prop_id = ANY ($1::uuid[])`},
	{"delivery_id", `SELECT id::text FROM ph.delivery WHERE prop_id = ANY ($1::uuid[]) AND state = 'sealed' ORDER BY md5(id::text) LIMIT 600`},
	{"inspection_id", `SELECT id::text FROM ph.inspection WHERE prop_id = ANY ($1::uuid[]) AND state = 'done' ORDER BY md5(id::text) LIMIT 600`},
	{"file", `SELECT f.delivery_id::text || '/files/' || f.id::text FROM ph.file f JOIN ph.delivery d ON d.studio_id = f.studio_id AND d.id = f.delivery_id
		WHERE d.prop_id = ANY ($1::uuid[]) AND d.state = 'sealed' ORDER BY md5(f.id::text) LIMIT 300`},
	{"receipt", `SELECT 'delivery.sealed/' || id::text FROM ph.delivery WHERE prop_id = ANY ($1::uuid[]) AND state = 'sealed' ORDER BY md5(id::text) LIMIT 300`},
}

// readSubjects draws what the callers of one party are to ask for.
func readSubjects(ctx context.Context, conn *pgx.Conn, side string, party uuid.UUID) (subjects, error) {
	column := map[string]string{"studio": "studio_id", "vendor": "vendor_id"}[side]
	out := subjects{}
	for _, s := range samples {
		list, err := strings1(ctx, conn, replaceColumn(s.query, column), party)
		if err != nil {
			return nil, fmt.Errorf("subjects %s: %w", s.name, err)
		}
		out[s.name] = list
	}
	for _, s := range dependents {
		list, err := strings1(ctx, conn, s.query, out["prop_id"])
		if err != nil {
			return nil, fmt.Errorf("subjects %s: %w", s.name, err)
		}
		out[s.name] = list
	}
	return out, nil
}

func strings1(ctx context.Context, conn *pgx.Conn, query string, arg any) ([]string, error) {
	rows, err := conn.Query(ctx, query, arg)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}
