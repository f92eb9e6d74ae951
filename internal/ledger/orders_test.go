package ledger_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

func TestListsPageInStableOrder(t *testing.T) {
	s := newScene(t)
	for i := range 7 {
		s.prop(s.yardOrder.ID, fmt.Sprintf("crate_%d", i))
	}
	for _, who := range []ledger.Who{s.studio, s.yard} {
		s.as(who, func(tx *ledger.Tx) error {
			var codes []string
			p := ledger.Page{Limit: 3}
			for {
				list, err := tx.Props(s.ctx(), ledger.PropFilter{WorkOrder: s.yardOrder.ID}, p)
				require.NoError(t, err)
				for _, x := range list.Items {
					codes = append(codes, x.Code)
					require.Len(t, x.Milestones, 3)
					require.Equal(t, 1, x.SpecInForce.Number)
				}
				if list.Next == "" {
					break
				}
				p.After = list.Next
			}
			require.Equal(t, []string{"crate_large", "crate_0", "crate_1", "crate_2", "crate_3", "crate_4", "crate_5", "crate_6"}, codes)
			some, err := tx.Props(s.ctx(), ledger.PropFilter{CodePrefix: "crate_"}, ledger.Page{})
			require.NoError(t, err)
			require.Len(t, some.Items, 8)
			_, err = tx.Props(s.ctx(), ledger.PropFilter{}, ledger.Page{After: "nonsense"})
			require.ErrorIs(t, err, ledger.ErrInvalid)
			return nil
		})
	}
}

func TestMyWorkByDueDateAndDesk(t *testing.T) {
	s := newScene(t)
	due := func(days int) *time.Time {
		d := time.Now().UTC().AddDate(0, 0, days).Truncate(24 * time.Hour)
		return &d
	}
	s.as(s.studio, func(tx *ledger.Tx) error {
		p, err := tx.CreateProp(s.ctx(), ledger.NewProp{WorkOrder: s.yardOrder.ID, Code: "bollard", Title: "Bollard", Tier: "hero", PriceMinor: 900,
			Milestones: []ledger.NewMilestone{{Kind: "sculpt", ShareBP: 5000, Due: due(20)}, {Kind: "final", ShareBP: 5000, Due: due(-3)}}})
		if err == nil {
			_, err = tx.CreateSpecRevision(s.ctx(), spec(p.ID, "x"))
		}
		return err
	})
	s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	work := func(who ledger.Who, f ledger.WorkFilter) (items []ledger.WorkItem) {
		s.as(who, func(tx *ledger.Tx) error {
			p := ledger.Page{Limit: 2}
			for {
				list, err := tx.MyWork(s.ctx(), f, p)
				require.NoError(t, err)
				items = append(items, list.Items...)
				if p.After = list.Next; p.After == "" {
					return nil
				}
			}
		})
		return items
	}
	all := work(s.yard, ledger.WorkFilter{})
	require.Len(t, all, 5)
	require.Equal(t, []string{"bollard final", "bollard sculpt"}, []string{all[0].PropCode + " " + all[0].Milestone.Kind, all[1].PropCode + " " + all[1].Milestone.Kind})
	require.True(t, all[0].Late)
	require.False(t, all[1].Late)
	require.False(t, all[4].Late, "no due date, never late")
	desk := work(s.yard, ledger.WorkFilter{Desks: []ledger.Desk{ledger.DeskInspector}, Open: true})
	require.Len(t, desk, 1)
	require.Equal(t, "crate_large", desk[0].PropCode)
	require.Equal(t, 1, desk[0].Milestone.Delivery.Number)
	require.Equal(t, ledger.IQueued, desk[0].Milestone.Delivery.Inspection.State)
	s.inspect(failing())
	require.Equal(t, 2, work(s.yard, ledger.WorkFilter{WorkOrder: s.yardOrder.ID})[2].Milestone.Delivery.Inspection.Issues)
	require.Len(t, work(s.studio, ledger.WorkFilter{}), 8, "both vendors' milestones")
	require.Len(t, work(s.studio, ledger.WorkFilter{Vendor: s.lamp.Party}), 3)
	require.Len(t, work(s.lamp, ledger.WorkFilter{Vendor: s.yard.Party}), 0)
}

func TestPriceIsSplitToTheLastUnit(t *testing.T) {
	s := newScene(t)
	for _, row := range []struct {
		price  int64
		shares []int
		want   []int64
	}{
		{100_001, []int{3333, 3333, 3334}, []int64{33330, 33330, 33341}}, // 33330.3, 33330.3, 33340.3: one unit over, all remainders… the largest
		{100, []int{3333, 3333, 3334}, []int64{33, 33, 34}},
		{1, []int{5000, 5000}, []int64{1, 0}},
		{0, []int{10000}, []int64{0}},
		{7, []int{0, 10000}, []int64{0, 7}},
		{1_000_000_000_000, []int{1, 9999}, []int64{100_000_000, 999_900_000_000}},
	} {
		require.Equal(t, row.want, ledger.SplitAmount(row.price, row.shares), "%d by %v", row.price, row.shares)
	}
	// Released over all milestones: exactly the price.
	var sum int64
	for _, m := range s.yardProp.Milestones {
		d := s.deliver(s.yard, m.ID)
		s.inspect(passing())
		off, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
		require.NoError(t, err)
		sum += off.Payable.AmountMinor
	}
	require.Equal(t, s.yardProp.PriceMinor, sum)
	s.as(s.studio, func(tx *ledger.Tx) error {
		order, err := tx.WorkOrder(s.ctx(), s.yardOrder.ID)
		require.Equal(t, order.PriceMinor, order.PayableMinor)
		return err
	})
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
	// And the database checks the sums by itself.
	_, err := s.owner.Exec(s.ctx(), `INSERT INTO ph.milestone (studio_id, vendor_id, work_order_id, prop_id, id, position, kind, share_bp, amount_minor)
		SELECT studio_id, vendor_id, work_order_id, id, $2, 9, 'maps', 1, 1 FROM ph.prop WHERE id = $1`, s.yardProp.ID, uuid.New())
	require.ErrorContains(t, err, "milestones make 10001 of 10000 basis points")
}

func TestInputIsChecked(t *testing.T) {
	s := newScene(t)
	good := func() ledger.NewProp {
		return ledger.NewProp{WorkOrder: s.yardOrder.ID, Code: "ok", Title: "Ok", Tier: "mid", PriceMinor: 1, Milestones: []ledger.NewMilestone{{Kind: "final", ShareBP: 10000}}}
	}
	for field, change := range map[string]func(p *ledger.NewProp){
		"code":                   func(p *ledger.NewProp) { p.Code = "../x" },
		"title":                  func(p *ledger.NewProp) { p.Title = "  " },
		"tier":                   func(p *ledger.NewProp) { p.Tier = "huge" },
		"price_minor":            func(p *ledger.NewProp) { p.PriceMinor = -1 },
		"milestones":             func(p *ledger.NewProp) { p.Milestones = nil },
		"milestones[0].kind":     func(p *ledger.NewProp) { p.Milestones[0].Kind = "x" },
		"milestones[0].share_bp": func(p *ledger.NewProp) { p.Milestones[0].ShareBP = -1 },
	} {
		p := good()
		change(&p)
		err := s.try(s.studio, func(tx *ledger.Tx) error { _, err := tx.CreateProp(s.ctx(), p); return err })
		var in *ledger.Invalid
		require.ErrorAs(t, err, &in, field)
		require.Equal(t, field, in.Field)
	}
	p := good()
	p.Code = "crate_large"
	require.ErrorIs(t, s.try(s.studio, func(tx *ledger.Tx) error { _, err := tx.CreateProp(s.ctx(), p); return err }), ledger.ErrConflict)
	require.ErrorIs(t, s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.CreateProp(s.ctx(), good()); return err }), ledger.ErrForbidden)
	err := s.try(s.studio, func(tx *ledger.Tx) error {
		_, err := tx.CreateWorkOrder(s.ctx(), ledger.NewWorkOrder{Project: s.yardOrder.ProjectID, Vendor: uuid.New(), Code: "X", Title: "X", Currency: "EUR", ReviewDays: 1})
		return err
	})
	require.ErrorIs(t, err, ledger.ErrNotFound, "a vendor that is not ours")
}

func TestManifestIsChecked(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones[0].ID
	for name, change := range map[string]func(m *ledger.Manifest){
		"no files":         func(m *ledger.Manifest) { m.Files = nil },
		"climbs out":       func(m *ledger.Manifest) { m.Files[0].Path = "../crate.glb" },
		"hidden climb":     func(m *ledger.Manifest) { m.Files[0].Path = "a/../../crate.glb" },
		"absolute":         func(m *ledger.Manifest) { m.Files[0].Path = "/etc/crate.glb" },
		"backslash":        func(m *ledger.Manifest) { m.Files[0].Path = `a\crate.glb` },
		"control":          func(m *ledger.Manifest) { m.Files[0].Path = "a\x00.glb" },
		"not text":         func(m *ledger.Manifest) { m.Files[0].Path = "a\xff.glb" },
		"twice by case":    func(m *ledger.Manifest) { m.Files[1].Path = strings.ToUpper(m.Files[0].Path) },
		"file as a folder": func(m *ledger.Manifest) { m.Files[1].Path = strings.ToUpper(m.Files[0].Path) + "/notes.txt" },
		"a name too long":  func(m *ledger.Manifest) { m.Files[0].Path = "maps/" + strings.Repeat("é", 128) },
		"no digest":        func(m *ledger.Manifest) { m.Files[0].SHA256 = nil },
		"negative size":    func(m *ledger.Manifest) { m.Files[0].Size = -1 },
		"odd role":         func(m *ledger.Manifest) { m.Files[0].Role = "Game Mesh" },
		"too large to put": func(m *ledger.Manifest) { m.Files[0].Size = 6 << 30 },
		"too few parts": func(m *ledger.Manifest) {
			m.Files[0].Size, m.Files[0].PartSize = 11<<20, 5<<20
			m.Files[0].Parts = [][]byte{m.Files[0].SHA256}
		},
		"small parts": func(m *ledger.Manifest) { m.Files[0].PartSize = 1 },
	} {
		m := manifest(ms)
		change(&m)
		err := s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.OpenDelivery(s.ctx(), m); return err })
		require.ErrorIs(t, err, ledger.ErrInvalid, name)
	}
}

func TestMultipartUploadIsRemembered(t *testing.T) {
	s := newScene(t)
	var d ledger.Delivery
	s.as(s.yard, func(tx *ledger.Tx) (err error) {
		d, err = tx.OpenDelivery(s.ctx(), multipart(s.yardProp.Milestones[0].ID))
		return err
	})
	require.Equal(t, []int64{5 << 20, 1 << 20}, []int64{d.Files[0].Parts[0].Size, d.Files[0].Parts[1].Size})
	s.as(s.yard, func(tx *ledger.Tx) error {
		first, err := tx.SetUpload(s.ctx(), d.ID, d.Files[0].ID, "upload-a")
		require.NoError(t, err)
		second, err := tx.SetUpload(s.ctx(), d.ID, d.Files[0].ID, "upload-b")
		require.NoError(t, err)
		require.Equal(t, []string{"upload-a", "upload-a"}, []string{first, second}, "the first one counts")
		require.NoError(t, tx.RecordPart(s.ctx(), d.ID, d.Files[0].ID, 2, "etag-2"))
		require.ErrorIs(t, tx.RecordPart(s.ctx(), d.ID, d.Files[0].ID, 3, "etag-3"), ledger.ErrNotFound)
		_, err = tx.SetUpload(s.ctx(), d.ID, d.Files[1].ID, "upload")
		require.ErrorIs(t, err, ledger.ErrNotFound, "the small file goes in one piece")
		d, err = tx.Delivery(s.ctx(), d.ID)
		require.Equal(t, "upload-a", d.Files[0].UploadID)
		require.Equal(t, "etag-2", d.Files[0].Parts[1].ETag)
		return err
	})
	// The seal needs every object, with the declared size.
	s.as(s.yard, func(tx *ledger.Tx) error { _, err := tx.BeginSeal(s.ctx(), d.ID); return err })
	require.ErrorIs(t, s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.SetUpload(s.ctx(), d.ID, d.Files[0].ID, "late"); return err }), ledger.ErrState)
	for name, change := range map[string]func(a []ledger.Arrived) []ledger.Arrived{
		"one missing":   func(a []ledger.Arrived) []ledger.Arrived { return a[:1] },
		"one twice":     func(a []ledger.Arrived) []ledger.Arrived { return append(a[:1], a[0]) },
		"shorter":       func(a []ledger.Arrived) []ledger.Arrived { a[0].Size--; return a },
		"no entity tag": func(a []ledger.Arrived) []ledger.Arrived { a[0].ETag = ""; return a },
	} {
		err := s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.FinishSeal(s.ctx(), d.ID, change(arrivedOf(d))); return err })
		require.ErrorIs(t, err, ledger.ErrInvalid, name)
	}
	s.seal(s.yard, d)
}
