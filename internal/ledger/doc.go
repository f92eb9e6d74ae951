// Package ledger is the record that both sides trust: who owes what, what arrived, what was found, who decided.
// PostgreSQL holds it; every act is also a leaf of an append-only Merkle log. The package knows nothing of HTTP, of
// objects in S3 or of the geometry checks, and never calls anything slow inside a transaction.
//
// # How to call it
//
// A Store (role ph_api) opens transactions: Store.InTx sets the caller's party, member and side for row-level security
// and hands a *Tx to the function. Every operation is a method of *Tx, so none can run outside such a transaction. The
// function may run more than once (serialisation failure, deadlock): it must have no effect of its own but in the Tx.
// What the caller may not see is ErrNotFound, the same as what does not exist. Facts that an operation records are
// appended to their logs at the very end of the transaction, so the lock order is always: milestone row, other rows,
// log heads by ascending id.
//
//	Store.InTx(ctx, who, func(tx *Tx) error)
//	Store.InSnapshot(ctx, who, func(tx *Tx) error)   read only, one state: for Bundle and Verify
//	Idempotent(ctx, tx, Request, effect)     once per key, in the effect's own transaction
//
//	people      CreateVendor Vendors Invite Members ChangePassword StartSession EndSession
//	            CreateToken Tokens RevokeToken
//	orders      CreateProject Project Projects CreateWorkOrder WorkOrder WorkOrders
//	            CreateProp Prop Props MyWork CancelMilestone
//	specs       CreateSpecRevision SpecRevision SpecRevisions SpecExtended AcknowledgeSpec
//	deliveries  OpenDelivery Delivery Deliveries SetUpload RecordPart BeginSeal FinishSeal CancelSeal Abandon
//	inspection  Inspection Inspections CurrentInspection Findings EvidenceObjects Reinspect
//	decisions   SignOff SignOffs GrantConcession Concessions Payables AddNote Notes HoldMilestone ResumeMilestone
//	batches     OpenBatch Batch Batches BeginSealBatch FinishSealBatch CancelSealBatch SignOffMany
//	talk        Ask Reply Question Questions ResolveNote Permit DecidePermission Permission Permissions
//	lists       ReadPropList ImportProps Performances FailingChecks Plans PayablesOf EachPayable Needs Lines EachLine CountLines
//	            SaveView SavedViews PutViewAway
//	afterwards  OpenMaintenance PaymentHolds EndPaymentHold UseSet SetsOf UsersOf HandOver Handover Handovers
//	storage     SetRetention RetentionOf StoredByVendor SetQuota Quotas
//	secrecy     CreateReferencePack PublishReferencePack AcknowledgeReferences AcknowledgeSecrecy
//	people      Appoint Deputies DisableMember EraseMember
//	terms       SetCalendar Calendars PinCalendar OrderCalendars OfferChange DecideChange ChangeOrder ChangeOrders
//	log         Heads Facts Receipt Consistency Bundle Verify
//
// Login (role ph_login) knows who is calling, before any party is known: Password, Session, Token, Invitation,
// AcceptInvitation. Worker (role ph_worker) is the inspector's side: Claim, SpecExtended, Renew, Record, GiveBack, ReleaseLapsed.
// Notary (role ph_notary) alone signs: AnchorOnce, Run. Clock (role ph_clock) acts by the passing of time: Tick, Run. Setup (role of the database's owner): Migrate, BootstrapStudio.
// VerifyBundle checks an export with no database at all.
//
// # The states of a milestone
//
//	                    seal                     pass
//	open ───────────────────────▶ inspecting ───────────▶ review ──accept──▶ accepted
//	 ▲                            ▲  │   │  ▲              │  │
//	 │                            │  │   │  └──reinspect───┘  │ return
//	 │            seal, reinspect │  │   │ unable             ▼
//	 │                            │  │   └────────▶ stuck ─return─▶ returned ──seal──▶ inspecting
//	 │                            │  │ fail
//	 │                            │  ▼
//	 │                            failed ──return──▶ returned
//	 │                              └──accept_as_is─▶ accepted
//	 └ every state but accepted ──cancel──▶ cancelled
//
//	review ──hold──▶ held ──resume──▶ review        review ──deem (silence, announced)──▶ accepted
//
// Moves lists them; Steps adds those of the smaller machines (change orders, …), and is the database's one table of
// transitions: triggers refuse every other move. A delivery goes
// open → sealing → sealed (or back to open when an object is missing), or open → abandoned. An inspection goes
// queued → running → done, and back to queued when its lease lapses, three times at most.
package ledger
