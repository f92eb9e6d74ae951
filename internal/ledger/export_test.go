package ledger

// SplitAmount is splitAmount, for the tests.
var SplitAmount = splitAmount
