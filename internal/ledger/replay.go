package ledger

import (
	"encoding/json"

	"github.com/google/uuid"
)

// replay takes the milestones of a log through the state machine by its leaves alone, and checks that no act was out of
// order and that what was released is what was agreed.
func (v *verification) replay() {
	v.states = map[uuid.UUID]MilestoneState{}
	agreed, released := map[uuid.UUID]int64{}, map[uuid.UUID]bool{}
	for i, l := range v.leaves {
		idx := int64(i)
		var d leafData
		if json.Unmarshal(l.Data, &d) != nil {
			continue // said by contents
		}
		var ev Event
		switch l.Kind {
		case FactPropOrdered:
			var sum int64
			for _, m := range d.Milestones {
				v.states[m.ID], agreed[m.ID] = MOpen, m.AmountMinor
				sum += m.AmountMinor
			}
			if sum != d.PriceMinor {
				v.report.problem(idx, "the milestones make %d of the price %d", sum, d.PriceMinor)
			}
			continue
		case FactDeliverySealed:
			ev = EvSeal
		case FactInspectionRequested:
			ev = EvReinspect
		case FactInspectionRecorded:
			ev = d.Verdict.event()
			if v.states[d.Milestone] == MCancelled {
				continue // cancelled while it ran: kept, moves nothing
			}
		case FactSignedOff:
			ev = v.signOffReplayed(d)
		case FactCancelled:
			ev = EvCancel
		case FactPayable:
			if v.states[d.Milestone] != MAccepted || released[d.Milestone] || d.AmountMinor != agreed[d.Milestone] {
				v.report.problem(idx, "%d released for milestone %s, which is %s with %d agreed", d.AmountMinor, d.Milestone, v.states[d.Milestone], agreed[d.Milestone])
			}
			released[d.Milestone] = true
			continue
		default:
			continue
		}
		from := v.states[d.Milestone]
		to, ok := Next(from, ev)
		if !ok {
			v.report.problem(idx, "%s: milestone %s was %q, which cannot take %s", l.Kind, d.Milestone, from, ev)
			continue
		}
		v.states[d.Milestone] = to
	}
	for id, s := range v.states {
		if (s == MAccepted) != released[id] {
			v.report.problem(-1, "milestone %s is %s and its amount released: %t", id, s, released[id])
		}
	}
}

func (v *verification) signOffReplayed(d leafData) Event {
	switch {
	case d.Decision == Return:
		return EvReturn
	case v.states[d.Milestone] == MFailed:
		return EvAcceptAsIs
	default:
		return EvAccept
	}
}
