package web

import (
	"strings"
	"time"

	"github.com/google/uuid"

	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// lasting is how long something lasted, in its two largest units.
func lasting(d time.Duration) words.Phrase {
	days, hours, minutes := waitedParts(d)
	switch {
	case days > 0:
		return words.P("prop.lasting_days", days, hours)
	case hours > 0:
		return words.P("prop.lasting_hours", hours, minutes)
	}
	return words.P("prop.lasting_minutes", minutes)
}

// reworkSaid is how many further rounds a milestone took and by whom, and whether that is within the price.
func reworkSaid(m ledger.Milestone) words.Phrase {
	r := m.Rework
	switch {
	case r.Beyond() > 0:
		return words.P("prop.rework_beyond", r.Vendor, r.Studio, r.Included, r.Beyond())
	case r.Vendor+r.Studio > 0:
		return words.P("prop.rework", r.Vendor, r.Studio, r.Included)
	}
	return words.P("prop.rework_first", r.Included)
}

// party is how a page about a prop names people: those of the reader's own side, and the studio's, by name; a vendor's
// people stay inside the vendor.
type party struct {
	Prop   ledger.Prop
	Studio bool // the reader is the studio's
}

// By is who did something, as the reader may know it.
func (p party) By(side ledger.Side, name string) string {
	switch {
	case side == ledger.VendorSide && (p.Studio || name == ""):
		return p.Prop.VendorName
	case name == "":
		return p.Prop.StudioName
	}
	return name
}

// Lasting is how long something lasted.
func (party) Lasting(d time.Duration) words.Phrase { return lasting(d) }

// Actor is who a leaf of the log says acted.
func (page propPage) Actor(by ledger.Actor, name string) string {
	switch by {
	case ledger.ByVendor:
		return page.By(ledger.VendorSide, name)
	case ledger.ByStudio:
		return page.By(ledger.StudioSide, name)
	}
	return "proofhouse"
}

// FactKey is a kind of fact as the words for it are called.
func (propPage) FactKey(kind string) string { return strings.ReplaceAll(kind, ".", "_") }

// end is when a day ends in one party's zone.
type end struct {
	Side ledger.Side
	At   string
	Zone string
}

// Ends says when a due day ends: in the vendor's zone, by which it counts, and what the clock says in the studio's then.
func (page propPage) Ends(due *ledger.Date) []end {
	if due == nil {
		return nil
	}
	zones := map[ledger.Side]*time.Location{ledger.VendorSide: time.UTC, ledger.StudioSide: time.UTC}
	for _, c := range page.Story.Calendars {
		if zone, err := time.LoadLocation(c.TimeZone); err == nil {
			zones[c.Side] = zone
		}
	}
	vendor, studio := zones[ledger.VendorSide], zones[ledger.StudioSide]
	last := time.Date(due.Year(), due.Month(), due.Day(), 23, 59, 0, 0, vendor)
	out := []end{{ledger.VendorSide, page.clock(last), vendor.String()}}
	if vendor.String() != studio.String() {
		out = append(out, end{ledger.StudioSide, page.clock(last.In(studio)), studio.String()})
	}
	return out
}

func (page propPage) clock(t time.Time) string {
	return page.Reader.ShortDate(t) + ", " + t.Format("15:04")
}

// Reason is what the last return of a milestone asked for, where it lies returned.
func (page propPage) Reason(m ledger.Milestone) string {
	if m.State != ledger.MReturned {
		return ""
	}
	for _, s := range page.Story.SignOffs { // newest first
		if s.MilestoneID == m.ID && s.Decision == ledger.Return {
			return s.Reason
		}
	}
	return ""
}

// Asked says what is asked for a milestone, to the vendor as the one who is asked.
func (page propPage) Asked(m ledger.Milestone) words.Phrase {
	switch why := page.Standing(m); {
	case why != "":
		return words.P("prop.now_" + why)
	case !page.Studio && vendorMoves(m.State):
		return words.P("prop.now_yours_" + string(m.State))
	}
	return words.P("prop.now_" + string(m.State))
}

// vendorMoves says whether a milestone in this state lies with the vendor.
func vendorMoves(s ledger.MilestoneState) bool {
	return s == ledger.MOpen || s == ledger.MFailed || s == ledger.MReturned
}

// Standing says why a milestone waits for the studio though its state would have the vendor deliver: there is no spec yet,
// or a question without whose answer the vendor cannot go on. "" where it does not.
func (page propPage) Standing(m ledger.Milestone) string {
	switch {
	case !vendorMoves(m.State):
		return ""
	case page.Prop.SpecInForce == nil:
		return "no_spec"
	case page.Prop.BlockedSince != nil:
		return "blocked"
	}
	return ""
}

// Takes says whether something can be delivered for a milestone.
func (propPage) Takes(m ledger.Milestone) bool { return takesDelivery(m.State) }

// Newest is the newest delivery that left a lit picture, or nil.
func (page propPage) Newest() *ledger.Delivery {
	for i, d := range page.Deliveries {
		if _, lit := page.Lit[d.ID]; lit {
			return &page.Deliveries[i]
		}
	}
	return nil
}

// NameOf is a delivery's milestone and number, for a link to it.
func (page propPage) NameOf(delivery uuid.UUID) string {
	for _, d := range page.Deliveries {
		if d.ID == delivery {
			return page.Reader.Text(words.P("prop.in_delivery", words.Term("milestone."+d.MilestoneKind), d.Number))
		}
	}
	return page.Reader.Text(words.P("prop.delivery"))
}

// Opened says whether the address asks for a chapter to stand open.
func (page propPage) Opened(chapter string) bool { return page.Open == chapter }

// Waiting says whether something of a chapter waits for the reader's side.
func (page propPage) Waiting(chapter string) bool {
	switch chapter {
	case "questions":
		mine := ledger.QuestionAnswered
		if page.Studio {
			mine = ledger.QuestionAsked
		}
		for _, q := range page.Story.Questions {
			if q.State == mine {
				return true
			}
		}
	case "permits":
		for _, p := range page.Story.Permissions {
			if page.Studio && p.State == "requested" {
				return true
			}
		}
	case "changes":
		for _, c := range page.Story.Changes {
			if c.State == ledger.ChangeForStudio && page.Studio || c.State == ledger.ChangeForVendor && !page.Studio {
				return true
			}
		}
	case "references":
		for _, p := range page.Story.Packs {
			if !page.Studio && p.PublishedAt != nil && p.AcknowledgedAt == nil {
				return true
			}
		}
	}
	return false
}

// MayAnswer says whether the reader answers a change order.
func (page propPage) MayAnswer(c ledger.ChangeOrder) bool {
	return page.May.AnswerChange && (c.State == ledger.ChangeForVendor && !page.Studio || c.State == ledger.ChangeForStudio && page.Studio)
}

// MayTakeBack says whether the reader's side offered a change order that waits, and may withdraw it.
func (page propPage) MayTakeBack(c ledger.ChangeOrder) bool {
	return page.May.AnswerChange && (c.State == ledger.ChangeForVendor && page.Studio || c.State == ledger.ChangeForStudio && !page.Studio)
}

// RefusedChange says whether the answer to a change order was refused.
func (page propPage) RefusedChange() bool { return strings.HasPrefix(page.Refusal.Form, "change-") }

// Watching says whether an inspection of the prop is to come or under way, for a script that this program has.
func (page propPage) Watching() bool {
	for _, m := range page.Now {
		if m.State == ledger.MInspecting {
			return bundled("live.js")
		}
	}
	return false
}
