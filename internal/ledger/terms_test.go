package ledger_test

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/ledger"
)

// TestWorkingDaysOfTheRegulation: Regulation (EEC, Euratom) No 1182/71, Articles 2 and 3 (its rules from memory): the day
// of the event does not count, a period ends with the last hour of its last day, and public holidays, Sundays and
// Saturdays are not working days. Zones and their summer time are those of the IANA database.
func TestWorkingDaysOfTheRegulation(t *testing.T) {
	t.Parallel()
	oslo, err := time.LoadLocation("Europe/Oslo")
	require.NoError(t, err)
	day := func(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }
	plain := ledger.Calendar{TimeZone: "Europe/Oslo", Workdays: []int{1, 2, 3, 4, 5}}
	feast := plain
	feast.Holidays = []ledger.Date{day(2026, 4, 2), day(2026, 4, 3), day(2026, 4, 6)} // Maundy Thursday, Good Friday, Easter Monday
	sunday := ledger.Calendar{TimeZone: "Asia/Dubai", Workdays: []int{7, 1, 2, 3, 4}}
	for _, row := range []struct {
		name string
		c    ledger.Calendar
		at   time.Time
		n    int
		want time.Time
	}{
		{"a Monday's event, one day: the end of Tuesday", plain, time.Date(2026, 3, 2, 9, 0, 0, 0, oslo), 1, time.Date(2026, 3, 4, 0, 0, 0, 0, oslo)},
		{"its first minute counts no more than its last", plain, time.Date(2026, 3, 2, 0, 0, 0, 0, oslo), 1, time.Date(2026, 3, 4, 0, 0, 0, 0, oslo)},
		{"a Friday's event goes over the weekend", plain, time.Date(2026, 3, 6, 17, 0, 0, 0, oslo), 1, time.Date(2026, 3, 10, 0, 0, 0, 0, oslo)},
		{"a Saturday's event begins on Monday", plain, time.Date(2026, 3, 7, 17, 0, 0, 0, oslo), 2, time.Date(2026, 3, 11, 0, 0, 0, 0, oslo)},
		{"five days are a week", plain, time.Date(2026, 3, 4, 12, 0, 0, 0, oslo), 5, time.Date(2026, 3, 12, 0, 0, 0, 0, oslo)},
		{"Easter", feast, time.Date(2026, 4, 1, 12, 0, 0, 0, oslo), 1, time.Date(2026, 4, 8, 0, 0, 0, 0, oslo)},
		{"the zone says which day it is", plain, time.Date(2026, 3, 2, 23, 30, 0, 0, time.UTC), 1, time.Date(2026, 3, 5, 0, 0, 0, 0, oslo)},
		{"over the beginning of summer time the day has 23 hours", plain, time.Date(2026, 3, 27, 12, 0, 0, 0, oslo), 1, time.Date(2026, 3, 31, 0, 0, 0, 0, oslo)},
		{"a week that begins on Sunday", sunday, time.Date(2026, 3, 5, 12, 0, 0, 0, time.UTC), 1, time.Date(2026, 3, 8, 20, 0, 0, 0, time.UTC)},
	} {
		got, err := row.c.AfterWorkingDays(row.at, row.n)
		require.NoError(t, err, row.name)
		require.True(t, row.want.Equal(got), "%s: got %s, want %s", row.name, got, row.want)
	}
	_, err = ledger.Calendar{TimeZone: "Atlantis/Deep", Workdays: []int{1}}.AfterWorkingDays(time.Time{}, 1)
	require.ErrorIs(t, err, ledger.ErrInvalid)
	rapid.Check(t, func(rt *rapid.T) { // a period of n days ends before one of n+1, and never within its event's day
		at := time.Unix(rapid.Int64Range(1_700_000_000, 1_900_000_000).Draw(rt, "at"), 0)
		n := rapid.IntRange(1, 60).Draw(rt, "n")
		a, errA := feast.AfterWorkingDays(at, n)
		b, errB := feast.AfterWorkingDays(at, n+1)
		if errA != nil || errB != nil || !a.Before(b) || a.Sub(at) < 23*time.Hour {
			rt.Fatalf("%d days after %s: %s, %d: %s", n, at, a, n+1, b)
		}
	})
}

func (s *scene) milestone(id uuid.UUID) (m ledger.Milestone) {
	s.t.Helper()
	s.as(s.studio, func(tx *ledger.Tx) (err error) { m, err = tx.Milestone(s.ctx(), id); return err })
	return m
}

// TestRoundsAreCountedByCause: a failed test and a nonconformity are the vendor's rounds, a changed mind the studio's; one
// beyond those in the price cannot be asked for without a price.
func TestRoundsAreCountedByCause(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones[0].ID
	giveBack := func(d ledger.Delivery, cause ledger.Cause, price *ledger.SpecChange) error {
		return s.try(s.studio, func(tx *ledger.Tx) error {
			_, err := tx.SignOff(s.ctx(), ledger.NewSignOff{Delivery: d.ID, Decision: ledger.Return, Reason: "once more", Cause: cause, Price: price})
			return err
		})
	}
	s.deliver(s.yard, ms)
	s.inspect(failing()) // the vendor sends again by itself
	d := s.deliver(s.yard, ms)
	s.inspect(unable())
	d = s.deliver(s.yard, ms) // nobody's round
	s.inspect(passing())
	require.NoError(t, giveBack(d, "", nil))
	for range 2 { // the two rounds in the price
		d = s.deliver(s.yard, ms)
		s.inspect(passing())
		require.NoError(t, giveBack(d, ledger.ChangedMind, nil))
	}
	d = s.deliver(s.yard, ms)
	s.inspect(passing())
	require.Equal(t, ledger.Rework{Vendor: 2, Studio: 2, Included: 2}, s.milestone(ms).Rework)
	err := giveBack(d, ledger.ChangedMind, nil)
	require.ErrorIs(t, err, ledger.ErrInvalid, "a third changed mind needs a price")
	require.ErrorContains(t, err, "price")
	require.NoError(t, giveBack(d, ledger.ChangedMind, &ledger.SpecChange{DeltaMinor: 9_000}))
	d = s.deliver(s.yard, ms)
	require.Equal(t, "changed_mind", d.RoundCause)
	m := s.milestone(ms)
	require.Equal(t, ledger.Rework{Vendor: 2, Studio: 3, Included: 2}, m.Rework)
	require.Equal(t, 1, m.Rework.Beyond())
	require.Equal(t, 7, m.Rounds)
	amount := m.AmountMinor

	// The vendor agrees to the price, and it is paid with the milestone.
	var offered ledger.ChangeOrder
	s.as(s.yard, func(tx *ledger.Tx) error {
		list, err := tx.ChangeOrders(s.ctx(), s.yardOrder.ID, ledger.Page{})
		require.NoError(t, err)
		offered = list.Items[0]
		require.Equal(t, ledger.ChangeForVendor, offered.State)
		_, err = tx.DecideChange(s.ctx(), offered.ID, "agree", "")
		return err
	})
	require.Equal(t, amount+9_000, s.milestone(ms).AmountMinor)
	s.inspect(passing())
	so, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	require.Equal(t, amount+9_000, so.Payable.AmountMinor)
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
	// An agreed change cannot be taken back behind the leaves.
	s.tamper(`UPDATE ph.change_order SET delta_minor = 1 WHERE id = $1`, offered.ID)
	require.True(t, said(s.verify(s.yardOrder.ID), "change_order.offered"))
}

// TestChangeOrderIsForTheOtherSide: nobody agrees to their own offer; what is decided stays decided.
func TestChangeOrderIsForTheOtherSide(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones[0]
	due := time.Date(2031, 5, 2, 0, 0, 0, 0, time.UTC)
	offer := func(who ledger.Who, in ledger.NewChangeOrder) (c ledger.ChangeOrder, err error) {
		in.Milestone, in.Title, in.Reason = ms.ID, "A hinge", "it swings now"
		err = s.try(who, func(tx *ledger.Tx) (err error) { c, err = tx.OfferChange(s.ctx(), in); return err })
		return c, err
	}
	decide := func(who ledger.Who, id uuid.UUID, event, reason string) error {
		return s.try(who, func(tx *ledger.Tx) error { _, err := tx.DecideChange(s.ctx(), id, event, reason); return err })
	}
	_, err := offer(s.yard, ledger.NewChangeOrder{DeltaMinor: -ms.AmountMinor - 1})
	require.ErrorIs(t, err, ledger.ErrInvalid)
	_, err = offer(s.lamp, ledger.NewChangeOrder{})
	require.ErrorIs(t, err, ledger.ErrNotFound)
	mine, err := offer(s.yard, ledger.NewChangeOrder{DeltaMinor: 700, Due: &due})
	require.NoError(t, err)
	require.ErrorIs(t, decide(s.yard, mine.ID, "agree", ""), ledger.ErrState)
	require.ErrorIs(t, decide(s.lamp, mine.ID, "agree", ""), ledger.ErrNotFound)
	// The database refuses it too, whatever the program does.
	err = s.try(s.yard, func(tx *ledger.Tx) error {
		_, err := tx.Exec(s.ctx(), `UPDATE ph.change_order SET state = 'agreed', last_event = 'agree' WHERE id = $1`, mine.ID)
		return err
	})
	require.ErrorIs(t, err, ledger.ErrState)
	err = s.try(s.yard, func(tx *ledger.Tx) error {
		_, err := tx.Exec(s.ctx(), `UPDATE ph.milestone SET change_minor = 1 WHERE id = $1`, ms.ID)
		return err
	})
	require.ErrorIs(t, err, ledger.ErrForbidden)
	require.NoError(t, decide(s.studio, mine.ID, "agree", "fair"))
	require.ErrorIs(t, decide(s.studio, mine.ID, "decline", "no"), ledger.ErrState)
	m := s.milestone(ms.ID)
	require.Equal(t, ms.AmountMinor+700, m.AmountMinor)
	require.True(t, due.Equal(*m.Due))
	theirs, err := offer(s.studio, ledger.NewChangeOrder{DeltaMinor: -100})
	require.NoError(t, err)
	require.ErrorIs(t, decide(s.yard, theirs.ID, "decline", ""), ledger.ErrInvalid, "a refusal says why")
	require.NoError(t, decide(s.studio, theirs.ID, "withdraw", ""))
	require.Equal(t, ms.AmountMinor+700, s.milestone(ms.ID).AmountMinor)
	var p ledger.Prop
	s.as(s.yard, func(tx *ledger.Tx) (err error) { p, err = tx.Prop(s.ctx(), s.yardProp.ID); return err })
	require.Equal(t, s.yardProp.PriceMinor+700, p.PriceMinor)
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

// TestSpecAfterWorkBeganHasItsPrice: a revision after work began is a change order; the vendor may want another price.
func TestSpecAfterWorkBeganHasItsPrice(t *testing.T) {
	s := newScene(t)
	s.open(s.yard, s.yardProp.Milestones[0].ID)
	var r ledger.SpecRevision
	s.as(s.studio, func(tx *ledger.Tx) (err error) {
		in := spec(s.yardProp.ID, "tighter")
		in.Change.DeltaMinor = 300
		r, err = tx.CreateSpecRevision(s.ctx(), in)
		return err
	})
	acknowledge := func() error {
		return s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.AcknowledgeSpec(s.ctx(), r.ID); return err })
	}
	s.as(s.yard, func(tx *ledger.Tx) error {
		list, err := tx.ChangeOrders(s.ctx(), s.yardOrder.ID, ledger.Page{})
		require.NoError(t, err)
		require.Equal(t, r.ID, *list.Items[0].Spec)
		require.EqualValues(t, 300, list.Items[0].DeltaMinor)
		if _, err := tx.DecideChange(s.ctx(), list.Items[0].ID, "decline", "it is a day's work"); err != nil {
			return err
		}
		_, err = tx.OfferChange(s.ctx(), ledger.NewChangeOrder{Milestone: list.Items[0].MilestoneID, Title: "Spec revision 2", Reason: "a day's work", DeltaMinor: 800, Spec: r.ID})
		return err
	})
	require.ErrorIs(t, acknowledge(), ledger.ErrState, "the counter-offer is open")
	s.as(s.studio, func(tx *ledger.Tx) error {
		list, err := tx.ChangeOrders(s.ctx(), s.yardOrder.ID, ledger.Page{})
		if err == nil {
			_, err = tx.DecideChange(s.ctx(), list.Items[0].ID, "agree", "")
		}
		return err
	})
	require.NoError(t, acknowledge())
	require.Equal(t, s.yardProp.Milestones[0].AmountMinor+800, s.milestone(s.yardProp.Milestones[0].ID).AmountMinor)
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

// TestCancellingPaysItsFee: a quarter was agreed once work began; less is refused, more may be said.
func TestCancellingPaysItsFee(t *testing.T) {
	s := newScene(t)
	cancel := func(id uuid.UUID, fee *int64) error {
		return s.try(s.studio, func(tx *ledger.Tx) error { _, err := tx.CancelMilestone(s.ctx(), id, "cut", fee); return err })
	}
	one := int64(1)
	var offered ledger.ChangeOrder
	s.as(s.studio, func(tx *ledger.Tx) (err error) {
		offered, err = tx.OfferChange(s.ctx(), ledger.NewChangeOrder{Milestone: s.lampProp.Milestones[0].ID, Title: "A hinge", Reason: "it swings now", DeltaMinor: 500})
		return err
	})
	require.NoError(t, cancel(s.lampProp.Milestones[0].ID, nil)) // work had not begun
	// Nothing of it changes any more: by the program, and behind it.
	require.ErrorIs(t, s.try(s.lamp, func(tx *ledger.Tx) error {
		_, err := tx.DecideChange(s.ctx(), offered.ID, "agree", "")
		return err
	}), ledger.ErrState)
	require.ErrorContains(t, s.try(s.lamp, func(tx *ledger.Tx) error {
		_, err := tx.Exec(s.ctx(), `UPDATE ph.change_order SET state = 'agreed', last_event = 'agree' WHERE id = $1`, offered.ID)
		return err
	}), "change_of_finished_milestone")
	s.open(s.yard, s.yardProp.Milestones[0].ID)
	ms := s.yardProp.Milestones
	require.ErrorIs(t, cancel(ms[0].ID, &one), ledger.ErrInvalid)
	require.NoError(t, cancel(ms[1].ID, nil))
	all := ms[2].AmountMinor
	over := all + 1
	require.ErrorIs(t, cancel(ms[2].ID, &over), ledger.ErrInvalid)
	require.NoError(t, cancel(ms[2].ID, &all))
	s.as(s.yard, func(tx *ledger.Tx) error {
		list, err := tx.Payables(s.ctx(), uuid.Nil, ledger.Page{})
		require.NoError(t, err)
		require.Len(t, list.Items, 2)
		require.Equal(t, "kill_fee", list.Items[0].Kind)
		require.Equal(t, all, list.Items[0].AmountMinor)
		require.Equal(t, (ms[1].AmountMinor*2500+9999)/10000, list.Items[1].AmountMinor)
		return nil
	})
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
	s.tamper(`UPDATE ph.payable SET amount_minor = amount_minor + 1 WHERE milestone_id = $1`, ms[1].ID)
	require.NotEmpty(t, s.verify(s.yardOrder.ID).Problems)
}

// TestClockGoesOnPastAFault: a milestone whose reminder cannot be written keeps no other from its own, nor from being accepted.
func TestClockGoesOnPastAFault(t *testing.T) {
	s := newScene(t)
	clock := s.clock()
	bad, good, over := s.yardProp.Milestones[0].ID, s.prop(s.yardOrder.ID, "buoy").Milestones[0].ID, s.prop(s.yardOrder.ID, "winch").Milestones[0].ID
	for _, ms := range []uuid.UUID{over, bad, good} {
		s.deliver(s.yard, ms)
		s.inspect(passing())
	}
	s.reviewDueIn(over, -time.Hour)
	got, err := clock.Tick(s.ctx())
	require.NoError(t, err)
	require.Equal(t, ledger.Ticked{Reminded: 1}, got)
	s.tamper(`UPDATE ph.reminder SET at = at - interval '4 days', effective_at = effective_at - interval '4 days', review_due_at = review_due_at - interval '4 days'`)
	s.tamper(`UPDATE ph.milestone SET review_due_at = review_due_at - interval '4 days' WHERE id = $1`, over)
	_, err = s.owner.Exec(s.ctx(), `CREATE FUNCTION ph.test_fault() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RAISE EXCEPTION ''out of order''; END';
		CREATE TRIGGER test_fault BEFORE INSERT ON ph.reminder FOR EACH ROW WHEN (NEW.milestone_id = '`+bad.String()+`') EXECUTE FUNCTION ph.test_fault()`)
	require.NoError(t, err)
	s.reviewDueIn(bad, time.Hour) // before the good one, which waits behind it
	s.reviewDueIn(good, 2*time.Hour)
	got, err = clock.Tick(s.ctx())
	require.ErrorContains(t, err, "out of order")
	require.ErrorContains(t, err, bad.String())
	require.Equal(t, ledger.Ticked{Reminded: 1, Accepted: 1}, got)
	require.Equal(t, ledger.MAccepted, s.state(over))
}

// TestSilenceAcceptsOnlyAnnounced walks a review through the clock: no reminder, no acceptance; a reminder of less than a
// working day, none; a hold, none; and never a final milestone or an order that does not say so.
func TestSilenceAcceptsOnlyAnnounced(t *testing.T) {
	s := newScene(t)
	clock := s.clock()
	tick := func(reminded, accepted int) {
		t.Helper()
		got, err := clock.Tick(s.ctx())
		require.NoError(t, err)
		require.Equal(t, ledger.Ticked{Reminded: reminded, Accepted: accepted}, got)
	}
	ms, final := s.yardProp.Milestones[0].ID, s.yardProp.Milestones[2].ID
	d := s.deliver(s.yard, ms)
	s.inspect(passing())
	s.deliver(s.yard, final)
	s.inspect(passing())
	due := s.milestone(ms).ReviewDueAt
	require.NotNil(t, due)
	require.Greater(t, time.Until(*due), 4*24*time.Hour, "five working days")
	tick(0, 0)
	s.reviewDueIn(ms, -time.Hour) // as after an outage: long over, and nobody was told
	s.reviewDueIn(final, -time.Hour)
	tick(1, 0)
	tick(0, 0)
	require.Equal(t, ledger.MReview, s.state(ms))
	// The database refuses an acceptance before its time, whoever writes it.
	_, err := s.owner.Exec(s.ctx(), `INSERT INTO ph.sign_off (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id, inspection_id, id, decision, reason, by_role, opened_by, sealed_by, reminder_id, effective_at)
		SELECT r.studio_id, r.vendor_id, r.work_order_id, r.prop_id, r.milestone_id, r.delivery_id, i.id, gen_random_uuid(), 'deemed', 'x', 'clock', r.id, r.id, r.id, r.effective_at
		FROM ph.reminder r JOIN ph.inspection i ON i.delivery_id = r.delivery_id`)
	require.ErrorContains(t, err, "sign_off_silence_was_announced")
	_, err = s.owner.Exec(s.ctx(), `UPDATE ph.reminder SET effective_at = now()`)
	require.ErrorContains(t, err, "reminder_leaves_time")
	// A working day later: as though the reminder had been written then.
	age := func() {
		s.tamper(`UPDATE ph.reminder SET at = at - interval '4 days', effective_at = effective_at - interval '4 days', review_due_at = review_due_at - interval '4 days' WHERE milestone_id = $1`, ms)
		s.tamper(`UPDATE ph.milestone SET review_due_at = review_due_at - interval '4 days' WHERE id = $1`, ms)
	}
	age()
	s.as(s.studio, func(tx *ledger.Tx) error { _, err := tx.HoldMilestone(s.ctx(), ms, "wait"); return err })
	tick(0, 0)
	s.as(s.studio, func(tx *ledger.Tx) error { _, err := tx.ResumeMilestone(s.ctx(), ms, ""); return err })
	tick(0, 0) // the window began anew, and the old reminder is of the old one
	s.reviewDueIn(ms, time.Hour)
	tick(1, 0)
	s.tamper(`UPDATE ph.reminder SET at = at - interval '4 days', effective_at = effective_at - interval '4 days', review_due_at = review_due_at - interval '5 days' WHERE milestone_id = $1 AND effective_at > now()`, ms)
	s.tamper(`UPDATE ph.milestone SET review_due_at = review_due_at - interval '5 days' WHERE id = $1`, ms)
	tick(0, 1)
	tick(0, 0)
	require.Equal(t, ledger.MAccepted, s.state(ms))
	require.Equal(t, ledger.MReview, s.state(final), "silence never accepts a final milestone")
	s.as(s.yard, func(tx *ledger.Tx) error {
		list, err := tx.SignOffs(s.ctx(), d.ID)
		require.NoError(t, err)
		require.Equal(t, ledger.Deemed, list[0].Decision)
		require.Equal(t, s.yardProp.Milestones[0].AmountMinor, list[0].Payable.AmountMinor)
		return nil
	})
	_, err = s.signOff(s.studio, d.ID, ledger.Deemed, "mine")
	require.ErrorIs(t, err, ledger.ErrInvalid, "nobody can send it")
}

// TestSilenceIsOffUnlessAgreed: an order that does not say so waits for ever; so does a hero prop.
func TestSilenceIsOffUnlessAgreed(t *testing.T) {
	s := newScene(t)
	ms, lamp := s.yardProp.Milestones[0].ID, s.lampProp.Milestones[0].ID
	s.deliver(s.yard, ms)
	s.inspect(passing())
	s.deliver(s.lamp, lamp)
	s.inspect(passing())
	s.tamper(`UPDATE ph.work_order SET silence_accepts = false WHERE id = $1`, s.yardOrder.ID)
	s.tamper(`UPDATE ph.prop SET tier = 'hero' WHERE id = $1`, s.lampProp.ID)
	s.reviewDueIn(ms, -time.Hour)
	s.reviewDueIn(lamp, -time.Hour)
	got, err := s.clock().Tick(s.ctx())
	require.NoError(t, err)
	require.Zero(t, got)
}

// A price belongs to a changed mind: said with a nonconformity it would be lost, so it is refused.
func TestAPriceIsNotLostWithANonconformity(t *testing.T) {
	s := newScene(t)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	s.inspect(passing())
	back := func(cause ledger.Cause) error {
		return s.try(s.studio, func(tx *ledger.Tx) error {
			_, err := tx.SignOff(s.ctx(), ledger.NewSignOff{Delivery: d.ID, Decision: ledger.Return, Reason: "a rounder lid", Cause: cause, Price: &ledger.SpecChange{DeltaMinor: 500}})
			return err
		})
	}
	require.ErrorIs(t, back(ledger.Nonconformity), ledger.ErrInvalid)
	require.ErrorIs(t, back(""), ledger.ErrInvalid, "which is one too")
	require.NoError(t, back(ledger.ChangedMind))
	s.as(s.yard, func(tx *ledger.Tx) error {
		list, err := tx.ChangeOrders(s.ctx(), s.yardOrder.ID, ledger.Page{})
		require.Len(t, list.Items, 1)
		return err
	})
}

// A calendar's zone is one of the IANA database, the same on every machine; its days end when the next begin, also where that is not at
// midnight; and no calendar that is taken leaves a review without an end.
func TestCalendarsHoldOnEveryMachine(t *testing.T) {
	s := newScene(t)
	for _, zone := range []string{"Local", "local", "", "Europe/Atlantis", "../etc/localtime", "Europe/Oslo\x00"} {
		require.ErrorIs(t, s.try(s.studio, func(tx *ledger.Tx) error {
			_, err := tx.SetCalendar(s.ctx(), ledger.NewCalendar{TimeZone: zone, Workdays: []int{1}})
			return err
		}), ledger.ErrInvalid, "%q", zone)
	}
	// Egypt's summer time begins at midnight of the last Friday of April, its week on Sunday (IANA time zone database, africa): there is no
	// 00:00 on 2026-04-24, and Thursday ends when 01:00 comes, at 22:00 UTC.
	cairo := ledger.Calendar{TimeZone: "Africa/Cairo", Workdays: []int{7, 1, 2, 3, 4}}
	end, err := cairo.AfterWorkingDays(time.Date(2026, 4, 22, 9, 0, 0, 0, time.UTC), 1)
	require.NoError(t, err)
	require.Equal(t, time.Date(2026, 4, 23, 22, 0, 0, 0, time.UTC), end.UTC())
	// Mondays only, and of the next ten years' Mondays all but one are holidays: the longest window there is still has an end.
	at := time.Date(2026, 11, 28, 9, 0, 0, 0, time.UTC)
	mondays := ledger.Calendar{TimeZone: "UTC", Workdays: []int{1}}
	for d := time.Date(2026, 12, 7, 0, 0, 0, 0, time.UTC); len(mondays.Holidays) < 1000; d = d.AddDate(0, 0, 7) {
		mondays.Holidays = append(mondays.Holidays, d)
	}
	end, err = mondays.AfterWorkingDays(at, 1)
	require.NoError(t, err)
	require.Equal(t, time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC), end.UTC())
	for _, n := range []int{2, 365} {
		end, err = mondays.AfterWorkingDays(at, n)
		require.NoError(t, err, "%d days", n)
		require.Equal(t, time.Date(2026, 11, 30, 0, 0, 0, 0, time.UTC).AddDate(0, 0, 7*(1000+n-1)+1), end.UTC())
	}
}
