package ledger

import (
	"slices"

	"github.com/google/uuid"
)

// Topic groups kinds of news for people: what they may ask to be mailed about.
type Topic string

// The topics.
const (
	TopicDecision   Topic = "decision"   // what the studio decided about a delivery
	TopicSilence    Topic = "silence"    // before silence accepts
	TopicQuestion   Topic = "question"   // questions, permits, notes
	TopicInspection Topic = "inspection" // what arrived and what was found
	TopicTerms      Topic = "terms"      // orders, specs, changes, payment
	TopicDue        Topic = "due"        // dates that come near
)

// Topics lists the topics.
var Topics = []Topic{TopicDecision, TopicSilence, TopicQuestion, TopicInspection, TopicTerms, TopicDue}

// Kinds of news that code asks for by name.
const (
	NewsAccepted = "milestone.accepted"
	NewsReturned = "milestone.returned"
	NewsHeld     = "milestone.held"
	NewsSilence  = "milestone.silence_reminder"
	NewsDueSoon  = "milestone.due_soon"
	NewsPing     = "ping" // sent only when it is asked for
)

// newsKind is what a kind of fact is told as. Where it is one of several, which picks by what the fact says.
type newsKind struct {
	topic Topic
	kinds []string
	which func(newsData) string
}

func told(topic Topic, kind string) newsKind { return newsKind{topic: topic, kinds: []string{kind}} }

// newsKinds says for every kind of fact what it is told as; those of notTold are told to nobody.
var newsKinds = map[string]newsKind{
	FactWorkOrderPlaced:        told(TopicTerms, "work_order.placed"),
	FactPropOrdered:            told(TopicTerms, "prop.ordered"),
	FactSpecRevised:            told(TopicTerms, "spec.offered"),
	FactSpecAcknowledged:       told(TopicTerms, "spec.acknowledged"),
	FactDeliverySealed:         told(TopicInspection, "delivery.sealed"),
	FactDeliveryAbandoned:      told(TopicInspection, "delivery.abandoned"),
	FactBatchSealed:            told(TopicInspection, "batch.sealed"),
	FactInspectionRequested:    told(TopicInspection, "inspection.requested"),
	FactInspectionRecorded:     {TopicInspection, []string{"inspection.passed", "inspection.failed", "inspection.stuck"}, inspectionNews},
	FactConcessionGranted:      told(TopicDecision, "concession.granted"),
	FactSignedOff:              {TopicDecision, []string{NewsAccepted, NewsReturned}, signOffNews},
	FactHeld:                   {TopicDecision, []string{NewsHeld, "milestone.resumed"}, byEvent(map[string]string{"hold": NewsHeld, "resume": "milestone.resumed"})},
	FactCancelled:              told(TopicDecision, "milestone.cancelled"),
	FactReminded:               told(TopicSilence, NewsSilence),
	FactPayable:                told(TopicTerms, "milestone.payable"),
	FactPaymentHeld:            told(TopicTerms, "payment.held"),
	FactPaymentHoldEnded:       told(TopicTerms, "payment.released"),
	FactNoteWritten:            told(TopicQuestion, "note.written"),
	FactNoteResolved:           told(TopicQuestion, "note.resolved"),
	FactChangeOffered:          told(TopicTerms, "change_order.offered"),
	FactChangeDecided:          told(TopicTerms, "change_order.decided"),
	FactQuestion:               {TopicQuestion, []string{"question.asked", "question.answered", "question.closed"}, byEvent(map[string]string{"ask": "question.asked", "ask_again": "question.asked", "answer": "question.answered", "close": "question.closed"})},
	FactPermissionBegun:        {TopicQuestion, []string{"permission.requested", "permission.granted"}, permissionNews},
	FactPermissionDecided:      told(TopicQuestion, "permission.decided"),
	FactReferencesGiven:        told(TopicTerms, "references.given"),
	FactReferencesAcknowledged: told(TopicTerms, "references.acknowledged"),
	FactMaintenance:            told(TopicTerms, "maintenance.opened"),
	FactHandover:               told(TopicTerms, "handover.made"),
	"origin.declared":          told(TopicTerms, "origin.declared"),
}

// notTold are facts that nobody waits for.
var notTold = []string{FactProjectCreated, FactVendorEngaged, FactDeliveryOpened, FactCalendarPinned, FactBatchOpened, FactDeputyNamed,
	FactSecrecyAcknowledged, FactSetUsed, FactPersonErased, "prop.reassigned", "retention.set", "bytes.removed"}

// newsData is what news are made of in a fact's leaf: ids and words, nothing of its money and texts.
type newsData struct {
	Milestone    uuid.UUID `json:"milestone"`
	Delivery     uuid.UUID `json:"delivery"`
	Inspection   uuid.UUID `json:"inspection"`
	Prop         uuid.UUID `json:"prop"`
	Question     uuid.UUID `json:"question"`
	Permission   uuid.UUID `json:"permission"`
	Hold         uuid.UUID `json:"hold"`
	SpecRevision uuid.UUID `json:"spec_revision"`
	WorkOrder    uuid.UUID `json:"work_order"`
	Verdict      Verdict   `json:"verdict"`
	Issues       int       `json:"issues"`
	Permitted    int       `json:"permitted"`
	Decision     Decision  `json:"decision"`
	Event        string    `json:"event"`
	Side         Side      `json:"side"`
	State        string    `json:"state"`
	EffectiveAt  string    `json:"effective_at"`
	DueOn        string    `json:"-"` // of a date that comes near
}

func inspectionNews(d newsData) string {
	switch d.Verdict.eventWith(d.Issues, d.Permitted) {
	case EvPass:
		return "inspection.passed"
	case EvFail:
		return "inspection.failed"
	}
	return "inspection.stuck"
}

func signOffNews(d newsData) string {
	if d.Decision == Return {
		return NewsReturned
	}
	return NewsAccepted
}

func permissionNews(d newsData) string {
	if d.Side == VendorSide {
		return "permission.requested"
	}
	return "permission.granted"
}

func byEvent(kinds map[string]string) func(newsData) string {
	return func(d newsData) string { return kinds[d.Event] }
}

// kindOf is what a fact is told as; "" for not at all.
func kindOf(fact string, d newsData) string {
	k, ok := newsKinds[fact]
	switch {
	case !ok:
		return ""
	case k.which != nil:
		return k.which(d)
	}
	return k.kinds[0]
}

// topics has the topic of every kind of news.
var topics = func() map[string]Topic {
	all := map[string]Topic{NewsDueSoon: TopicDue}
	for _, k := range newsKinds {
		for _, kind := range k.kinds {
			all[kind] = k.topic
		}
	}
	return all
}()

// TopicOf is the topic of a kind of news, "" where there is no such kind.
func TopicOf(kind string) Topic { return topics[kind] }

// NewsKinds lists every kind of news, sorted. Hooks can choose among them.
func NewsKinds() []string {
	var kinds []string
	for kind := range topics {
		kinds = append(kinds, kind)
	}
	slices.Sort(kinds)
	return kinds
}
