package ledger

import (
	"encoding/json"
	"time"

	"github.com/google/uuid"
)

// replay takes the milestones of a log through the state machine by its leaves alone, and checks that no act was out of
// order and that what was released is what was agreed.
func (v *verification) replay() {
	v.states = map[uuid.UUID]MilestoneState{}
	agreed, fees, released := map[uuid.UUID]int64{}, map[uuid.UUID]int64{}, map[uuid.UUID]bool{}
	reminders, held := map[uuid.UUID]leaf{}, map[uuid.UUID]int64{}
	maintained := map[uuid.UUID]bool{}
	for i, l := range v.leaves {
		idx := int64(i)
		var d leafData
		if json.Unmarshal(l.Data, &d) != nil {
			continue // said by contents
		}
		v.replayStanding(l, d)
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
		case FactMaintenance:
			if _, known := v.states[d.Milestone]; known {
				v.report.problem(idx, "maintenance begins on milestone %s a second time", d.Milestone)
			}
			v.states[d.Milestone], maintained[d.Milestone] = MOpen, true
			continue
		case FactPaymentHeld:
			if v.states[d.Milestone] != MAccepted || d.AmountMinor != agreed[d.Milestone] {
				v.report.problem(idx, "%d held for milestone %s, which is %s with %d agreed", d.AmountMinor, d.Milestone, v.states[d.Milestone], agreed[d.Milestone])
			}
			held[d.Milestone] = d.AmountMinor
			continue
		case FactDeliverySealed:
			ev = EvSeal
		case FactInspectionRequested:
			ev = EvReinspect
		case FactInspectionRecorded:
			ev = d.Verdict.eventWith(d.Issues, d.Permitted)
			if v.states[d.Milestone] == MCancelled {
				continue // cancelled while it ran: kept, moves nothing
			}
		case FactSignedOff:
			ev = v.signOffReplayed(d)
			if ev == EvDeem {
				v.checkSilence(idx, l, d, reminders)
			}
		case FactReminded:
			reminders[l.Subject] = l
			continue
		case FactHeld:
			ev = d.Event
		case FactCancelled:
			ev = EvCancel
			fees[d.Milestone] = d.FeeMinor
			if d.FeeMinor < 0 || d.FeeMinor > agreed[d.Milestone] {
				v.report.problem(idx, "a fee of %d for milestone %s, for which %d was agreed", d.FeeMinor, d.Milestone, agreed[d.Milestone])
			}
		case FactChangeDecided:
			v.replayThing(idx, l, d)
			if ChangeState(d.State) == ChangeAgreed {
				if v.states[d.Milestone].Final() {
					v.report.problem(idx, "a change of milestone %s, which is %s", d.Milestone, v.states[d.Milestone])
				}
				agreed[d.Milestone] += d.DeltaMinor
			}
			continue
		case FactPayable:
			want, due := MAccepted, agreed[d.Milestone]
			if d.Kind == "kill_fee" {
				want, due = MCancelled, fees[d.Milestone]
			}
			if v.states[d.Milestone] != want || released[d.Milestone] || d.AmountMinor != due {
				v.report.problem(idx, "%d released for milestone %s, which is %s with %d agreed", d.AmountMinor, d.Milestone, v.states[d.Milestone], due)
			}
			released[d.Milestone] = true
			continue
		default:
			v.replayThing(idx, l, d)
			continue
		}
		from := v.states[d.Milestone]
		to, ok := Next(from, ev)
		if !ok {
			v.report.problem(idx, "%s: milestone %s was %q, which cannot take %s", l.Kind, d.Milestone, from, ev)
			continue
		}
		v.states[d.Milestone] = to
		if s := v.standing[d.Milestone]; s != nil {
			at, _ := time.Parse("2006-01-02T15:04:05.000000Z", l.RecordedAt)
			s.step(from, ev, at, d.RoundCause)
		}
	}
	for id, s := range v.states {
		if _, waits := held[id]; maintained[id] || waits {
			continue // not paid, or not yet
		}
		if (s == MAccepted || fees[id] > 0) != released[id] {
			v.report.problem(-1, "milestone %s is %s and its amount released: %t", id, s, released[id])
		}
	}
}

func (v *verification) signOffReplayed(d leafData) Event {
	switch {
	case d.Decision == Return:
		return EvReturn
	case d.Decision == Deemed:
		return EvDeem
	case v.states[d.Milestone] == MFailed:
		return EvAcceptAsIs
	default:
		return EvAccept
	}
}

// checkSilence checks that an acceptance by silence was announced, and not recorded before its time.
func (v *verification) checkSilence(idx int64, l leaf, d leafData, reminders map[uuid.UUID]leaf) {
	var said leafData
	r, ok := reminders[deref(d.Reminder)]
	if !ok || json.Unmarshal(r.Data, &said) != nil || said.Milestone != d.Milestone {
		v.report.problem(idx, "silence accepted milestone %s without a reminder", d.Milestone)
		return
	}
	if said.EffectiveAt != d.EffectiveAt || l.RecordedAt < said.EffectiveAt { // stamps compare as times do
		v.report.problem(idx, "silence accepted milestone %s at %s, announced for %s", d.Milestone, l.RecordedAt, said.EffectiveAt)
	}
}

// thing is something with a small state machine: a change order, a question, a permission.
type thing struct {
	machine string
	id      uuid.UUID
}

// replayThing takes a thing one step on by its leaf.
func (v *verification) replayThing(idx int64, l leaf, d leafData) {
	var t thing
	event := string(d.Event)
	switch l.Kind {
	case FactChangeOffered:
		t, event = thing{machineChange, l.Subject}, string(l.Actor)+"_offers"
	case FactChangeDecided:
		t = thing{machineChange, l.Subject}
		event = map[ChangeState]string{ChangeAgreed: "agree", ChangeDeclined: "decline", ChangeWithdrawn: "withdraw"}[ChangeState(d.State)]
	case FactQuestion:
		t = thing{machineQuestion, d.Question}
	case FactPermissionBegun:
		t, event = thing{machinePermission, l.Subject}, map[Actor]string{ByVendor: "vendor_requests", ByStudio: "studio_grants"}[l.Actor]
	case FactPermissionDecided:
		t = thing{machinePermission, d.Permission}
	default:
		return
	}
	if v.things == nil {
		v.things = map[thing]string{}
	}
	to, ok := step(t.machine, v.things[t], event, l.Actor)
	if !ok {
		v.report.problem(idx, "%s: the %s was %q, which cannot take %q from the %s", l.Kind, t.machine, v.things[t], event, l.Actor)
		return
	}
	v.things[t] = to
}
