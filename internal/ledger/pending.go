package ledger

// Signatures whose bodies land next, file by file.

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

var errLater = errors.New("ledger: this operation lands with the schema")

// Store opens transactions for callers of the API and the pages. Its pool's role is ph_api.
type Store struct{ pool *pgxpool.Pool }

// NewStore makes a store over a pool of role ph_api.
func NewStore(pool *pgxpool.Pool) (*Store, error) { return &Store{pool: pool}, nil }

// Ready says whether the database answers and has a schema that this program can serve.
func (s *Store) Ready(ctx context.Context) error { return errLater }

// InTx runs fn in a transaction as the caller who. It commits when fn returns nil.
func (s *Store) InTx(ctx context.Context, who Who, fn func(tx *Tx) error) error { return errLater }

// Tx is a transaction on behalf of one caller. Row-level security limits it to what the caller may see.
type Tx struct {
	pgx.Tx
	Who Who
}

// Request identifies one POST for idempotency.
type Request struct {
	Method, Route, Key string
	Body               []byte // hashed, not kept
}

// Ref is what a request made: kept for replays in place of the response, which is rendered anew.
type Ref struct {
	Kind string
	ID   uuid.UUID
}

// Idempotent runs effect once per caller, route and key, and gives back the same Ref for every repeat. An empty Key
// runs effect always. Errors: ErrKeyReused, ErrInFlight.
func Idempotent(ctx context.Context, tx *Tx, r Request, effect func() (Ref, error)) (ref Ref, replayed bool, err error) {
	return Ref{}, false, errLater
}

func (tx *Tx) CreateVendor(ctx context.Context, in NewVendor) (Vendor, error) {
	return Vendor{}, errLater
}
func (tx *Tx) Vendors(ctx context.Context, p Page) (List[Vendor], error) {
	return List[Vendor]{}, errLater
}

// Invite returns the invitation and its secret.
func (tx *Tx) Invite(ctx context.Context, in NewInvitation) (Invitation, string, error) {
	return Invitation{}, "", errLater
}

// Members lists the caller's own party's members.
func (tx *Tx) Members(ctx context.Context) ([]Member, error)              { return nil, errLater }
func (tx *Tx) ChangePassword(ctx context.Context, old, next string) error { return errLater }

// StartSession returns a new page session for the caller and its secret (for the cookie).
func (tx *Tx) StartSession(ctx context.Context, validFor time.Duration) (Session, string, error) {
	return Session{}, "", errLater
}
func (tx *Tx) EndSession(ctx context.Context, id uuid.UUID) error { return errLater }
func (tx *Tx) CreateToken(ctx context.Context, in NewToken) (Token, string, error) {
	return Token{}, "", errLater
}
func (tx *Tx) Token(ctx context.Context, id uuid.UUID) (Token, error) { return Token{}, errLater }
func (tx *Tx) Tokens(ctx context.Context) ([]Token, error)            { return nil, errLater }
func (tx *Tx) RevokeToken(ctx context.Context, id uuid.UUID) error    { return errLater }

func (tx *Tx) CreateProject(ctx context.Context, in NewProject) (Project, error) {
	return Project{}, errLater
}
func (tx *Tx) Project(ctx context.Context, id uuid.UUID) (Project, error) { return Project{}, errLater }
func (tx *Tx) Projects(ctx context.Context, p Page) (List[Project], error) {
	return List[Project]{}, errLater
}
func (tx *Tx) CreateWorkOrder(ctx context.Context, in NewWorkOrder) (WorkOrder, error) {
	return WorkOrder{}, errLater
}
func (tx *Tx) WorkOrder(ctx context.Context, id uuid.UUID) (WorkOrder, error) {
	return WorkOrder{}, errLater
}
func (tx *Tx) WorkOrders(ctx context.Context, p Page) (List[WorkOrder], error) {
	return List[WorkOrder]{}, errLater
}
func (tx *Tx) CreateProp(ctx context.Context, in NewProp) (Prop, error) { return Prop{}, errLater }
func (tx *Tx) Prop(ctx context.Context, id uuid.UUID) (Prop, error)     { return Prop{}, errLater }
func (tx *Tx) Props(ctx context.Context, f PropFilter, p Page) (List[Prop], error) {
	return List[Prop]{}, errLater
}
func (tx *Tx) MyWork(ctx context.Context, f WorkFilter, p Page) (List[WorkItem], error) {
	return List[WorkItem]{}, errLater
}
func (tx *Tx) CancelMilestone(ctx context.Context, id uuid.UUID, reason string) (Milestone, error) {
	return Milestone{}, errLater
}

func (tx *Tx) CreateSpecRevision(ctx context.Context, in NewSpecRevision) (SpecRevision, error) {
	return SpecRevision{}, errLater
}
func (tx *Tx) SpecRevision(ctx context.Context, id uuid.UUID) (SpecRevision, error) {
	return SpecRevision{}, errLater
}

// SpecRevisions lists a prop's revisions, newest first.
func (tx *Tx) SpecRevisions(ctx context.Context, prop uuid.UUID) ([]SpecHead, error) {
	return nil, errLater
}

// AcknowledgeSpec puts a newer revision in force. Vendor lead only.
func (tx *Tx) AcknowledgeSpec(ctx context.Context, id uuid.UUID) (SpecRevision, error) {
	return SpecRevision{}, errLater
}

func (tx *Tx) OpenDelivery(ctx context.Context, in Manifest) (Delivery, error) {
	return Delivery{}, errLater
}
func (tx *Tx) Delivery(ctx context.Context, id uuid.UUID) (Delivery, error) {
	return Delivery{}, errLater
}
func (tx *Tx) Deliveries(ctx context.Context, f DeliveryFilter, p Page) (List[Delivery], error) {
	return List[Delivery]{}, errLater
}

// SetUpload records the S3 upload id of a file; only the first one counts, the one that counts is returned.
func (tx *Tx) SetUpload(ctx context.Context, delivery, file uuid.UUID, uploadID string) (string, error) {
	return "", errLater
}
func (tx *Tx) RecordPart(ctx context.Context, delivery, file uuid.UUID, number int, etag string) error {
	return errLater
}

// BeginSeal fences uploads (state sealing). Repeating it is fine; on a sealed delivery it returns it as it is.
func (tx *Tx) BeginSeal(ctx context.Context, id uuid.UUID) (Delivery, error) {
	return Delivery{}, errLater
}

// FinishSeal makes the delivery final, queues its inspection and the wake-up job. Repeating it returns the sealed one.
func (tx *Tx) FinishSeal(ctx context.Context, id uuid.UUID, arrived []Arrived) (Delivery, error) {
	return Delivery{}, errLater
}

// CancelSeal goes back to open, after an object was found missing.
func (tx *Tx) CancelSeal(ctx context.Context, id uuid.UUID) (Delivery, error) {
	return Delivery{}, errLater
}
func (tx *Tx) Abandon(ctx context.Context, id uuid.UUID) (Delivery, error) {
	return Delivery{}, errLater
}

func (tx *Tx) Inspection(ctx context.Context, id uuid.UUID) (Inspection, error) {
	return Inspection{}, errLater
}

// Inspections lists a delivery's inspections, newest first.
func (tx *Tx) Inspections(ctx context.Context, delivery uuid.UUID) ([]Inspection, error) {
	return nil, errLater
}

// CurrentInspection is the one that counts for a delivery. ErrNotFound until one is done.
func (tx *Tx) CurrentInspection(ctx context.Context, delivery uuid.UUID) (Inspection, error) {
	return Inspection{}, errLater
}
func (tx *Tx) Findings(ctx context.Context, inspection uuid.UUID, p Page) (List[Finding], error) {
	return List[Finding]{}, errLater
}
func (tx *Tx) EvidenceObjects(ctx context.Context, inspection uuid.UUID) ([]EvidenceObject, error) {
	return nil, errLater
}

// Reinspect queues another run under the spec in force now.
func (tx *Tx) Reinspect(ctx context.Context, delivery uuid.UUID, reason string) (Inspection, error) {
	return Inspection{}, errLater
}

func (tx *Tx) SignOff(ctx context.Context, in NewSignOff) (SignOff, error) {
	return SignOff{}, errLater
}
func (tx *Tx) SignOffs(ctx context.Context, delivery uuid.UUID) ([]SignOff, error) {
	return nil, errLater
}
func (tx *Tx) GrantConcession(ctx context.Context, in NewConcession) (Concession, error) {
	return Concession{}, errLater
}
func (tx *Tx) Concessions(ctx context.Context, delivery uuid.UUID) ([]Concession, error) {
	return nil, errLater
}

// Payables lists what was released; a zero work order means all that the caller may see.
func (tx *Tx) Payables(ctx context.Context, workOrder uuid.UUID, p Page) (List[Payable], error) {
	return List[Payable]{}, errLater
}
func (tx *Tx) AddNote(ctx context.Context, in NewNote) (Note, error)         { return Note{}, errLater }
func (tx *Tx) Notes(ctx context.Context, delivery uuid.UUID) ([]Note, error) { return nil, errLater }

// Head is the present size and root of one log.
type Head struct {
	Log      uuid.UUID // a work order's id, or the studio's id for its private log
	Size     int64
	Root     []byte
	Anchored int64 // size at the newest anchor in the house log
}

// Fact is one leaf with its exact bytes. (Log, Index) is the cursor of every feed: gapless, in commit order.
type Fact struct {
	Log     uuid.UUID
	Index   int64
	Kind    string
	Version int
	Subject uuid.UUID
	At      time.Time
	Body    []byte // canonical JSON
	ByName  string // empty for the machine, or once erased
}

// Receipt proves that a fact is in its log. JSON field names are part of the export format.
type Receipt struct {
	Format     string    `json:"format"` // "proofhouse/receipt/1"
	Log        uuid.UUID `json:"log"`
	Index      int64     `json:"index"`
	Kind       string    `json:"kind"`
	Body       string    `json:"body"` // exact bytes of the leaf
	LeafHash   string    `json:"leaf_hash"`
	Size       int64     `json:"size"`
	Root       string    `json:"root"`
	Proof      []string  `json:"proof"`
	Anchor     *Anchor   `json:"anchor,omitempty"`     // newest anchor of this log that covers the fact; nil for about a second
	Checkpoint string    `json:"checkpoint,omitempty"` // signed note over the house log
}

// Anchor ties a head of a log into the house log.
type Anchor struct {
	Size       int64    `json:"size"`
	Root       string   `json:"root"`
	Blind      string   `json:"blind"`
	HouseIndex int64    `json:"house_index"`
	HouseProof []string `json:"house_proof"`
}

// Heads lists the logs that the caller may see, for feeds: compare Size with the index read so far.
func (tx *Tx) Heads(ctx context.Context) ([]Head, error) { return nil, errLater }

// Facts lists a log's leaves with an index above after (-1 for all), at most limit.
func (tx *Tx) Facts(ctx context.Context, log uuid.UUID, after int64, limit int) ([]Fact, error) {
	return nil, errLater
}

// Receipt proves the newest fact of a kind about a subject (FactDeliverySealed and a delivery's id, for example).
func (tx *Tx) Receipt(ctx context.Context, kind string, subject uuid.UUID) (Receipt, error) {
	return Receipt{}, errLater
}

// Consistency proves that the log at size next extends the log at size old.
func (tx *Tx) Consistency(ctx context.Context, log uuid.UUID, old, next int64) ([]string, error) {
	return nil, errLater
}

// Bundle is a work order's whole record as one JSON document that VerifyBundle checks offline.
func (tx *Tx) Bundle(ctx context.Context, workOrder uuid.UUID) ([]byte, error) { return nil, errLater }

// Verify checks a work order's rows, leaves, hashes, head and signatures against each other, in the database.
func (tx *Tx) Verify(ctx context.Context, workOrder uuid.UUID, verifiers ...string) (Report, error) {
	return Report{}, errLater
}

// Report is what a verification found.
type Report struct {
	Log      uuid.UUID `json:"log"`
	Facts    int64     `json:"facts"`
	Signed   int64     `json:"signed"` // facts covered by a checkpoint with a good signature
	Problems []Problem `json:"problems"`
}

// OK says that nothing was found wrong.
func (r Report) OK() bool { return len(r.Problems) == 0 }

// Problem is one thing that does not agree.
type Problem struct {
	Index int64  `json:"index"` // of the fact; -1 where it is about the log as a whole
	What  string `json:"what"`
}

// VerifyBundle checks an exported bundle with no database. Verifiers are the trusted keys ("name+hash+key") of the
// notary; since are receipts held from before, each of which the bundle must extend.
func VerifyBundle(bundle []byte, verifiers []string, since ...Receipt) (Report, error) {
	return Report{}, errLater
}

// Login tells who is calling, by the role ph_login, which may do nothing else.
type Login struct{ pool *pgxpool.Pool }

// NewLogin makes a login over a pool of role ph_login.
func NewLogin(pool *pgxpool.Pool) *Login { return &Login{pool: pool} }

// Password checks an e-mail and a password. It takes the same time whether or not the e-mail is known.
func (l *Login) Password(ctx context.Context, email, password string) (Who, error) {
	return Who{}, errLater
}

// Session finds the caller of a page by its cookie's secret.
func (l *Login) Session(ctx context.Context, secret string) (Who, error) { return Who{}, errLater }

// Token finds the caller of a program by its bearer token.
func (l *Login) Token(ctx context.Context, secret string) (Who, error) { return Who{}, errLater }

// Invitation shows what a secret invites to.
func (l *Login) Invitation(ctx context.Context, secret string) (Invitation, error) {
	return Invitation{}, errLater
}

// AcceptInvitation makes the member. It works once. Password: 12 characters at least.
func (l *Login) AcceptInvitation(ctx context.Context, secret, name, password string) (Who, error) {
	return Who{}, errLater
}

// Worker is the inspector's side of the ledger, over a pool of role ph_worker.
type Worker struct{ pool *pgxpool.Pool }

// NewWorker makes a worker's ledger over a pool of role ph_worker.
func NewWorker(pool *pgxpool.Pool) *Worker { return &Worker{pool: pool} }

// Lease and sweep times.
const (
	LeaseFor    = 30 * time.Second
	RenewEvery  = 10 * time.Second
	SweepEvery  = 5 * time.Second
	MaxAttempts = 3
)

// Job is a claimed inspection with all that the inspector needs.
type Job struct {
	Inspection Inspection
	Fence      int64
	LeaseUntil time.Time
	Spec       SpecRevision
	Delivery   Delivery // with files
	Tier       string
	Milestone  string // kind
	PropCode   string
}

// Result is what an inspector found. Verdict, Findings and Objects are as in evidence.json.
type Result struct {
	Engine         string
	EngineDigest   string
	Verdict        Verdict
	Headline       string
	Cause          string // why not evaluated, where the whole inspection was not
	EvidenceSHA256 []byte // of evidence.json's canonical bytes; nil where there is none
	Findings       []Finding
	Objects        []EvidenceObject
}

// Claim takes the next inspection: of the vendor with the fewest running, the oldest. ErrNotFound: nothing waits.
func (w *Worker) Claim(ctx context.Context, owner string) (Job, error) { return Job{}, errLater }

// Renew extends the lease. ErrLeaseLost: stop, someone else has it.
func (w *Worker) Renew(ctx context.Context, inspection uuid.UUID, fence int64) (time.Time, error) {
	return time.Time{}, errLater
}

// Record stores the result in one transaction, with inTx (may be nil) run inside it (River's JobCompleteTx).
// ErrLeaseLost: nothing was stored, drop the result.
func (w *Worker) Record(ctx context.Context, inspection uuid.UUID, fence int64, r Result, inTx func(context.Context, pgx.Tx) error) error {
	return errLater
}

// GiveBack returns a claimed inspection to the queue without counting the attempt (planned stop).
func (w *Worker) GiveBack(ctx context.Context, inspection uuid.UUID, fence int64) error {
	return errLater
}

// ReleaseLapsed re-queues inspections whose lease lapsed; after MaxAttempts they are recorded as not evaluated.
func (w *Worker) ReleaseLapsed(ctx context.Context) (requeued, failed int, err error) {
	return 0, 0, errLater
}

// WakeArgs is the River job that wakes a worker: a ticket, which does not say which inspection.
type WakeArgs struct {
	Ticket uuid.UUID `json:"ticket"`
}

// Kind names the job for River.
func (WakeArgs) Kind() string { return "inspection_wake" }

// RiverSchema is where River's tables live.
const RiverSchema = "river"

// Notary signs the house log's checkpoints, over a pool of role ph_notary.
type Notary struct{ pool *pgxpool.Pool }

// NewNotary makes a notary. keyFile holds the signing key (0600); it is made on first use.
func NewNotary(pool *pgxpool.Pool, keyFile string) (*Notary, error) { return &Notary{pool: pool}, nil }

// Verifier is the public key, "name+hash+key".
func (n *Notary) Verifier() string { return "" }

// AnchorOnce anchors all changed heads and signs a checkpoint. It returns how many were anchored; another process
// doing the same at the moment makes it 0.
func (n *Notary) AnchorOnce(ctx context.Context) (int, error) { return 0, errLater }

// Run anchors every interval until ctx ends.
func (n *Notary) Run(ctx context.Context, every time.Duration) error { return errLater }

// Roles of the database that programs log in with.
const (
	RoleAPI    = "ph_api"
	RoleLogin  = "ph_login"
	RoleWorker = "ph_worker"
	RoleNotary = "ph_notary"
)

// Migrate brings the database to this program's schema: roles, own tables, River's tables. adminURL's role must own
// the database and may create roles. passwords gives each role of the list above its password.
func Migrate(ctx context.Context, adminURL string, passwords func(role string) string) error {
	return errLater
}

// FirstMember is the person who sets up a studio.
type FirstMember struct{ Name, Email, Password string }

// BootstrapStudio makes a studio with its first member, who has every studio role. adminURL as for Migrate.
func BootstrapStudio(ctx context.Context, adminURL, studio string, first FirstMember) (Who, error) {
	return Who{}, errLater
}

// Fact kinds.
const (
	FactProjectCreated      = "project.created" // studio log
	FactVendorEngaged       = "vendor.engaged"  // studio log
	FactWorkOrderPlaced     = "work_order.placed"
	FactPropOrdered         = "prop.ordered"
	FactSpecRevised         = "spec.revised"
	FactSpecAcknowledged    = "spec.acknowledged"
	FactDeliveryOpened      = "delivery.opened"
	FactDeliverySealed      = "delivery.sealed"
	FactDeliveryAbandoned   = "delivery.abandoned"
	FactInspectionRequested = "inspection.requested"
	FactInspectionRecorded  = "inspection.recorded"
	FactConcessionGranted   = "concession.granted"
	FactSignedOff           = "milestone.signed_off"
	FactPayable             = "milestone.payable"
	FactCancelled           = "milestone.cancelled"
	FactNoteWritten         = "note.written" // studio log where private
)
