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

	machineQuestion   = "question"
	machinePermission = "permission"
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

	{machineQuestion, "", "ask", string(QuestionAsked), ByVendor},
	{machineQuestion, string(QuestionAsked), "answer", string(QuestionAnswered), ByStudio},
	{machineQuestion, string(QuestionAnswered), "ask_again", string(QuestionAsked), ByVendor},
	{machineQuestion, string(QuestionAsked), "close", string(QuestionClosed), ByVendor},
	{machineQuestion, string(QuestionAnswered), "close", string(QuestionClosed), ByVendor},

	{machinePermission, "", "vendor_requests", string(PermissionRequested), ByVendor},
	{machinePermission, "", "studio_grants", string(PermissionGranted), ByStudio},
	{machinePermission, string(PermissionRequested), "grant", string(PermissionGranted), ByStudio},
	{machinePermission, string(PermissionRequested), "refuse", string(PermissionRefused), ByStudio},
	{machinePermission, string(PermissionRequested), "withdraw", string(PermissionWithdrawn), ByVendor},
	{machinePermission, string(PermissionGranted), "revoke", string(PermissionRevoked), ByStudio},
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
