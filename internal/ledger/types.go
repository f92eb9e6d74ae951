package ledger

import (
	"time"

	"github.com/google/uuid"
)

// Side is which end of a contract a party stands on.
type Side string

// The sides.
const (
	StudioSide Side = "studio"
	VendorSide Side = "vendor"
)

// Role is what a member may do for their party.
type Role string

// The roles. The first four are a studio's, the others a vendor's.
const (
	Producer        Role = "producer"
	ArtDirector     Role = "art_director"
	ArtLead         Role = "art_lead"
	TechnicalArtist Role = "technical_artist"
	VendorLead      Role = "vendor_lead"
	VendorArtist    Role = "vendor_artist"
)

// Scope limits what a token may be used for. A page session has all of them.
type Scope string

// The scopes. ScopeRead is implied by every other one.
const (
	ScopeRead    Scope = "read"
	ScopeDeliver Scope = "deliver" // open, upload, seal; acknowledge specs
	ScopeOrder   Scope = "order"   // projects, work orders, props, specs, vendors
	ScopeReview  Scope = "review"  // sign off, return, concede, note, re-inspect
	ScopeAdmin   Scope = "admin"   // invite members, make and revoke tokens
)

// Scopes lists all scopes.
var Scopes = []Scope{ScopeRead, ScopeDeliver, ScopeOrder, ScopeReview, ScopeAdmin}

// Who is the caller of an operation, as Login found them.
type Who struct {
	Party     uuid.UUID
	PartyName string
	Member    uuid.UUID
	Name      string
	Side      Side
	Roles     []Role
	Scopes    []Scope
	Session   uuid.UUID // of a page; zero for a token
	Token     uuid.UUID // of a program; zero for a page

	// ProofAge is how long ago the member showed who they are, in this session; of no meaning for a token.
	ProofAge time.Duration
}

// Has says whether the caller has one of the roles.
func (w Who) Has(roles ...Role) bool {
	for _, have := range w.Roles {
		for _, want := range roles {
			if have == want {
				return true
			}
		}
	}
	return false
}

// May says whether the caller's session or token covers the scope.
func (w Who) May(scope Scope) bool {
	for _, have := range w.Scopes {
		if have == scope || scope == ScopeRead {
			return true
		}
	}
	return false
}

// Page asks for one page of a list. After is the Next of the page before, empty for the first.
type Page struct {
	After string
	Limit int // 1 to 200; 0 means 50
}

// List is one page in a stable order.
type List[T any] struct {
	Items []T
	Next  string // empty on the last page
}

// Vendor is a vendor as one studio knows it.
type Vendor struct {
	ID        uuid.UUID
	Name      string
	StudioID  uuid.UUID
	CreatedAt time.Time
}

// NewVendor is a vendor to take on. The studio invites its first member with Invite.
type NewVendor struct{ Name string }

// Member is one person of a party.
type Member struct {
	ID         uuid.UUID
	Party      uuid.UUID
	Name       string
	Email      string
	Roles      []Role
	CreatedAt  time.Time
	DisabledAt *time.Time
}

// NewInvitation asks a person into the caller's own party or into a vendor that the studio works with.
type NewInvitation struct {
	Party    uuid.UUID
	Email    string
	Roles    []Role
	ValidFor time.Duration // 0 means seven days
}

// Invitation lets one person join once. Its secret is returned when it is made and never again.
type Invitation struct {
	ID        uuid.UUID
	Party     uuid.UUID
	PartyName string
	Side      Side
	Email     string
	Roles     []Role
	ExpiresAt time.Time

	Provider         uuid.UUID // the party's provider to log in with; zero where it has none
	ProviderRequired bool      // the party takes no passwords
}

// Session is one log-in on the pages.
type Session struct {
	ID         uuid.UUID
	CreatedAt  time.Time
	ExpiresAt  time.Time
	LastSeenAt *time.Time
	Via        string // "password", "provider" or "invitation"
	Agent      string // what the browser says it is
	Address    string
}

// From says how and where a session begins.
type From struct {
	Via, Agent, Address string
	// ProvedAt is when a provider says that it last asked who this is; nil: it does not say. A password or an invitation is
	// proof of its own.
	ProvedAt *time.Time
}

// NewToken asks for a program's token.
type NewToken struct {
	Name     string
	Scopes   []Scope
	ValidFor time.Duration // 0 means 90 days; at most 366 days
}

// Token is a program's credential. The secret is returned when it is made and never again.
type Token struct {
	ID         uuid.UUID
	Name       string
	Hint       string // first characters of the secret, to tell tokens apart
	Scopes     []Scope
	CreatedAt  time.Time
	ExpiresAt  time.Time
	LastUsedAt *time.Time
	RevokedAt  *time.Time
}

// NewProject is a project to start.
type NewProject struct{ Code, Title string }

// Project groups a studio's work orders. Vendors do not see projects.
type Project struct {
	ID        uuid.UUID
	StudioID  uuid.UUID
	Code      string
	Title     string
	CreatedAt time.Time
}

// NewWorkOrder is a contract to place with a vendor.
type NewWorkOrder struct {
	Project        uuid.UUID
	Vendor         uuid.UUID
	Code           string
	Title          string
	Currency       string // ISO 4217
	RoundsIncluded int    // rounds of rework in the price
	ReviewDays     int    // the studio's review window, working days
	Terms          string
	SilenceAccepts bool      // the studio's silence past the review window accepts, after a reminder
	Codename       string    // what outsiders' eyes see in place of the title: mails, hooks, page titles
	Secret         bool      // each of the vendor's members says that it binds them before the first reference
	SourceRoles    []string  // "source.…": owed with a final delivery before it is paid
	OriginRequired bool      // a declaration of origin is owed before the final delivery is paid
	KillFeeBP      int       // least share of a milestone's amount that is paid when it is cancelled after work began
	Calendar       uuid.UUID // of the studio, pinned at once; zero: its newest one, where it has one
}

// WorkOrder is one contract between a studio and a vendor. Its id is also the id of its log.
type WorkOrder struct {
	ID             uuid.UUID
	StudioID       uuid.UUID
	VendorID       uuid.UUID
	StudioName     string
	VendorName     string
	ProjectID      uuid.UUID
	Code           string
	Title          string
	Currency       string
	RoundsIncluded int
	ReviewDays     int
	Terms          string
	PlacedAt       time.Time
	Props          int
	Milestones     int
	Accepted       int   // milestones accepted
	PriceMinor     int64 // of all its props, with agreed changes
	PayableMinor   int64 // released so far
	SilenceAccepts bool
	KillFeeBP      int
	Codename       string
	Secret         bool
	SourceRoles    []string
	OriginRequired bool
}

// Date is a calendar day, without a time zone ("2026-11-25").
type Date = time.Time

// NewProp is a prop to add to a work order, with its milestones in order.
type NewProp struct {
	WorkOrder  uuid.UUID
	Code       string
	Title      string
	Tier       string // background, mid, hero, close_up
	PriceMinor int64
	Milestones []NewMilestone
	Kind       string // prop, texture_set, kit; "" is prop
	Kit        string // code of what it is a piece of, "" for none
	Pilot      bool   // the first of its kit, which the others wait for
}

// NewMilestone is one stage of a prop. The shares of all of a prop's milestones sum to 10,000 basis points.
type NewMilestone struct {
	Kind    string // block_out, sculpt, game_mesh, maps, final
	ShareBP int    // share of the price in basis points
	Due     *Date
}

// Prop is one thing that a vendor makes.
type Prop struct {
	ID           uuid.UUID
	StudioID     uuid.UUID
	VendorID     uuid.UUID
	WorkOrderID  uuid.UUID
	Code         string
	Title        string
	Tier         string
	PriceMinor   int64 // with agreed changes
	Currency     string
	OrderedAt    time.Time
	SpecInForce  *SpecHead // nil until the studio has given a spec
	SpecOffered  *SpecHead // newest revision, where it waits for the vendor's acknowledgement; else nil
	Milestones   []Milestone
	WorkOrder    string // its code
	VendorName   string
	StudioName   string
	WorkBeganAt  *time.Time
	MilestoneDue *Date // next due date among milestones not done
	Kind         string
	Kit          string
	Pilot        bool
	BlockedSince *time.Time    // while a question that blocks waits for the studio
	Blocked      time.Duration // so far, in all
}

// Milestone is one stage of a prop with its state.
type Milestone struct {
	ID          uuid.UUID
	PropID      uuid.UUID
	Position    int
	Kind        string
	ShareBP     int
	AmountMinor int64 // with agreed changes
	Due         *Date // as it is now
	State       MilestoneState
	Desk        Desk
	Since       time.Time // when the state was entered
	Rounds      int       // deliveries sealed
	Delivery    *DeliveryHead
	Rework      Rework
	ReviewDueAt *time.Time // when the studio's time to review ends, while in review
	Clocks      Clocks
}

// Rework counts the rounds after the first by who caused them.
type Rework struct {
	Vendor   int // nonconformities
	Studio   int // changed minds
	Included int // changed minds that the price includes
}

// Beyond is how many rounds the studio caused over those that the price includes.
func (r Rework) Beyond() int { return max(0, r.Studio-r.Included) }

// Clocks is how long a milestone has lain on each desk. Time on the vendor's in which an answer that holds the work up was
// outstanding is the studio's.
type Clocks struct{ Vendor, Studio, Inspector time.Duration }

// DeliveryHead is the newest delivery of a milestone in short.
type DeliveryHead struct {
	ID         uuid.UUID
	Number     int
	State      DeliveryState
	SealedAt   *time.Time
	Inspection *InspectionHead
}

// InspectionHead is the current or running inspection of a delivery in short.
type InspectionHead struct {
	ID       uuid.UUID
	State    InspectionState
	Verdict  Verdict // "" until done
	Headline string
	Issues   int // blocking findings that failed or were not evaluated
}

// WorkItem is one line of "my work": a milestone with what a person needs to know about it.
type WorkItem struct {
	Milestone  Milestone
	PropID     uuid.UUID
	PropCode   string
	PropTitle  string
	Tier       string
	WorkOrder  uuid.UUID
	OrderCode  string
	VendorID   uuid.UUID
	VendorName string
	StudioName string
	Late       bool // past its due date, and past the time that the studio's answers took
	Blocked    bool // a question waits for the studio
}

// WorkFilter narrows "my work". Zero values mean all.
type WorkFilter struct {
	Desks     []Desk
	WorkOrder uuid.UUID
	Vendor    uuid.UUID
	Open      bool // leave out accepted and cancelled
}

// PropFilter narrows a list of props. Zero values mean all.
type PropFilter struct {
	WorkOrder  uuid.UUID
	CodePrefix string
}

// NewSpecRevision is a revision of a prop's spec. Digest is the SHA-256 of the resolved spec's canonical JSON (the
// caller resolves it; the ledger stores the document's bytes and hashes those itself).
type NewSpecRevision struct {
	Prop     uuid.UUID
	Document []byte // as written, YAML or JSON
	Digest   []byte // 32 bytes
	Note     string // what changed, in words
	Change   SpecChange
}

// SpecHead is a spec revision without its document.
type SpecHead struct {
	ID             uuid.UUID
	PropID         uuid.UUID
	Number         int
	Parent         *uuid.UUID
	Digest         []byte
	Note           string
	By             string // name of the author, empty once erased
	CreatedAt      time.Time
	AcknowledgedAt *time.Time
	InForce        bool
}

// SpecRevision is one immutable revision of a prop's spec.
type SpecRevision struct {
	SpecHead
	Document []byte
}

// SpecRef names the revision that a spec extends: of a prop in the same work order, by its code.
type SpecRef struct {
	Code     string
	Revision int    // 0: told by SHA256 alone
	SHA256   []byte // of the document's bytes; not looked at where Revision is given
}

// Manifest is what a vendor says they will upload.
type Manifest struct {
	Milestone uuid.UUID
	Note      string
	Files     []NewFile
}

// NewFile is one line of a manifest. A file over one part's size names the digest of each part.
type NewFile struct {
	Path      string // relative, forward slashes, no ".."
	Role      string
	Size      int64
	SHA256    []byte // 32 bytes, of the whole file
	MediaType string
	PartSize  int64    // 0: one PUT
	Parts     [][]byte // SHA-256 of each part
}

// Delivery is what arrived for a milestone: numbered, and never changed once sealed.
type Delivery struct {
	ID             uuid.UUID
	StudioID       uuid.UUID
	VendorID       uuid.UUID
	WorkOrderID    uuid.UUID
	PropID         uuid.UUID
	MilestoneID    uuid.UUID
	PropCode       string
	MilestoneKind  string
	Number         int
	State          DeliveryState
	Note           string
	ManifestSHA256 []byte
	SpecRevision   uuid.UUID // in force when it was opened
	OpenedBy       uuid.UUID
	OpenedByName   string
	OpenedAt       time.Time
	SealedAt       *time.Time
	Files          []File // empty in lists
	Bytes          int64
	FileCount      int
	Milestone      MilestoneState
	Inspection     *InspectionHead // the current one, or the one under way
	Batch          *uuid.UUID
	RoundCause     string // first, nonconformity, changed_mind, not_evaluated; "" until sealed
}

// DeliveryFilter narrows a list of deliveries. Zero values mean all.
type DeliveryFilter struct {
	Milestone uuid.UUID
	Prop      uuid.UUID
	WorkOrder uuid.UUID
	State     DeliveryState
}

// File is one file of a delivery.
type File struct {
	ID        uuid.UUID
	Path      string
	Role      string
	Size      int64
	SHA256    []byte
	MediaType string
	ObjectKey string // in/<vendor>/<delivery>/<file>
	UploadID  string // of a multipart upload under way or done
	PartSize  int64
	Parts     []Part
	ETag      string // set by the seal
	VersionID string
}

// Part is one part of a multipart upload.
type Part struct {
	Number int // from 1
	Size   int64
	SHA256 []byte
	ETag   string // "" until it arrived
}

// Arrived is what HEAD said about one file's object, given to FinishSeal.
type Arrived struct {
	File      uuid.UUID
	Size      int64
	ETag      string
	VersionID string
}

// Inspection is one run of the acceptance test over a delivery.
type Inspection struct {
	ID             uuid.UUID
	StudioID       uuid.UUID
	VendorID       uuid.UUID
	WorkOrderID    uuid.UUID
	PropID         uuid.UUID
	MilestoneID    uuid.UUID
	DeliveryID     uuid.UUID
	SpecRevision   uuid.UUID
	State          InspectionState
	Attempts       int
	QueuedAt       time.Time
	StartedAt      *time.Time
	FinishedAt     *time.Time
	Engine         string
	EngineDigest   string
	Verdict        Verdict
	Headline       string
	Cause          string // why it was not evaluated, where it was not
	EvidenceSHA256 []byte
	FindingsSHA256 []byte
	Issues         int
	Current        bool
	Permitted      int // of the issues, those that a permission covered when it was recorded
}

// Finding is one row of an inspection's result: what lists and figures need. Places, metrics and words are in
// evidence.json.
type Finding struct {
	Ord         int
	Check       string
	Part        string
	Set         string
	LOD         *int
	Tile        *int
	Pose        string
	File        string
	Outcome     string // pass, warn, fail, not_evaluated, not_applicable
	Blocks      bool
	FollowsFrom string
	Measured    *float64
	Unit        string
	LimitKey    string
	Limit       *float64
}

// EvidenceObject is one stored file of an inspection's evidence: evidence.json, a picture, a GLB.
type EvidenceObject struct {
	Name      string // "evidence.json", "uv-density.png"
	What      string
	ObjectKey string // wo/<work order>/evidence/<sha256>
	SHA256    []byte // of the stored bytes
	Size      int64
	MediaType string
}
