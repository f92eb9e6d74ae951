package ledger

// Step is one allowed step of one state machine. From is "" where a thing begins.
type Step struct {
	Machine     string
	From, Event string
	To          string
	By          Actor
}

// The machines beside that of a milestone.
const (
	machineMilestone = "milestone"
	machineChange    = "change_order"
)

// Steps is every step of every machine: a milestone's Moves, and those of the smaller machines. The table ph.move is the
// same one, and triggers of the database refuse whatever is not in it.
var Steps = append(milestoneSteps(), []Step{
	{machineChange, "", "studio_offers", string(ChangeForVendor), ByStudio},
	{machineChange, "", "vendor_offers", string(ChangeForStudio), ByVendor},
	{machineChange, string(ChangeForVendor), "agree", string(ChangeAgreed), ByVendor},
	{machineChange, string(ChangeForVendor), "decline", string(ChangeDeclined), ByVendor},
	{machineChange, string(ChangeForVendor), "withdraw", string(ChangeWithdrawn), ByStudio},
	{machineChange, string(ChangeForStudio), "agree", string(ChangeAgreed), ByStudio},
	{machineChange, string(ChangeForStudio), "decline", string(ChangeDeclined), ByStudio},
	{machineChange, string(ChangeForStudio), "withdraw", string(ChangeWithdrawn), ByVendor},
}...)

func milestoneSteps() []Step {
	out := make([]Step, len(Moves))
	for i, m := range Moves {
		out[i] = Step{machineMilestone, string(m.From), string(m.Event), string(m.To), m.By}
	}
	return out
}

// step is the state after an event of a small machine, and false where this actor may not cause it there.
func step(machine, from, event string, by Actor) (to string, ok bool) {
	for _, s := range Steps {
		if s.Machine == machine && s.From == from && s.Event == event && s.By == by {
			return s.To, true
		}
	}
	return from, false
}
