package ledger

// SplitAmount is splitAmount, for the tests.
var SplitAmount = splitAmount

// FactKinds is how many kinds of facts there are.
func FactKinds() int { return len(projectors) }

// ClaimQuery lets the tests of fairness look at its plan.
const ClaimQuery = claimQuery
