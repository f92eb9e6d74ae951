package ledger

// MilestoneState is where a milestone stands.
type MilestoneState string

// The states of a milestone.
const (
	MOpen       MilestoneState = "open"       // nothing sealed yet
	MInspecting MilestoneState = "inspecting" // sealed, the inspector has it
	MFailed     MilestoneState = "failed"     // a blocking finding failed
	MStuck      MilestoneState = "stuck"      // could not be evaluated
	MReview     MilestoneState = "review"     // technically clear, waits for the art director
	MHeld       MilestoneState = "held"       // technically clear, and the studio keeps it back for now
	MReturned   MilestoneState = "returned"   // the studio wants rework
	MAccepted   MilestoneState = "accepted"
	MCancelled  MilestoneState = "cancelled"
)

// MilestoneStates lists the states.
var MilestoneStates = []MilestoneState{MOpen, MInspecting, MFailed, MStuck, MReview, MHeld, MReturned, MAccepted, MCancelled}

// Event is what moves a milestone.
type Event string

// The events.
const (
	EvSeal       Event = "seal"
	EvPass       Event = "pass"
	EvFail       Event = "fail"
	EvUnable     Event = "unable"
	EvReinspect  Event = "reinspect"
	EvAccept     Event = "accept"
	EvAcceptAsIs Event = "accept_as_is"
	EvReturn     Event = "return"
	EvCancel     Event = "cancel"
	EvHold       Event = "hold"
	EvResume     Event = "resume"
	EvDeem       Event = "deem" // accepted by the studio's silence
)

// Events lists the events.
var Events = []Event{EvSeal, EvPass, EvFail, EvUnable, EvReinspect, EvAccept, EvAcceptAsIs, EvReturn, EvCancel, EvHold, EvResume, EvDeem}

// Actor is who may cause an event.
type Actor string

// The actors.
const (
	ByStudio  Actor = "studio"
	ByVendor  Actor = "vendor"
	ByMachine Actor = "machine"
)

// Move is one allowed step of a milestone.
type Move struct {
	From  MilestoneState
	Event Event
	To    MilestoneState
	By    Actor
}

// Moves is the state machine of a milestone: every move there is. Steps holds it too, with the smaller machines.
var Moves = []Move{
	{MOpen, EvSeal, MInspecting, ByVendor},
	{MFailed, EvSeal, MInspecting, ByVendor},
	{MStuck, EvSeal, MInspecting, ByVendor},
	{MReturned, EvSeal, MInspecting, ByVendor},

	{MInspecting, EvPass, MReview, ByMachine},
	{MInspecting, EvFail, MFailed, ByMachine},
	{MInspecting, EvUnable, MStuck, ByMachine},

	{MFailed, EvReinspect, MInspecting, ByStudio},
	{MStuck, EvReinspect, MInspecting, ByStudio},
	{MReview, EvReinspect, MInspecting, ByStudio},

	{MReview, EvAccept, MAccepted, ByStudio},
	{MFailed, EvAcceptAsIs, MAccepted, ByStudio},

	{MReview, EvDeem, MAccepted, ByMachine},

	{MReview, EvHold, MHeld, ByStudio},
	{MHeld, EvResume, MReview, ByStudio},

	{MReview, EvReturn, MReturned, ByStudio},
	{MFailed, EvReturn, MReturned, ByStudio},
	{MStuck, EvReturn, MReturned, ByStudio},

	{MOpen, EvCancel, MCancelled, ByStudio},
	{MInspecting, EvCancel, MCancelled, ByStudio},
	{MFailed, EvCancel, MCancelled, ByStudio},
	{MStuck, EvCancel, MCancelled, ByStudio},
	{MReview, EvCancel, MCancelled, ByStudio},
	{MHeld, EvCancel, MCancelled, ByStudio},
	{MReturned, EvCancel, MCancelled, ByStudio},
}

// Next is the state after an event, and false where the event is not allowed in that state.
func Next(from MilestoneState, ev Event) (MilestoneState, bool) {
	for _, m := range Moves {
		if m.From == from && m.Event == ev {
			return m.To, true
		}
	}
	return from, false
}

// Desk is where a milestone lies now: who has to act next.
type Desk string

// The desks.
const (
	DeskVendor          Desk = "vendor"
	DeskInspector       Desk = "inspector"
	DeskTechnicalArtist Desk = "technical_artist"
	DeskArtDirector     Desk = "art_director"
	DeskNone            Desk = "none"
)

var desks = map[MilestoneState]Desk{
	MOpen: DeskVendor, MFailed: DeskVendor, MReturned: DeskVendor,
	MInspecting: DeskInspector,
	MStuck:      DeskTechnicalArtist,
	MReview:     DeskArtDirector, MHeld: DeskArtDirector,
	MAccepted: DeskNone, MCancelled: DeskNone,
}

// Desk says on whose desk a milestone in this state lies.
func (s MilestoneState) Desk() Desk { return desks[s] }

// Final says that no event moves the state any more.
func (s MilestoneState) Final() bool { return s == MAccepted || s == MCancelled }

// DeliveryState is where a delivery stands.
type DeliveryState string

// The states of a delivery.
const (
	DOpen      DeliveryState = "open"      // uploads may go on
	DSealing   DeliveryState = "sealing"   // uploads are fenced, objects are being looked at
	DSealed    DeliveryState = "sealed"    // never changes again
	DAbandoned DeliveryState = "abandoned" // never sealed, objects may be swept
)

// InspectionState is where an inspection stands.
type InspectionState string

// The states of an inspection.
const (
	IQueued  InspectionState = "queued"
	IRunning InspectionState = "running"
	IDone    InspectionState = "done"
)

// Verdict sums up an inspection's blocking findings.
type Verdict string

// The verdicts.
const (
	VerdictPass         Verdict = "pass"
	VerdictFail         Verdict = "fail"
	VerdictNotEvaluated Verdict = "not_evaluated"
)

// eventWith is what a verdict does to the milestone: one that fails only by what is permitted goes to review all the same.
func (v Verdict) eventWith(issues, permitted int) Event {
	switch {
	case v == VerdictPass, v == VerdictFail && issues == permitted:
		return EvPass
	case v == VerdictFail:
		return EvFail
	default:
		return EvUnable
	}
}
