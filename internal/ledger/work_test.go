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

// TestBatchIsAcceptedInPart: seven deliveries come together; five are accepted, two returned with one note, in one act.
func TestBatchIsAcceptedInPart(t *testing.T) {
	s := newScene(t)
	in := ledger.NewBatch{WorkOrder: s.yardOrder.ID, Title: "Friday's crates"}
	for i := range 7 {
		in.Deliveries = append(in.Deliveries, manifest(s.prop(s.yardOrder.ID, fmt.Sprintf("crate_%d", i)).Milestones[0].ID))
	}
	open := func(who ledger.Who, in ledger.NewBatch) (b ledger.Batch, err error) {
		err = s.try(who, func(tx *ledger.Tx) (err error) { b, err = tx.OpenBatch(s.ctx(), in); return err })
		return b, err
	}
	foreign := in
	foreign.Deliveries = append([]ledger.Manifest{manifest(s.lampProp.Milestones[0].ID)}, in.Deliveries...)
	_, err := open(s.yard, foreign)
	require.ErrorIs(t, err, ledger.ErrNotFound, "all or none")
	b, err := open(s.yard, in)
	require.NoError(t, err)
	require.Len(t, b.Deliveries, 7)
	_, err = open(s.yard, in)
	require.ErrorIs(t, err, ledger.ErrConflict, "they are open already")
	b = s.sealBatch(s.yard, b)
	require.NotNil(t, b.SealedAt)
	for range 7 {
		s.inspect(passing())
	}
	decide := func(who ledger.Who, in []ledger.NewSignOff) (out []ledger.SignOff, err error) {
		err = s.try(who, func(tx *ledger.Tx) (err error) { out, err = tx.SignOffMany(s.ctx(), b.ID, in); return err })
		return out, err
	}
	var decisions []ledger.NewSignOff
	for i, d := range b.Deliveries {
		one := ledger.NewSignOff{Delivery: d.ID, Decision: ledger.Accept}
		if i >= 5 {
			one.Decision, one.Reason = ledger.Return, "the lids are too thin"
		}
		decisions = append(decisions, one)
	}
	wrong := append([]ledger.NewSignOff{}, decisions...)
	wrong[6].Reason = ""
	_, err = decide(s.studio, wrong)
	var undecided *ledger.Undecided
	require.ErrorAs(t, err, &undecided)
	require.Equal(t, wrong[6].Delivery, undecided.Delivery)
	_, err = decide(s.yard, decisions)
	require.ErrorIs(t, err, ledger.ErrForbidden)
	out, err := decide(s.studio, decisions)
	require.NoError(t, err)
	require.Len(t, out, 7)
	s.as(s.studio, func(tx *ledger.Tx) error {
		again, err := tx.Batch(s.ctx(), b.ID)
		require.NoError(t, err)
		states := map[ledger.MilestoneState]int{}
		for _, d := range again.Deliveries {
			states[d.Milestone]++
		}
		require.Equal(t, map[ledger.MilestoneState]int{ledger.MAccepted: 5, ledger.MReturned: 2}, states)
		return nil
	})
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

// TestQuestionStopsTheVendorsClock: the days that a blocking question waits for the studio are no lateness of the vendor's,
// counted once however many questions wait, and only while they do.
func TestQuestionStopsTheVendorsClock(t *testing.T) {
	s := newScene(t)
	due := time.Now().UTC().AddDate(0, 0, -2).Truncate(24 * time.Hour)
	s.tamper(`UPDATE ph.milestone SET due_moved = $2, due_sort = $2 WHERE prop_id = $1`, s.yardProp.ID, due)
	_, err := s.owner.Exec(s.ctx(), `SET session_replication_role = origin`)
	require.NoError(t, err)
	late := func() (late, blocked bool) {
		s.as(s.yard, func(tx *ledger.Tx) error {
			list, err := tx.MyWork(s.ctx(), ledger.WorkFilter{Open: true}, ledger.Page{})
			require.NoError(t, err)
			late, blocked = list.Items[0].Late, list.Items[0].Blocked
			return nil
		})
		return late, blocked
	}
	is, blocked := late()
	require.True(t, is)
	require.False(t, blocked)
	ask := func(blocks bool) (q ledger.Question) {
		s.as(s.yard, func(tx *ledger.Tx) (err error) {
			q, err = tx.Ask(s.ctx(), ledger.NewQuestion{Prop: s.yardProp.ID, Text: "Which side is the front?", Blocks: blocks})
			return err
		})
		return q
	}
	reply := func(who ledger.Who, q ledger.Question, event, text string) (out ledger.Question, err error) {
		err = s.try(who, func(tx *ledger.Tx) (err error) {
			out, err = tx.Reply(s.ctx(), q.ID, event, text, uuid.Nil)
			return err
		})
		return out, err
	}
	ask(false)
	is, blocked = late()
	require.True(t, is, "a question that does not block stops nothing")
	require.False(t, blocked)
	one, two := ask(true), ask(true)
	require.Equal(t, []int{2, 3}, []int{one.Number, two.Number})
	// Three days pass.
	pass := func() {
		for _, sql := range []string{`UPDATE ph.prop SET blocked_since = blocked_since - interval '3 days' WHERE id = $1`, `UPDATE ph.question SET since = since - interval '3 days' WHERE prop_id = $1 AND state = 'asked'`} {
			s.tamper(sql, s.yardProp.ID)
		}
		_, err := s.owner.Exec(s.ctx(), `SET session_replication_role = origin`)
		require.NoError(t, err)
	}
	pass()
	is, blocked = late()
	require.False(t, is)
	require.True(t, blocked)
	_, err = reply(s.yard, one, "answer", "the left one")
	require.ErrorIs(t, err, ledger.ErrState, "the vendor does not answer itself")
	_, err = reply(s.lamp, one, "close", "")
	require.ErrorIs(t, err, ledger.ErrNotFound)
	got, err := reply(s.studio, one, "answer", "the left one")
	require.NoError(t, err)
	require.InDelta(t, 72, got.Waited.Hours(), 0.1)
	_, err = reply(s.studio, two, "answer", "see above")
	require.NoError(t, err)
	var p ledger.Prop
	s.as(s.yard, func(tx *ledger.Tx) (err error) { p, err = tx.Prop(s.ctx(), s.yardProp.ID); return err })
	require.InDelta(t, 72, p.Blocked.Hours(), 0.1, "three days, though two questions waited")
	require.Nil(t, p.BlockedSince)
	is, _ = late()
	require.False(t, is, "the days stay off")
	_, err = reply(s.yard, one, "ask_again", "your left or mine?")
	require.NoError(t, err)
	_, blocked = late()
	require.True(t, blocked)
	_, err = reply(s.yard, one, "close", "")
	require.NoError(t, err)
	_, err = reply(s.studio, one, "answer", "late")
	require.ErrorIs(t, err, ledger.ErrState)
	// Nobody writes the time that a prop was blocked, nor answers for the studio.
	for _, sql := range []string{`UPDATE ph.prop SET blocked_secs = 999999 WHERE id = $1`, `UPDATE ph.question SET state = 'answered', last_event = 'answer' WHERE prop_id = $1 AND number = 1`} {
		err := s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.Exec(s.ctx(), sql, s.yardProp.ID); return err })
		require.True(t, isOneOf(err, ledger.ErrForbidden, ledger.ErrState), "%s: %v", sql, err)
	}
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
	s.tamper(`UPDATE ph.question_message SET text = 'the right one' WHERE event = 'answer'`)
	require.True(t, said(s.verify(s.yardOrder.ID), "the text of note"))
}

func measured(check, part string, value, limit float64) ledger.Result {
	r := passing()
	r.Verdict = ledger.VerdictFail
	r.Findings = append(r.Findings, ledger.Finding{Check: check, Part: part, Outcome: "fail", Blocks: true, Measured: &value, Limit: &limit, LimitKey: "max", Unit: "mm"})
	return r
}

// TestPermissionsCoverUpToTheirWorstValue: a permit before the work, and a concession for a kit after it; both lapse where
// a finding is worse, where their day is over, and where they are revoked.
func TestPermissionsCoverUpToTheirWorstValue(t *testing.T) {
	s := newScene(t)
	var order ledger.WorkOrder
	props := make([]ledger.Prop, 3)
	order, _ = s.order(s.yard, "WO-KIT", "loose")
	for i := range props {
		s.as(s.studio, func(tx *ledger.Tx) (err error) {
			in := ledger.NewProp{WorkOrder: order.ID, Code: fmt.Sprintf("plank_%d", i), Title: "A plank", Tier: "mid", PriceMinor: 100, Kit: "jetty",
				Milestones: []ledger.NewMilestone{{Kind: "game_mesh", ShareBP: 5000}, {Kind: "final", ShareBP: 5000}}}
			if i == 2 {
				in.Kit = "" // of no kit
			}
			if props[i], err = tx.CreateProp(s.ctx(), in); err == nil {
				_, err = tx.CreateSpecRevision(s.ctx(), spec(props[i].ID, "first"))
			}
			return err
		})
	}
	deliver := func(p ledger.Prop, m int, r ledger.Result) (ledger.Delivery, ledger.Job) {
		d := s.deliver(s.yard, p.Milestones[m].ID)
		return d, s.inspect(r)
	}
	// The vendor asks before the work; nothing is permitted until it is granted.
	var permit ledger.Permission
	s.as(s.yard, func(tx *ledger.Tx) (err error) {
		worst := 4.0
		permit, err = tx.Permit(s.ctx(), ledger.NewPermission{WorkOrder: order.ID, Kind: "permit", Prop: props[0].ID, Check: "surface.deviation", Worst: &worst, Reason: "old wood warps"})
		return err
	})
	decide := func(who ledger.Who, event string) error {
		return s.try(who, func(tx *ledger.Tx) error {
			_, err := tx.DecidePermission(s.ctx(), permit.ID, event, "because")
			return err
		})
	}
	deliver(props[0], 0, measured("surface.deviation", "lid", 3.5, 2))
	require.Equal(t, ledger.MFailed, s.state(props[0].Milestones[0].ID))
	require.ErrorIs(t, decide(s.yard, "grant"), ledger.ErrState)
	require.NoError(t, decide(s.studio, "grant"))
	d, job := deliver(props[0], 0, measured("surface.deviation", "lid", 3.5, 2))
	require.Equal(t, ledger.MReview, s.state(props[0].Milestones[0].ID), "it fails only by what is permitted")
	s.as(s.studio, func(tx *ledger.Tx) error {
		i, err := tx.Inspection(s.ctx(), job.Inspection.ID)
		require.Equal(t, ledger.VerdictFail, i.Verdict, "the finding stays what it is")
		require.Equal(t, 1, i.Permitted)
		return err
	})
	_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	s.as(s.yard, func(tx *ledger.Tx) error {
		list, err := tx.Concessions(s.ctx(), d.ID)
		require.NoError(t, err)
		require.Len(t, list, 1)
		require.Equal(t, permit.ID, *list[0].Permission)
		return nil
	})
	deliver(props[0], 1, measured("surface.deviation", "lid", 4.1, 2))
	require.Equal(t, ledger.MFailed, s.state(props[0].Milestones[1].ID), "worse than permitted")
	deliver(props[2], 0, measured("surface.deviation", "lid", 3, 2))
	require.Equal(t, ledger.MFailed, s.state(props[2].Milestones[0].ID), "another prop")

	// A concession for the whole kit, up to what was measured: where less is worse, the other way round.
	d, job = deliver(props[1], 0, measured("bake.served", "", 0.97, 0.99))
	s.as(s.studio, func(tx *ledger.Tx) error {
		c, err := tx.GrantConcession(s.ctx(), ledger.NewConcession{Inspection: job.Inspection.ID, Ord: 2, Reason: "never seen from below", Scope: "kit"})
		require.NoError(t, err)
		require.NotNil(t, c.Permission)
		_, err = tx.GrantConcession(s.ctx(), ledger.NewConcession{Inspection: job.Inspection.ID, Ord: 2, Reason: "x", Scope: "street"})
		require.ErrorIs(t, err, ledger.ErrInvalid)
		return nil
	})
	deliver(props[0], 1, measured("bake.served", "", 0.98, 0.99))
	require.Equal(t, ledger.MReview, s.state(props[0].Milestones[1].ID))
	// Revoked between the inspection and the decision: it does not count any more.
	var kit ledger.Permission
	s.as(s.studio, func(tx *ledger.Tx) error {
		list, err := tx.Permissions(s.ctx(), order.ID, ledger.Page{})
		require.NoError(t, err)
		kit = list.Items[0]
		require.Equal(t, "jetty", kit.Kit)
		_, err = tx.DecidePermission(s.ctx(), kit.ID, "revoke", "it is seen after all")
		return err
	})
	last, err := s.newest(props[0].Milestones[1].ID)
	require.NoError(t, err)
	_, err = s.signOff(s.studio, last, ledger.Accept, "")
	require.ErrorIs(t, err, ledger.ErrState)
	require.ErrorContains(t, err, "no longer")
	// One whose last day is over covers nothing.
	yesterday := time.Now().AddDate(0, 0, -1)
	s.as(s.studio, func(tx *ledger.Tx) error {
		_, err := tx.Permit(s.ctx(), ledger.NewPermission{WorkOrder: order.ID, Kind: "permit", Check: "uv.range", Until: &yesterday, Reason: "until yesterday"})
		return err
	})
	deliver(props[2], 0, measured("uv.range", "", 3, 2))
	require.Equal(t, ledger.MFailed, s.state(props[2].Milestones[0].ID))
	require.Empty(t, s.verify(order.ID).Problems)
	s.tamper(`UPDATE ph.permission SET state = 'granted' WHERE id = $1`, kit.ID)
	require.True(t, said(s.verify(order.ID), "the leaves lead to"))
	_ = d
}

func (s *scene) newest(milestone uuid.UUID) (id uuid.UUID, err error) {
	err = s.owner.QueryRow(s.ctx(), `SELECT id FROM ph.delivery WHERE milestone_id = $1 ORDER BY number DESC LIMIT 1`, milestone).Scan(&id)
	return id, err
}

// TestPilotGoesFirst: the pieces of a kit wait for its pilot, stage by stage.
func TestPilotGoesFirst(t *testing.T) {
	s := newScene(t)
	order, _ := s.order(s.yard, "WO-PILOT", "loose")
	make := func(code string, pilot bool) (p ledger.Prop) {
		s.as(s.studio, func(tx *ledger.Tx) (err error) {
			if p, err = tx.CreateProp(s.ctx(), ledger.NewProp{WorkOrder: order.ID, Code: code, Title: code, Tier: "background", PriceMinor: 10, Kit: "shed", Pilot: pilot,
				Milestones: []ledger.NewMilestone{{Kind: "block_out", ShareBP: 0}, {Kind: "final", ShareBP: 10000}}}); err == nil {
				_, err = tx.CreateSpecRevision(s.ctx(), spec(p.ID, "first"))
			}
			return err
		})
		return p
	}
	pilot, other := make("wall_a", true), make("wall_b", false)
	open := func(id uuid.UUID) error {
		return s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.OpenDelivery(s.ctx(), manifest(id)); return err })
	}
	require.ErrorContains(t, open(other.Milestones[0].ID), "wall_a is the pilot")
	d := s.deliver(s.yard, pilot.Milestones[0].ID)
	s.inspect(passing())
	_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	require.NoError(t, open(other.Milestones[0].ID))
	require.ErrorIs(t, open(other.Milestones[1].ID), ledger.ErrState, "its final waits for the pilot's final")
	err = s.try(s.studio, func(tx *ledger.Tx) error {
		_, err := tx.CreateProp(s.ctx(), ledger.NewProp{WorkOrder: order.ID, Code: "wall_c", Title: "c", Tier: "mid", Kit: "shed", Pilot: true, Milestones: []ledger.NewMilestone{{Kind: "final", ShareBP: 10000}}})
		return err
	})
	require.ErrorIs(t, err, ledger.ErrConflict, "a kit has one pilot")
}

// TestPropListSaysEveryFault: the dry run names line, column and reason of everything that is wrong, at once.
func TestPropListSaysEveryFault(t *testing.T) {
	s := newScene(t)
	good := "\uFEFFCode;Title;Tier;Price;Kit;Pilot;game_mesh_share;game_mesh_due;final_share\r\n" +
		"rope;A rope;mid;1200,50;jetty;yes;40%;2027-03-31;60\r\n" +
		";;;;;;;;\r\n" +
		"hook;\"A hook; bent\";background;80;jetty;;;;100\r\n"
	list := ledger.ReadPropList(strings.NewReader(good), "EUR")
	require.Empty(t, list.Faults)
	require.Len(t, list.Props, 2)
	require.EqualValues(t, 120_050, list.Props[0].PriceMinor)
	require.Equal(t, "A hook; bent", list.Props[1].Title)
	require.Equal(t, []int{2, 4}, list.Lines)
	require.Equal(t, 4000, list.Props[0].Milestones[0].ShareBP)
	imports := func(list ledger.PropList, dry bool) (props []ledger.Prop, faults []ledger.BadRow) {
		s.as(s.studio, func(tx *ledger.Tx) (err error) {
			props, faults, err = tx.ImportProps(s.ctx(), s.yardOrder.ID, list, dry)
			return err
		})
		return props, faults
	}
	props, faults := imports(list, true)
	require.Empty(t, props)
	require.Empty(t, faults)
	props, faults = imports(list, false)
	require.Empty(t, faults)
	require.Len(t, props, 2)
	require.True(t, props[0].Pilot)

	bad := "code,title,tier,price,game_mesh_share,final_share,final_due,pilot\n" +
		"rope,Again,mid,10,50,50,,\n" + // there already
		"a b,Name,mid,10,50,50,,\n" +
		"c,,mid,10,50,50,,\n" +
		"d,D,middle,10,50,50,,\n" +
		"e,E,mid,ten,50,50,,\n" +
		"f,F,mid,10.505,50,50,,\n" +
		"g,G,mid,10,50,40,,\n" +
		"h,H,mid,10,fifty,50,31.3.2027,maybe\n" +
		"i,I,mid,10,50,50,2027-02-30,\n" +
		"j,J,mid,10,50,50,,,surplus\n" +
		"k,K,mid,10,50,50,,\n" +
		"k,K again,mid,10,50,50,,\n" +
		"l,L,mid,-5,50,50,,\n"
	_, faults = imports(ledger.ReadPropList(strings.NewReader(bad), "EUR"), false)
	var got []string
	for _, f := range faults {
		got = append(got, fmt.Sprintf("%d %s", f.Line, f.Column))
		require.NotEmpty(t, f.Why)
	}
	require.Equal(t, []string{"2 code", "3 code", "4 title", "5 tier", "6 price", "7 price", "8 ", "9 pilot", "9 game_mesh_share", "9 final_due", "10 final_due", "11 ", "13 code", "14 price"}, got)
	require.Contains(t, faults[6].Why, "shares of 90 % together", "as they were written")
	tabs := ledger.ReadPropList(strings.NewReader("code\ttitle\ttier\tprice\tfinal_due\nrope2\tA rope, long\tmid\t12,50\t2026-01-05\n"), "EUR")
	require.Empty(t, tabs.Faults, "as a spreadsheet's cells are pasted")
	require.EqualValues(t, 1250, tabs.Props[0].PriceMinor)
	require.Equal(t, []ledger.BadRow{{Line: 2, Column: "final_due", Why: "is over already (2026-01-05): the prop would be late at once"}}, tabs.Doubts(time.Date(2026, 1, 6, 0, 0, 0, 0, time.UTC)))
	require.Empty(t, tabs.Doubts(time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)), "today is not over")
	turned := ledger.ReadProp(map[string]string{"code": "x", "title": "X", "tier": "mid", "price": "9", "game_mesh_share": "60", "game_mesh_due": "2026-02-02", "final_share": "40", "final_due": "2026-02-01"}, "EUR")
	require.Contains(t, turned.Doubts(time.Time{})[0].Why, "is 2026-02-01, before game_mesh is due (2026-02-02)")
	require.Equal(t, []int64{540, 360}, turned.Props[0].Amounts())
	strange := ledger.ReadPropList(strings.NewReader("code,title,tier,price,colour,size,final_shar\na b,,middle,10,,,100\n"), "EUR").Faults
	got = nil
	for _, f := range strange {
		got = append(got, fmt.Sprintf("%d %s", f.Line, f.Column))
	}
	require.Equal(t, []string{"1 ", "2 code", "2 title", "2 tier"}, got, "headings once, and all of a row all the same; its shares cannot be known")
	require.Contains(t, strange[0].Why, `"colour", "size", "final_shar"`)
	for _, text := range []string{"", "code,title\nx,y\n", "code,title,tier,price,colour\n", "code,title,tier,price\n\"open,x\n"} {
		require.NotEmpty(t, ledger.ReadPropList(strings.NewReader(text), "EUR").Faults, "%q", text)
	}
	require.Empty(t, ledger.ReadPropList(strings.NewReader("code,title,tier,price,final_due\nx,Y,mid,420,2027-01-29\n"), "JPY").Faults, "one stage is all of the price")
}

func FuzzPropList(f *testing.F) {
	f.Add("code;title;tier;price;final_share\nrope;A rope;mid;1200,50;100\n", "EUR")
	f.Add("code,title,tier,price\n\"", "JPY")
	f.Fuzz(func(t *testing.T, text, currency string) {
		list := ledger.ReadPropList(strings.NewReader(text), currency)
		require.Len(t, list.Lines, len(list.Props))
		for _, p := range list.Props {
			require.GreaterOrEqual(t, p.PriceMinor, int64(0))
		}
	})
}

// TestNotesArePinnedAnsweredAndSettled: by the side that wrote them; a private note keeps its thread private.
func TestNotesArePinnedAnsweredAndSettled(t *testing.T) {
	s := newScene(t)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	note := func(who ledger.Who, in ledger.NewNote) (n ledger.Note, err error) {
		in.Delivery = d.ID
		err = s.try(who, func(tx *ledger.Tx) (err error) { n, err = tx.AddNote(s.ctx(), in); return err })
		return n, err
	}
	settle := func(who ledger.Who, id, in uuid.UUID) (n ledger.Note, err error) {
		err = s.try(who, func(tx *ledger.Tx) (err error) { n, err = tx.ResolveNote(s.ctx(), id, true, in); return err })
		return n, err
	}
	lod := 0
	pin := &ledger.Pin{File: d.Files[0].ID, Part: "lid", LOD: &lod, PositionMM: [3]float64{12.25, -3, 400}, Normal: &[3]float64{0, 1, 0}}
	n, err := note(s.studio, ledger.NewNote{Text: "the hinge leans", Pin: pin})
	require.NoError(t, err)
	_, err = note(s.studio, ledger.NewNote{Text: "x", Pin: &ledger.Pin{File: uuid.New()}})
	require.ErrorIs(t, err, ledger.ErrInvalid)
	answer, err := note(s.yard, ledger.NewNote{Text: "by two degrees, as drawn", ReplyTo: n.ID})
	require.NoError(t, err)
	secret, err := note(s.studio, ledger.NewNote{Text: "they always say so", Private: true})
	require.NoError(t, err)
	_, err = note(s.yard, ledger.NewNote{Text: "what?", ReplyTo: secret.ID})
	require.ErrorIs(t, err, ledger.ErrNotFound)
	inner, err := note(s.studio, ledger.NewNote{Text: "indeed", ReplyTo: secret.ID})
	require.NoError(t, err)
	require.True(t, inner.Private)
	_, err = settle(s.yard, n.ID, uuid.Nil)
	require.ErrorIs(t, err, ledger.ErrForbidden)
	_, err = settle(s.studio, secret.ID, uuid.Nil)
	require.NoError(t, err)
	s.inspect(failing())
	next := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	settled, err := settle(s.studio, n.ID, next.ID)
	require.NoError(t, err)
	require.True(t, settled.Resolved)
	require.Equal(t, next.ID, *settled.ResolvedIn)
	require.Equal(t, pin, settled.Pin)
	s.as(s.yard, func(tx *ledger.Tx) error {
		list, err := tx.Notes(s.ctx(), d.ID)
		require.NoError(t, err)
		require.Len(t, list, 2)
		require.Equal(t, n.ID, *list[1].ReplyTo)
		require.Equal(t, answer.ID, list[1].ID)
		return nil
	})
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
	require.Empty(t, s.verify(s.studio.Party).Problems)
	s.tamper(`UPDATE ph.note SET pin = jsonb_set(pin, '{position_mm,0}', '13') WHERE id = $1`, n.ID)
	require.True(t, said(s.verify(s.yardOrder.ID), "note.written: the rows say"))
}
