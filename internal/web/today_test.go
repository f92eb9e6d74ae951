package web_test

import (
	"context"
	"net/http"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// tamper changes rows as no role of the service can.
func (w *world) tamper(sql string) {
	w.t.Helper()
	conn, err := pgx.Connect(w.t.Context(), w.db.AdminURL())
	require.NoError(w.t, err)
	defer conn.Close(w.t.Context())
	_, err = conn.Exec(w.t.Context(), sql)
	require.NoError(w.t, err)
}

// Each side meets first what waits for them: how much of each kind, then the kinds, each in a table of its own.
func TestToday(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	as(w, ole, func(ctx context.Context, tx *ledger.Tx) (ledger.Question, error) {
		return tx.Ask(ctx, ledger.NewQuestion{Prop: w.props["buoy"].ID, Text: "Which side faces the sea?", Blocks: true})
	})
	as(w, ole, func(ctx context.Context, tx *ledger.Tx) (ledger.ChangeOrder, error) {
		return tx.OfferChange(ctx, ledger.NewChangeOrder{Milestone: w.props["winch"].Milestones[1].ID, Title: "A second drum", Reason: "The sheet shows two.", DeltaMinor: 12_000})
	})
	as(w, ole, func(ctx context.Context, tx *ledger.Tx) (uuid.UUID, error) {
		p, err := tx.Permit(ctx, ledger.NewPermission{WorkOrder: w.order.ID, Kind: "permit", Prop: w.props["ladder"].ID, Check: "budget.triangles", Reason: "Rungs are round."})
		return p.ID, err
	})
	over := time.Date(2020, 3, 1, 0, 0, 0, 0, time.UTC)
	as(w, petra, func(ctx context.Context, tx *ledger.Tx) (ledger.Prop, error) {
		return tx.CreateProp(ctx, ledger.NewProp{WorkOrder: w.order.ID, Code: "dinghy", Title: "Upturned dinghy", Tier: "mid", PriceMinor: 100, Milestones: []ledger.NewMilestone{{Kind: "final", ShareBP: 10000, Due: &over}}})
	})
	for _, who := range []string{petra, marek, noor, ole, ada} {
		wellMade(t, w.logIn(who).get("/"))
	}
	p := w.logIn(petra).get("/")
	require.Equal(t, "What needs you today", p.text("h1"))
	require.Equal(t, []string{"1 prop is late", "1 prop not evaluated", "1 question waiting", "1 permit asked for", "1 change to answer", "1 spec not acknowledged", "1 prop without a spec"}, p.texts(".counts li"))
	require.Contains(t, p.text("#late"), "Quay ladder ladder Game mesh open 29 Feb 2020")
	require.Contains(t, p.text("#late"), "days over")
	require.NotContains(t, p.text("#late"), "dinghy", "nothing can be delivered, so nobody is late with it")
	require.Contains(t, p.text("#nospec"), "they wait for the studio")
	require.Contains(t, p.text("#nospec"), "Upturned dinghy")
	require.Contains(t, p.text("#desks"), "no spec yet Studio 1")
	require.Contains(t, p.b.get("/props?q=dinghy").text("tbody"), "open no spec yet 1 Mar 2020")
	require.Contains(t, p.b.get("/props?q=dinghy").text("tbody"), "Studio")
	// On a prop's own page too nothing is asked of the vendor that waits for the studio.
	own := p.b.get(p.link("Upturned dinghy")).b.get("/props/" + lineOf(w, "dinghy").PropID.String())
	wellMade(t, own)
	require.Contains(t, own.text("#now"), "Nothing can be delivered before the studio publishes the spec.")
	require.Contains(t, own.text("#now"), "On the desk of Studio")
	require.NotContains(t, own.text("#now"), "1 Mar 2020 late")
	own = w.logIn(ole).get("/props/" + w.props["buoy"].ID.String())
	wellMade(t, own)
	require.NotContains(t, own.text("#now"), "You deliver.")
	require.Contains(t, own.text("#now"), "It waits for the studio’s answer to a question.")
	require.Contains(t, own.text("#now"), "Studio")
	require.Contains(t, p.text("#stuck"), "Slip winch")
	require.Contains(t, p.text("#questions"), "Question 1 about buoy")
	require.Contains(t, p.text("#questions"), "stands still")
	require.Contains(t, p.text("#questions"), "Which side faces the sea?")
	require.Contains(t, p.text("#permits"), "Rungs are round. Quay ladder ladder Brackwater Props")
	require.Contains(t, p.text("#changes"), "A second drum")
	require.Contains(t, p.text("#changes"), "120.00")
	require.Contains(t, p.text("#specs"), "Spec revision 2")
	require.Contains(t, p.text("#payable"), "708.30")
	require.Contains(t, p.text("#desks"), "waits for review art director 1")
	for _, place := range p.attrs(".counts a", "href") {
		require.True(t, p.has(place), place)
	}
	// What the numbers lead to holds as many.
	require.Len(t, p.b.get(p.link("waits for review")).all("tbody tr"), 1)

	require.Contains(t, w.logIn(marek).get("/").text(".notice"), "1 delivery waits for review.")
	p = w.logIn(ole).get("/")
	require.Equal(t, "What is asked of you", p.text("h1"))
	require.Contains(t, p.text("#asked"), "Mooring bollard")
	require.NotContains(t, p.text("#asked"), "Pier lantern", "that lies with the studio")
	require.NotContains(t, p.text("#asked"), "dinghy")
	require.Contains(t, p.text("#nospec"), "they wait for the studio’s spec. Upturned dinghy")
	require.Contains(t, p.text("#specs"), "Spec revision 2")
	require.Contains(t, p.text("#theirs"), "A second drum")
	require.False(t, p.has("#payable"))
	german := w.logIn(ole)
	german.language = "de"
	p = german.get("/")
	wellMade(t, p)
	require.Equal(t, "Was von Ihnen erwartet wird", p.text("h1"))
	require.Equal(t, "de", p.attrs("html", "lang")[0])
}

// A vendor with nothing to do is told so, and where their orders stand.
func TestTodayOfReviewsThatEnd(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.tamper(`UPDATE ph.milestone SET review_due_at = now() + interval '1 day' WHERE state = 'review'`)
	p := w.logIn(petra).get("/")
	require.Contains(t, p.text("#reviews"), "Pier lantern")
	require.Contains(t, p.text("#reviews"), "It goes on waiting", "this order's silence accepts nothing")
	w.tamper(`UPDATE ph.work_order SET silence_accepts = true`)
	w.tamper(`UPDATE ph.prop SET tier = 'mid'`)
	require.Contains(t, w.logIn(petra).get("/").text("#reviews"), "Silence accepts it, at least one working day after a reminder.")
	clock := ledger.NewClock(w.db.Pool(ledger.RoleClock))
	ticked, err := clock.Tick(t.Context())
	require.NoError(t, err)
	require.Equal(t, 1, ticked.Reminded)
	require.Regexp(t, `Silence accepts it on \d+ \w+ \d{4}, \d\d:\d\d`, w.logIn(petra).get("/").text("#reviews"))
	require.Equal(t, http.StatusOK, w.logIn(marek).get("/").status)
}

// lineOf is a prop's line in the tables, by its code.
func lineOf(w *world, code string) ledger.Line {
	list := as(w, petra, func(ctx context.Context, tx *ledger.Tx) (ledger.List[ledger.Line], error) {
		return tx.Lines(ctx, ledger.LineFilter{Text: code}, ledger.LineOrder{}, ledger.Page{Limit: 1})
	})
	return list.Items[0]
}

// A studio that has ordered nothing yet is led through its first steps, and told which are done; one that has nothing open
// is not told that it never ordered.
func TestFirstStepsOfANewStudio(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	const first = "runa@newquay.example"
	who, err := ledger.BootstrapStudio(t.Context(), w.db.AdminURL(), "Newquay Games", ledger.FirstMember{Name: "Runa Oster", Email: first, Password: password})
	require.NoError(t, err)
	w.who[first] = who
	b := w.logIn(first)
	p := b.get("/")
	wellMade(t, p)
	require.Len(t, p.texts("#start li"), 4)
	require.Empty(t, p.texts("#start .badge"))
	require.Contains(t, p.text("#start .hint"), "This service sends no mail yet")
	require.NotContains(t, p.text("main"), "Nothing waits for anybody", "there is something to do")
	require.True(t, b.get("/account").has("#password"), "where the first step leads to")
	require.True(t, b.get("/people").has("#vendors"))

	require.Equal(t, http.StatusSeeOther, b.post("/people/vendor", with(b.get("/people").form("/people/vendor"), "name", "Skerry Props")).status)
	p = b.get("/")
	require.Equal(t, []string{"done"}, p.texts("#start .badge"))
	require.Contains(t, p.texts("#start li")[2], "done")
	require.False(t, w.logIn(ines).get("/").has("#start"), "who has ordered is past them")

	as(w, first, func(ctx context.Context, tx *ledger.Tx) (none ledger.WorkOrder, err error) {
		vendors, err := tx.Vendors(ctx, ledger.Page{Limit: 1})
		if err != nil {
			return none, err
		}
		project, err := tx.CreateProject(ctx, ledger.NewProject{Code: "NEWQUAY", Title: "Newquay"})
		if err != nil {
			return none, err
		}
		return tx.CreateWorkOrder(ctx, ledger.NewWorkOrder{Project: project.ID, Vendor: vendors.Items[0].ID, Code: "PIER-01", Title: "Pier", Currency: "EUR", RoundsIncluded: 1, ReviewDays: 5, Terms: "One round of rework."})
	})
	p = b.get("/")
	require.Contains(t, p.text("#desks"), "Nothing is open:")
	require.False(t, p.has("#start"), "an order is placed")
}
