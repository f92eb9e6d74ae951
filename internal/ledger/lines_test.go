package ledger_test

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

func (s *scene) allLines(who ledger.Who, f ledger.LineFilter, o ledger.LineOrder) (out []ledger.Line) {
	s.t.Helper()
	s.as(who, func(tx *ledger.Tx) error {
		return tx.EachLine(s.ctx(), f, o, func(l ledger.Line) error { out = append(out, l); return nil })
	})
	return out
}

// TestLinesFollowTheRows: after every act a prop's line says what its milestones say.
func TestLinesFollowTheRows(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones
	check := func(when string) {
		t.Helper()
		var p ledger.Prop
		s.as(s.yard, func(tx *ledger.Tx) (err error) { p, err = tx.Prop(s.ctx(), s.yardProp.ID); return err })
		lines := s.allLines(s.yard, ledger.LineFilter{}, ledger.LineOrder{})
		require.Len(t, lines, 1, "%s: a vendor sees its own", when)
		l := lines[0]
		now := p.Milestones[len(p.Milestones)-1]
		for _, m := range slices.Backward(p.Milestones) {
			if !m.State.Final() {
				now = m
			}
		}
		require.Equal(t, []any{p.ID, p.Code, p.PriceMinor, p.Currency, now.ID, now.Kind, now.State, now.Rounds, p.BlockedSince != nil},
			[]any{l.PropID, l.Code, l.PriceMinor, l.Currency, l.MilestoneID, l.Milestone, l.State, l.Rounds, l.Blocked}, when)
		require.Equal(t, now.Due, l.Due, when)
		if now.Delivery != nil {
			require.Equal(t, now.Delivery.ID, *l.Delivery, when)
		}
	}
	check("ordered")
	s.as(s.yard, func(tx *ledger.Tx) error {
		_, err := tx.Ask(s.ctx(), ledger.NewQuestion{Prop: s.yardProp.ID, Text: "Which rope?", Blocks: true})
		return err
	})
	check("asked")
	d := s.deliver(s.yard, ms[0].ID)
	check("delivered")
	s.inspect(passing())
	check("inspected")
	var change ledger.ChangeOrder
	due := time.Date(2020, 1, 2, 0, 0, 0, 0, time.UTC)
	s.as(s.studio, func(tx *ledger.Tx) (err error) {
		change, err = tx.OfferChange(s.ctx(), ledger.NewChangeOrder{Milestone: ms[1].ID, Title: "More rope", Reason: "It is short.", DeltaMinor: 500, Due: &due})
		return err
	})
	s.as(s.yard, func(tx *ledger.Tx) error { _, err := tx.DecideChange(s.ctx(), change.ID, "agree", ""); return err })
	check("changed")
	_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	check("accepted: the next milestone's turn")
	late := s.allLines(s.studio, ledger.LineFilter{Late: true}, ledger.LineOrder{})
	require.Len(t, late, 1)
	require.Equal(t, s.yardProp.ID, late[0].PropID)
	require.True(t, late[0].Late)
	s.as(s.studio, func(tx *ledger.Tx) error {
		for _, m := range ms[1:] {
			if _, err := tx.CancelMilestone(s.ctx(), m.ID, "cut", nil); err != nil {
				return err
			}
		}
		return nil
	})
	check("cancelled: the last one stands")
	require.Empty(t, s.allLines(s.studio, ledger.LineFilter{Late: true}, ledger.LineOrder{}), "what is done is not late")
}

// manyProps orders props that differ in everything that the list is sorted by.
func (s *scene) manyProps(n int) {
	tiers := []string{"background", "mid", "hero", "close_up"}
	for i := range n {
		order := []uuid.UUID{s.yardOrder.ID, s.lampOrder.ID}[i%2]
		due := time.Date(2026, 1, 1+i%5, 0, 0, 0, 0, time.UTC)
		when := &due
		if i%4 == 3 {
			when = nil
		}
		kind := []string{"block_out", "sculpt", "maps"}[i%3]
		s.as(s.studio, func(tx *ledger.Tx) error {
			p, err := tx.CreateProp(s.ctx(), ledger.NewProp{WorkOrder: order, Code: fmt.Sprintf("p%02d", (i*7)%n), Title: fmt.Sprintf("Pile %c", 'a'+i%6), Tier: tiers[i%4], PriceMinor: int64(i%5) * 1000,
				Milestones: []ledger.NewMilestone{{Kind: kind, ShareBP: 5000, Due: when}, {Kind: "final", ShareBP: 5000}}})
			if err != nil || i%3 == 0 { // these wait for their spec
				return err
			}
			_, err = tx.CreateSpecRevision(s.ctx(), spec(p.ID, "first"))
			return err
		})
	}
}

// TestLinesSorted: every column, both ways, grouped or not, page by page, gives what sorting the whole list here gives.
func TestLinesSorted(t *testing.T) {
	s := newScene(t)
	s.manyProps(23)
	all := s.allLines(s.studio, ledger.LineFilter{}, ledger.LineOrder{})
	require.Len(t, all, 25)
	rank := func(word string, list ...string) int { return slices.Index(list, word) }
	far := time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC)
	due := func(l ledger.Line) time.Time {
		if l.Due == nil {
			return far
		}
		return *l.Due
	}
	compare := map[string]func(a, b ledger.Line) int{
		"due":    func(a, b ledger.Line) int { return due(a).Compare(due(b)) },
		"prop":   func(a, b ledger.Line) int { return strings.Compare(strings.ToLower(a.Title), strings.ToLower(b.Title)) },
		"code":   func(a, b ledger.Line) int { return strings.Compare(a.Code, b.Code) },
		"order":  func(a, b ledger.Line) int { return strings.Compare(a.OrderCode, b.OrderCode) },
		"vendor": func(a, b ledger.Line) int { return strings.Compare(a.VendorName, b.VendorName) },
		"tier": func(a, b ledger.Line) int {
			return cmp.Compare(rank(a.Tier, "close_up", "hero", "mid", "background"), rank(b.Tier, "close_up", "hero", "mid", "background"))
		},
		"milestone": func(a, b ledger.Line) int {
			order := []string{"block_out", "sculpt", "game_mesh", "maps", "final"}
			return cmp.Compare(rank(a.Milestone, order...), rank(b.Milestone, order...))
		},
		"state":  func(a, b ledger.Line) int { return strings.Compare(string(a.State), string(b.State)) }, // all open
		"since":  func(a, b ledger.Line) int { return a.Since.Compare(b.Since) },
		"rounds": func(a, b ledger.Line) int { return cmp.Compare(a.Rounds, b.Rounds) },
		"price":  func(a, b ledger.Line) int { return cmp.Compare(a.PriceMinor, b.PriceMinor) },
	}
	byID := func(a, b ledger.Line) int { return strings.Compare(a.PropID.String(), b.PropID.String()) }
	for _, column := range ledger.LineColumns {
		for _, down := range []bool{false, true} {
			for _, group := range []string{"", "vendor", "tier"} {
				o := ledger.LineOrder{By: column.Name, Down: down, Group: group}
				want := slices.Clone(all)
				slices.SortFunc(want, func(a, b ledger.Line) int {
					inside := cmp.Or(compare[column.Name](a, b), byID(a, b))
					if down {
						inside = -inside
					}
					if group == "" || group == column.Name {
						return inside
					}
					return cmp.Or(compare[group](a, b), inside)
				})
				var got []ledger.Line
				for after := ""; ; {
					var page ledger.List[ledger.Line]
					s.as(s.studio, func(tx *ledger.Tx) (err error) {
						page, err = tx.Lines(s.ctx(), ledger.LineFilter{}, o, ledger.Page{After: after, Limit: 4})
						return err
					})
					got = append(got, page.Items...)
					if after = page.Next; after == "" {
						break
					}
				}
				codes := func(list []ledger.Line) (out []string) {
					for _, l := range list {
						out = append(out, l.Code)
					}
					return out
				}
				require.Equal(t, codes(want), codes(got), "%+v", o)
			}
		}
	}
}

func TestLinesFiltered(t *testing.T) {
	s := newScene(t)
	s.manyProps(12)
	count := func(f ledger.LineFilter) (n int) {
		s.as(s.studio, func(tx *ledger.Tx) (err error) { n, err = tx.CountLines(s.ctx(), f); return err })
		require.Len(t, s.allLines(s.studio, f, ledger.LineOrder{}), n, "%+v", f)
		return n
	}
	for _, row := range []struct {
		f    ledger.LineFilter
		want int
	}{
		{ledger.LineFilter{}, 14}, {ledger.LineFilter{WorkOrder: s.yardOrder.ID}, 7}, {ledger.LineFilter{Vendor: s.lamp.Party}, 7}, {ledger.LineFilter{Project: s.yardOrder.ProjectID}, 7},
		{ledger.LineFilter{Tiers: []string{"hero", "close_up"}}, 6}, {ledger.LineFilter{Milestones: []string{"maps"}}, 4}, {ledger.LineFilter{Late: true}, 6}, {ledger.LineFilter{NoSpec: true}, 4},
		{ledger.LineFilter{States: []ledger.MilestoneState{ledger.MReview}}, 0}, {ledger.LineFilter{Desks: []ledger.Desk{ledger.DeskVendor}}, 10}, {ledger.LineFilter{Open: true}, 14},
		{ledger.LineFilter{Text: "PILE A"}, 2}, {ledger.LineFilter{Text: "crate_"}, 1}, {ledger.LineFilter{Text: "crate%"}, 0}, {ledger.LineFilter{IDs: []uuid.UUID{s.yardProp.ID}}, 1},
		{ledger.LineFilter{IDs: []uuid.UUID{uuid.New()}}, 0},
	} {
		require.Equal(t, row.want, count(row.f), "%+v", row.f)
	}
	for _, l := range s.allLines(s.studio, ledger.LineFilter{NoSpec: true}, ledger.LineOrder{}) {
		require.True(t, l.NoSpec && !l.Late, "nobody is late with what cannot be delivered: %+v", l)
		s.as(s.studio, func(tx *ledger.Tx) error {
			_, err := tx.CreateSpecRevision(s.ctx(), spec(l.PropID, "at last"))
			return err
		})
	}
	require.Equal(t, []int{0, 9, 14}, []int{count(ledger.LineFilter{NoSpec: true}), count(ledger.LineFilter{Late: true}), count(ledger.LineFilter{Desks: []ledger.Desk{ledger.DeskVendor}})}, "with a spec the same day counts")
	err := s.try(s.studio, func(tx *ledger.Tx) error {
		return tx.EachLine(s.ctx(), ledger.LineFilter{}, ledger.LineOrder{By: "; DROP"}, nil)
	})
	require.ErrorIs(t, err, ledger.ErrInvalid)
	for _, after := range []string{"x", "WyJ4IiwieSJd"} {
		err = s.try(s.studio, func(tx *ledger.Tx) error {
			_, err := tx.Lines(s.ctx(), ledger.LineFilter{}, ledger.LineOrder{}, ledger.Page{After: after})
			return err
		})
		require.ErrorIs(t, err, ledger.ErrInvalid)
	}
}

// TestSavedViews: each member's own; the same name again replaces, and what is put away is gone from the list.
func TestSavedViews(t *testing.T) {
	s := newScene(t)
	names := func(who ledger.Who) (out []string) {
		s.as(who, func(tx *ledger.Tx) error {
			list, err := tx.SavedViews(s.ctx())
			for _, v := range list {
				out = append(out, v.Name+": "+v.Query)
			}
			return err
		})
		return out
	}
	var id uuid.UUID
	s.as(s.studio, func(tx *ledger.Tx) (err error) { id, err = tx.SaveView(s.ctx(), " Late ones ", "late=yes"); return err })
	s.as(s.studio, func(tx *ledger.Tx) error {
		_, err := tx.SaveView(s.ctx(), "Late ones", "late=yes&tier=hero")
		return err
	})
	require.Equal(t, []string{"Late ones: late=yes&tier=hero"}, names(s.studio))
	colleague := s.member(s.studio, "Second", "second@harbour.example", ledger.Producer)
	require.Empty(t, names(colleague))
	require.ErrorIs(t, s.try(colleague, func(tx *ledger.Tx) error { return tx.PutViewAway(s.ctx(), id) }), ledger.ErrNotFound)
	s.as(s.studio, func(tx *ledger.Tx) error { return tx.PutViewAway(s.ctx(), id) })
	require.Empty(t, names(s.studio))
	require.ErrorIs(t, s.try(s.studio, func(tx *ledger.Tx) error { return tx.PutViewAway(s.ctx(), id) }), ledger.ErrNotFound)
	require.ErrorIs(t, s.try(s.studio, func(tx *ledger.Tx) error { _, err := tx.SaveView(s.ctx(), " ", "x"); return err }), ledger.ErrInvalid)
}
