package seed

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"proofhouse/internal/storage"
)

// Sample are inspections whose evidence lies in the storage, so that pages of their deliveries can be read whole.
type Sample struct {
	Inspection uuid.UUID `json:"inspection"`
	Delivery   uuid.UUID `json:"delivery"`
}

// PutSample puts the evidence of the newest inspection of n props into the storage: objects with the keys and digests that
// the rows name. seed is the world's.
func PutSample(ctx context.Context, admin string, objects *storage.Store, worldSeed uint64, n int) ([]Sample, error) {
	drawn, err := drawResults(rand.New(rand.NewPCG(worldSeed, 1)))
	if err != nil {
		return nil, fmt.Errorf("sample: %w", err)
	}
	by := map[string]*result{}
	for _, r := range append(drawn.pass, drawn.fail...) {
		by[string(r.evidenceSHA256)] = r
	}
	conn, err := pgx.Connect(ctx, admin)
	if err != nil {
		return nil, fmt.Errorf("sample: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	// Props at even distances by their ids, which begin with their time.
	rows, err := conn.Query(ctx, `SELECT i.id, i.delivery_id, i.work_order_id, i.evidence_sha256
		FROM (SELECT studio_id, id FROM (SELECT studio_id, id, row_number() OVER (ORDER BY id) AS at, count(*) OVER () AS all_of FROM ph.prop) x WHERE at % greatest(1, all_of / $1) = 0 LIMIT $1) p
		CROSS JOIN LATERAL (SELECT d.id FROM ph.delivery d WHERE d.studio_id = p.studio_id AND d.prop_id = p.id AND d.state = 'sealed' ORDER BY d.id DESC LIMIT 1) d
		JOIN ph.inspection i ON i.studio_id = p.studio_id AND i.delivery_id = d.id AND i.evidence_sha256 IS NOT NULL`, n)
	if err != nil {
		return nil, fmt.Errorf("sample: %w", err)
	}
	type line struct {
		Sample
		order uuid.UUID
		sum   []byte
	}
	lines, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (l line, err error) {
		err = row.Scan(&l.Inspection, &l.Delivery, &l.order, &l.sum)
		return l, err
	})
	if err != nil {
		return nil, fmt.Errorf("sample: %w", err)
	}
	out := make([]Sample, 0, len(lines))
	for _, l := range lines {
		for _, o := range by[string(l.sum)].objects() {
			if _, _, err := objects.PutEvidence(ctx, l.order.String(), bytes.NewReader(o.body), o.media); err != nil {
				return nil, fmt.Errorf("sample: %w", err)
			}
		}
		out = append(out, l.Sample)
	}
	return out, nil
}
