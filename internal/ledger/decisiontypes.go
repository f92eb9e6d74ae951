package ledger

import (
	"time"

	"github.com/google/uuid"
)

// Decision is a sign-off's kind.
type Decision string

// The decisions.
const (
	Accept     Decision = "accept"       // everything that blocks passed, or is conceded one by one
	AcceptNote Decision = "accept_note"  // accept, with something to mend later
	AcceptAsIs Decision = "accept_as_is" // concedes every blocking finding that failed, with one reason
	Return     Decision = "return"
	Deemed     Decision = "deemed" // by the studio's silence, where the order says so; nobody can send it
)

// Cause says why a delivery is returned.
type Cause string

// The causes of a further round.
const (
	Nonconformity Cause = "nonconformity" // the vendor's work is not as specified
	ChangedMind   Cause = "changed_mind"  // the studio wants something else now
)

// NewSignOff is a decision on a sealed delivery.
type NewSignOff struct {
	Delivery uuid.UUID
	Decision Decision
	Reason   string      // needed for everything but Accept
	Cause    Cause       // of a Return; "" is Nonconformity
	Price    *SpecChange // of a further round beyond those included: needed for it, if only as 0
}

// SignOff is one decision.
type SignOff struct {
	ID          uuid.UUID
	DeliveryID  uuid.UUID
	MilestoneID uuid.UUID
	Inspection  uuid.UUID
	Decision    Decision
	Reason      string
	By          uuid.UUID
	ByName      string
	ByRole      Role // "clock" where silence accepted
	At          time.Time
	Cause       Cause
	EffectiveAt *time.Time // when silence accepted
	Deputy      *uuid.UUID // under which the role was filled
	Payable     *Payable
}

// NewConcession accepts one named nonconformity of a delivery.
type NewConcession struct {
	Inspection uuid.UUID
	Ord        int // of the finding
	Reason     string
	Scope      string   // delivery (or ""), prop, kit, order: how far it goes beyond this finding
	Until      *Date    // its last day, where it goes beyond
	Worst      *float64 // the worst value that it still covers; nil: what was measured
}

// Concession is an accepted nonconformity. It never changes the finding.
type Concession struct {
	ID         uuid.UUID
	Inspection uuid.UUID
	Ord        int
	Check      string
	Reason     string
	By         uuid.UUID
	ByName     string
	At         time.Time
	Permission *uuid.UUID // under which it was granted, or which it became
}

// Payable is money released: by accepting a milestone, or as the fee of a cancelled one.
type Payable struct {
	ID          uuid.UUID
	WorkOrderID uuid.UUID
	PropID      uuid.UUID
	MilestoneID uuid.UUID
	SignOffID   *uuid.UUID // nil for a fee
	Kind        string     // milestone, kill_fee
	OrderCode   string
	VendorID    uuid.UUID
	VendorName  string
	PropCode    string
	Milestone   string
	AmountMinor int64
	Currency    string
	At          time.Time
}
