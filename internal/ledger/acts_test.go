package ledger_test

import (
	"crypto/sha256"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// furtherActs does one of each of the acts that fill the tables around a vendor's prop. The prop's first milestone is
// done, the second untouched; afterwards the second is in review.
func (s *scene) furtherActs(vendor ledger.Who, prop ledger.Prop) {
	s.t.Helper()
	ctx, ms := s.ctx(), prop.Milestones[1].ID
	s.as(vendor, func(tx *ledger.Tx) error {
		if _, err := tx.SetCalendar(ctx, ledger.NewCalendar{TimeZone: "Europe/Oslo", Workdays: []int{1, 2, 3, 4, 5}}); err != nil {
			return err
		}
		if _, err := tx.PinCalendar(ctx, prop.WorkOrderID, uuid.Nil); err != nil {
			return err
		}
		_, err := tx.OfferChange(ctx, ledger.NewChangeOrder{Milestone: ms, Title: "A second lid", Reason: "asked for on the quay", DeltaMinor: 500})
		return err
	})
	s.as(s.studio, func(tx *ledger.Tx) error {
		list, err := tx.ChangeOrders(ctx, prop.WorkOrderID, ledger.Page{})
		if err == nil {
			_, err = tx.DecideChange(ctx, list.Items[0].ID, "agree", "")
		}
		return err
	})
	s.as(vendor, func(tx *ledger.Tx) error {
		q, err := tx.Ask(ctx, ledger.NewQuestion{Prop: prop.ID, Text: "Does the lid open?", Blocks: true})
		if err != nil {
			return err
		}
		if _, err := tx.Reply(ctx, q.ID, "close", "", uuid.Nil); err != nil {
			return err
		}
		_, err = tx.Permit(ctx, ledger.NewPermission{WorkOrder: prop.WorkOrderID, Kind: "permit", Prop: prop.ID, Check: "uv.stretch", Reason: "the rope is straightened"})
		return err
	})
	s.as(s.studio, func(tx *ledger.Tx) error {
		list, err := tx.Permissions(ctx, prop.WorkOrderID, ledger.Page{})
		if err == nil {
			_, err = tx.DecidePermission(ctx, list.Items[0].ID, "grant", "")
		}
		return err
	})
	var b ledger.Batch
	s.as(vendor, func(tx *ledger.Tx) (err error) {
		b, err = tx.OpenBatch(ctx, ledger.NewBatch{WorkOrder: prop.WorkOrderID, Title: "Friday", Deliveries: []ledger.Manifest{manifest(ms)}})
		return err
	})
	s.sealBatch(vendor, b)
	s.as(vendor, func(tx *ledger.Tx) error {
		n, err := tx.AddNote(ctx, ledger.NewNote{Delivery: b.Deliveries[0].ID, Text: "the seam here is meant", Pin: &ledger.Pin{File: b.Deliveries[0].Files[0].ID, PositionMM: [3]float64{1.5, 0, -20}}})
		if err == nil {
			_, err = tx.ResolveNote(ctx, n.ID, true, uuid.Nil)
		}
		return err
	})
	s.inspect(passing())
	s.reviewDueIn(ms, 24*time.Hour)
	_, err := s.clock().Tick(ctx)
	require.NoError(s.t, err)
	s.as(s.studio, func(tx *ledger.Tx) error {
		if _, err := tx.HoldMilestone(ctx, ms, "the director is away"); err != nil {
			return err
		}
		room := int64(1) << 40
		if _, err := tx.SetQuota(ctx, ledger.NewQuota{Vendor: vendor.Party, Bytes: &room}); err != nil {
			return err
		}
		_, err := tx.ResumeMilestone(ctx, ms, "")
		return err
	})
}

// aftercare does what follows acceptance, on an order of its own: the reference pack with its secrecy, a texture set in use,
// a payment held for its source files, a hand-over, maintenance, a person who leaves.
func (s *scene) aftercare(vendor ledger.Who) (order ledger.WorkOrder, set, prop ledger.Prop) {
	s.t.Helper()
	ctx := s.ctx()
	sum := sha256.Sum256([]byte("concept"))
	s.as(s.studio, func(tx *ledger.Tx) error {
		project, err := tx.CreateProject(ctx, ledger.NewProject{Code: "AFTER-" + vendor.Party.String()[30:], Title: "After"})
		if err != nil {
			return err
		}
		if order, err = tx.CreateWorkOrder(ctx, ledger.NewWorkOrder{Project: project.ID, Vendor: vendor.Party, Code: "AFTER-" + vendor.Party.String()[30:], Title: "After", Currency: "EUR",
			ReviewDays: 5, Secret: true, Codename: "HERON", SourceRoles: []string{"source.scene"}}); err != nil {
			return err
		}
		for code, p := range map[string]*ledger.Prop{"paint_set": &set, "boat": &prop} {
			kind := map[string]string{"paint_set": "texture_set", "boat": "prop"}[code]
			if *p, err = tx.CreateProp(ctx, ledger.NewProp{WorkOrder: order.ID, Code: code, Title: code, Tier: "mid", PriceMinor: 1000, Kind: kind, Milestones: []ledger.NewMilestone{{Kind: "final", ShareBP: 10000}}}); err != nil {
				return err
			}
			if _, err = tx.CreateSpecRevision(ctx, spec(p.ID, "first")); err != nil {
				return err
			}
		}
		pack, err := tx.CreateReferencePack(ctx, ledger.NewReferencePack{WorkOrder: order.ID, Note: "the look", Files: []ledger.NewReference{{Path: "boat.png", What: "concept", Size: 7, SHA256: sum[:], MediaType: "image/png"}}})
		if err == nil {
			_, err = tx.PublishReferencePack(ctx, pack.ID)
		}
		return err
	})
	s.as(vendor, func(tx *ledger.Tx) error {
		packs, err := tx.ReferencePacks(ctx, order.ID)
		if err != nil {
			return err
		}
		_, err = tx.AcknowledgeReferences(ctx, packs[0].ID)
		require.ErrorIs(s.t, err, ledger.ErrForbidden, "secrecy comes first")
		if err := tx.AcknowledgeSecrecy(ctx, order.ID); err != nil {
			return err
		}
		_, err = tx.AcknowledgeReferences(ctx, packs[0].ID)
		return err
	})
	d := s.deliver(vendor, set.Milestones[0].ID)
	s.inspect(passing())
	_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(s.t, err)
	s.as(vendor, func(tx *ledger.Tx) error {
		if _, err := tx.DeclareOrigin(ctx, declared(prop)); err != nil {
			return err
		}
		if _, err := tx.SetCapacity(ctx, time.Now(), 4); err != nil {
			return err
		}
		_, err := tx.UseSet(ctx, prop.ID, set.ID)
		return err
	})
	s.as(s.studio, func(tx *ledger.Tx) error {
		holds, err := tx.PaymentHolds(ctx, order.ID)
		if err != nil {
			return err
		}
		if _, err := tx.EndPaymentHold(ctx, holds[0].ID, "the scene came by post"); err != nil {
			return err
		}
		if _, err := tx.HandOver(ctx, order.ID, "{prop}/{role}{ext}"); err != nil {
			return err
		}
		_, err = tx.OpenMaintenance(ctx, set.ID, "a seam in the engine")
		return err
	})
	s.superseded(vendor, order.ID)
	leaver := s.member(vendor, "Leaver", "leaver-"+vendor.Party.String()[30:]+"@x.example", ledger.VendorArtist)
	d = s.open(leaver, prop.Milestones[0].ID)
	s.as(vendor, func(tx *ledger.Tx) error {
		if _, err := tx.DisableMember(ctx, leaver.Member); err != nil {
			return err
		}
		_, err := tx.EraseMember(ctx, leaver.Member, "asked to be forgotten")
		return err
	})
	return order, set, prop
}

func (s *scene) clock() *ledger.Clock { return ledger.NewClock(s.db.Pool(ledger.RoleClock)) }

// reviewDueIn moves the end of a review window, as the passing of time would.
func (s *scene) reviewDueIn(milestone uuid.UUID, in time.Duration) {
	s.t.Helper()
	tag, err := s.owner.Exec(s.ctx(), `UPDATE ph.milestone SET review_due_at = now() + $2::interval WHERE id = $1 AND state = 'review'`, milestone, in)
	require.NoError(s.t, err)
	require.EqualValues(s.t, 1, tag.RowsAffected())
}

func (s *scene) sealBatch(vendor ledger.Who, b ledger.Batch) (sealed ledger.Batch) {
	s.t.Helper()
	arrived := map[uuid.UUID][]ledger.Arrived{}
	for _, d := range b.Deliveries {
		arrived[d.ID] = arrivedOf(d)
	}
	s.as(vendor, func(tx *ledger.Tx) error { _, err := tx.BeginSealBatch(s.ctx(), b.ID); return err })
	s.as(vendor, func(tx *ledger.Tx) (err error) { sealed, err = tx.FinishSealBatch(s.ctx(), b.ID, arrived); return err })
	return sealed
}
