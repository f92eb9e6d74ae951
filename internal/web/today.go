package web

import (
	"context"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// todayPage is what waits for somebody today: first how much of each kind, then a table for each kind.
type todayPage struct {
	Needs    ledger.Needs
	Kinds    []kindOfNeed
	Studio   bool
	Producer bool
	Director bool
	Lead     bool // of a vendor
	Writes   bool // specs
	HasDesk  bool
	Waiting  int // deliveries for review
	Nothing  bool
	Named    map[string]ledger.Line // the props of the permits, by id
	Ordered  bool                   // a work order was placed at any time; asked for only where nothing is open
	Start    *firstSteps            // of a studio that has ordered nothing yet, for whoever may
	today    time.Time              // the reader's day, as its midnight in UTC
}

// firstSteps is how far a new studio is.
type firstSteps struct {
	Colleagues, Vendor bool
	Mailed             bool // the service sends mail
}

// kindOfNeed is one kind with its number.
type kindOfNeed struct {
	Place  string // on the page
	Count  int
	Phrase words.Phrase
	Mark   string
}

// needsShown is how many of each kind the page lists.
const needsShown = 10

func (p *Pages) today(c echo.Context) error {
	who, _ := httpapi.Caller(c.Request().Context())
	now := time.Now().In(p.reader(c).Zone)
	page := todayPage{
		Studio: who.Side == ledger.StudioSide, Producer: who.Has(ledger.Producer), Director: who.Has(ledger.ArtDirector, ledger.ArtLead), Lead: who.Has(ledger.VendorLead),
		Writes:  who.Has(ledger.Producer, ledger.TechnicalArtist, ledger.ArtDirector),
		HasDesk: len(ownDesks(who)) > 0, today: time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.UTC),
	}
	var err error
	if page.Needs, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (n ledger.Needs, err error) {
		if n, err = tx.Needs(ctx, needsShown); err != nil {
			return n, err
		}
		if page.Studio && len(n.Desks) == 0 && n.NoSpec.Count == 0 {
			if err := page.begin(ctx, tx); err != nil {
				return n, err
			}
		}
		if page.Named, err = propsOfPermits(ctx, tx, n.Permits.Items); err != nil || len(n.Questions.Items) == 0 {
			return n, err
		}
		return n, tx.WithMessages(ctx, n.Questions.Items)
	}); err != nil {
		return err
	}
	page.count()
	if page.Start != nil {
		page.Start.Mailed = p.server.SendsMail()
	}
	return p.render(c, http.StatusOK, "today", frame{Title: words.P("today.title"), At: "work"}, page)
}

// begin finds out whether a studio with nothing open has ever ordered anything, and if not, how far it is.
func (t *todayPage) begin(ctx context.Context, tx *ledger.Tx) error {
	orders, err := tx.WorkOrders(ctx, ledger.Page{Limit: 1})
	if err != nil {
		return err
	}
	if t.Ordered = len(orders.Items) > 0; t.Ordered || !t.Producer {
		return nil
	}
	members, err := tx.Members(ctx)
	if err != nil {
		return err
	}
	vendors, err := tx.Vendors(ctx, ledger.Page{Limit: 1})
	if err != nil {
		return err
	}
	t.Start = &firstSteps{Colleagues: len(members) > 1, Vendor: len(vendors.Items) > 0}
	return nil
}

// propsOfPermits are the props that permits are for, by their ids.
func propsOfPermits(ctx context.Context, tx *ledger.Tx, permits []ledger.Permission) (map[string]ledger.Line, error) {
	var ids []uuid.UUID
	for _, p := range permits {
		if p.Prop != nil && !slices.Contains(ids, *p.Prop) {
			ids = append(ids, *p.Prop)
		}
	}
	if len(ids) == 0 {
		return nil, nil
	}
	list, err := tx.Lines(ctx, ledger.LineFilter{IDs: ids}, ledger.LineOrder{}, ledger.Page{Limit: len(ids)})
	named := map[string]ledger.Line{}
	for _, l := range list.Items {
		named[l.PropID.String()] = l
	}
	return named, err
}

// Opening is what was asked first.
func (todayPage) Opening(q ledger.Question) string { return opening(q) }

// count sums up the kinds, the most pressing first.
func (t *todayPage) count() {
	n := &t.Needs
	add := func(place string, count int, over bool, code, mark string) {
		if count == 0 {
			return
		}
		phrase := words.P(code, count)
		if over {
			phrase = words.P("today.over", phrase)
		}
		t.Kinds = append(t.Kinds, kindOfNeed{place, count, phrase, mark})
	}
	late := "late"
	if !t.Studio { // what is late stands first among what is asked
		late = "asked"
		add("asked", n.Asked.Count, n.Asked.Over, "today.n_asked", "moving")
	}
	add(late, n.Late.Count, n.Late.Over, "today.n_late", "issue")
	add("stuck", n.Stuck.Count, n.Stuck.Over, "today.n_stuck", "unknown")
	add("reviews", n.Reviews.Count, n.Reviews.Over, "today.n_reviews", "warning")
	add("questions", n.Questions.Count, n.Questions.Over, "today.n_questions", "review")
	add("permits", n.Permits.Count, n.Permits.Over, "today.n_permits", "review")
	add("changes", n.Changes.Count, n.Changes.Over, "today.n_changes", "review")
	add("specs", n.Specs.Count, n.Specs.Over, "today.n_specs", "quiet")
	add("theirs", n.Theirs.Count, n.Theirs.Over, "today.n_theirs", "quiet")
	add("nospec", n.NoSpec.Count, n.NoSpec.Over, "today.n_nospec", "quiet")
	for _, d := range n.Desks {
		if d.State == ledger.MReview {
			t.Waiting = d.Count
		}
	}
	t.Nothing = len(t.Kinds) == 0
}

// Within says how far a day is from the reader's own.
func (t todayPage) Within(due *time.Time) words.Phrase {
	if due == nil {
		return words.P("today.no_day")
	}
	days := int(due.Sub(t.today).Round(time.Hour).Hours() / 24)
	switch {
	case days < 0:
		return words.P("today.days_late", -days)
	case days == 0:
		return words.P("today.due_today")
	}
	return words.P("today.days_left", days)
}

// Silent says what happens to a review when its time ends.
func (t todayPage) Silent(r ledger.Review) string {
	switch {
	case !r.Silence:
		return "stays"
	case r.Accepted == nil:
		return "announced"
	}
	return "accepts"
}
