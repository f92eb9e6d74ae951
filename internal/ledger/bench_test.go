package ledger_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"sync/atomic"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
)

// benchScene is one studio, one vendor and many work orders of one prop each.
type benchScene struct {
	store  *ledger.Store
	worker *ledger.Worker
	studio ledger.Who
	vendor ledger.Who
	props  []ledger.Prop
}

func newBench(b *testing.B, orders int) *benchScene {
	b.Helper()
	ctx := context.Background()
	db := ledgertest.New(b)
	store, err := ledger.NewStore(db.Pool(ledger.RoleAPI))
	require.NoError(b, err)
	s := &benchScene{store: store, worker: ledger.NewWorker(db.Pool(ledger.RoleWorker)), studio: db.Studio("Harbour Studio")}
	var secret string
	require.NoError(b, store.InTx(ctx, s.studio, func(tx *ledger.Tx) error {
		v, err := tx.CreateVendor(ctx, ledger.NewVendor{Name: "Salvage Yard"})
		if err == nil {
			_, secret, err = tx.Invite(ctx, ledger.NewInvitation{Party: v.ID, Email: "mara@salvage.example", Roles: []ledger.Role{ledger.VendorLead}})
		}
		return err
	}))
	s.vendor, err = ledger.NewLogin(db.Pool(ledger.RoleLogin)).AcceptInvitation(ctx, secret, "Mara", "a password of the tests")
	require.NoError(b, err)
	require.NoError(b, store.InTx(ctx, s.studio, func(tx *ledger.Tx) error {
		project, err := tx.CreateProject(ctx, ledger.NewProject{Code: "P", Title: "Old Harbour"})
		for i := 0; err == nil && i < orders; i++ {
			var w ledger.WorkOrder
			if w, err = tx.CreateWorkOrder(ctx, ledger.NewWorkOrder{Project: project.ID, Vendor: s.vendor.Party, Code: fmt.Sprint("W", i), Title: "x", Currency: "EUR", ReviewDays: 5}); err == nil {
				err = s.addProp(ctx, tx, w.ID, "p")
			}
		}
		return err
	}))
	return s
}

func (s *benchScene) addProp(ctx context.Context, tx *ledger.Tx, order uuid.UUID, code string) error {
	p, err := tx.CreateProp(ctx, ledger.NewProp{WorkOrder: order, Code: code, Title: "x", Tier: "mid", PriceMinor: 1, Milestones: []ledger.NewMilestone{{Kind: "final", ShareBP: 10000}}})
	if err == nil {
		sum := sha256.Sum256([]byte("spec"))
		_, err = tx.CreateSpecRevision(ctx, ledger.NewSpecRevision{Prop: p.ID, Document: []byte("x"), Digest: sum[:]})
	}
	s.props = append(s.props, p)
	return err
}

func (s *benchScene) deliver(ctx context.Context, prop ledger.Prop) error {
	var d ledger.Delivery
	err := s.store.InTx(ctx, s.vendor, func(tx *ledger.Tx) (err error) {
		d, err = tx.OpenDelivery(ctx, manifest(prop.Milestones[0].ID))
		return err
	})
	if err == nil {
		err = s.store.InTx(ctx, s.vendor, func(tx *ledger.Tx) error { _, err := tx.BeginSeal(ctx, d.ID); return err })
	}
	if err == nil {
		err = s.store.InTx(ctx, s.vendor, func(tx *ledger.Tx) error { _, err := tx.FinishSeal(ctx, d.ID, arrivedOf(d)); return err })
	}
	return err
}

// BenchmarkFact writes notes on deliveries over 50 logs: one fact a transaction, and twenty, as a decided batch has.
func BenchmarkFact(b *testing.B) {
	for _, n := range []int{1, 20} {
		b.Run(fmt.Sprintf("%d a transaction", n), func(b *testing.B) { benchFacts(b, n) })
	}
}

func benchFacts(b *testing.B, each int) {
	ctx := context.Background()
	s := newBench(b, 50)
	ids := make([]uuid.UUID, len(s.props))
	for i, p := range s.props {
		require.NoError(b, s.store.InTx(ctx, s.vendor, func(tx *ledger.Tx) error {
			d, err := tx.OpenDelivery(ctx, manifest(p.Milestones[0].ID))
			ids[i] = d.ID
			return err
		}))
	}
	var n atomic.Int64
	b.SetParallelism(8)
	b.ResetTimer()
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			id := ids[n.Add(1)%int64(len(ids))]
			if err := s.store.InTx(ctx, s.vendor, func(tx *ledger.Tx) error {
				for range each {
					if _, err := tx.AddNote(ctx, ledger.NewNote{Delivery: id, Text: "x"}); err != nil {
						return err
					}
				}
				return nil
			}); err != nil {
				b.Error(err)
			}
		}
	})
	b.ReportMetric(float64(b.N*each)/b.Elapsed().Seconds(), "facts/s")
}

// BenchmarkDelivery is a delivery from its manifest to a recorded inspection of 60 findings: six transactions.
func BenchmarkDelivery(b *testing.B) {
	ctx := context.Background()
	s := newBench(b, 1)
	r := failing()
	for len(r.Findings) < 60 {
		r.Findings = append(r.Findings, r.Findings[0])
	}
	for b.Loop() {
		require.NoError(b, s.deliver(ctx, s.props[0]))
		job, err := s.worker.Claim(ctx, "w")
		require.NoError(b, err)
		require.NoError(b, s.worker.Record(ctx, job.Inspection.ID, job.Fence, r, nil))
	}
}
