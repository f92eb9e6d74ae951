package httpapi

import (
	"encoding/hex"
	"net/url"
	"time"

	"github.com/google/uuid"
	openapi_types "github.com/oapi-codegen/runtime/types"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// From the ledger's types to the interface's. Times leave in UTC.

func each[A, B any](in []A, f func(A) B) []B {
	out := make([]B, len(in))
	for i, a := range in {
		out[i] = f(a)
	}
	return out
}

func next(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func optional(s string) *string { return next(s) }

func utc(t *time.Time) *time.Time {
	if t == nil {
		return nil
	}
	u := t.UTC()
	return &u
}

func day(t *ledger.Date) *openapi_types.Date {
	if t == nil {
		return nil
	}
	return &openapi_types.Date{Time: *t}
}

func idOrNil(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}

func money(minor int64, currency string) api.Money {
	return api.Money{AmountMinor: minor, Currency: currency}
}

func roles(in []ledger.Role) []api.Role {
	return each(in, func(r ledger.Role) api.Role { return api.Role(r) })
}

func scopes(in []ledger.Scope) []api.Scope {
	return each(in, func(s ledger.Scope) api.Scope { return api.Scope(s) })
}

func meOf(w ledger.Who) api.Me {
	by := api.MeAuthenticatedBySession
	if w.Token != uuid.Nil {
		by = api.MeAuthenticatedByToken
	}
	return api.Me{
		MemberId: w.Member, Name: w.Name, PartyId: w.Party, Party: w.PartyName, Side: api.Side(w.Side),
		Roles: roles(w.Roles), Scopes: scopes(w.Scopes), AuthenticatedBy: by,
	}
}

func tokenOf(t ledger.Token) api.Token {
	return api.Token{
		Id: t.ID, Name: t.Name, Hint: t.Hint, Scopes: scopes(t.Scopes), CreatedAt: t.CreatedAt.UTC(), ExpiresAt: t.ExpiresAt.UTC(),
		LastUsedAt: utc(t.LastUsedAt), RevokedAt: utc(t.RevokedAt),
	}
}

func vendorOf(v ledger.Vendor) api.Vendor {
	return api.Vendor{Id: v.ID, Name: v.Name, CreatedAt: v.CreatedAt.UTC()}
}

func memberOf(m ledger.Member) api.Member {
	return api.Member{
		Id: m.ID, PartyId: m.Party, Name: m.Name, Email: m.Email, Roles: roles(m.Roles), CreatedAt: m.CreatedAt.UTC(), DisabledAt: utc(m.DisabledAt),
	}
}

func invitationOf(i ledger.Invitation) api.Invitation {
	return api.Invitation{
		Id: i.ID, PartyId: i.Party, Party: i.PartyName, Side: api.Side(i.Side), Email: i.Email, Roles: roles(i.Roles), ExpiresAt: i.ExpiresAt.UTC(),
	}
}

func projectOf(p ledger.Project) api.Project {
	return api.Project{Id: p.ID, Code: p.Code, Title: p.Title, CreatedAt: p.CreatedAt.UTC()}
}

func workOrderOf(w ledger.WorkOrder) api.WorkOrder {
	return api.WorkOrder{
		Id: w.ID, ProjectId: idOrNil(w.ProjectID), VendorId: w.VendorID, Vendor: w.VendorName, Studio: w.StudioName, Code: w.Code, Title: w.Title,
		RoundsIncluded: w.RoundsIncluded, ReviewDays: w.ReviewDays, SilenceAccepts: w.SilenceAccepts, KillFeeBp: w.KillFeeBP,
		Codename: w.Codename, Secret: w.Secret, SourceRoles: append([]string{}, w.SourceRoles...), OriginRequired: w.OriginRequired, Terms: w.Terms, PlacedAt: w.PlacedAt.UTC(),
		Props: w.Props, Milestones: w.Milestones, MilestonesAccepted: w.Accepted,
		Price: money(w.PriceMinor, w.Currency), Payable: money(w.PayableMinor, w.Currency),
	}
}

func propOf(p ledger.Prop) api.Prop {
	out := api.Prop{
		Id: p.ID, WorkOrderId: p.WorkOrderID, Code: p.Code, Title: p.Title, Kind: api.PropKind(p.Kind), Kit: p.Kit, Pilot: p.Pilot, Tier: api.Tier(p.Tier), Price: money(p.PriceMinor, p.Currency),
		DueOn: day(p.MilestoneDue), OrderedAt: p.OrderedAt.UTC(), BlockedSince: utc(p.BlockedSince), BlockedSeconds: int64(p.Blocked / time.Second),
		Milestones: each(p.Milestones, func(m ledger.Milestone) api.Milestone { return milestoneOf(m, p.Currency) }),
	}
	if p.SpecInForce != nil {
		out.SpecInForceId = &p.SpecInForce.ID
	}
	if p.SpecOffered != nil {
		out.SpecOfferedId = &p.SpecOffered.ID
	}
	return out
}

func milestoneOf(m ledger.Milestone, currency string) api.Milestone {
	return api.Milestone{
		Id: m.ID, Kind: api.MilestoneKind(m.Kind), ShareBp: m.ShareBP, Amount: money(m.AmountMinor, currency), DueOn: day(m.Due),
		State: api.MilestoneState(m.State), Desk: api.Desk(m.Desk), Since: m.Since.UTC(), Rounds: m.Rounds, Delivery: deliveryHeadOf(m.Delivery),
		Rework: reworkOf(m.Rework), ReviewDueAt: utc(m.ReviewDueAt), Clocks: clocksOf(m.Clocks),
	}
}

func deliveryHeadOf(d *ledger.DeliveryHead) *api.DeliveryHead {
	if d == nil {
		return nil
	}
	return &api.DeliveryHead{
		Id: d.ID, Number: d.Number, State: api.DeliveryState(d.State), SealedAt: utc(d.SealedAt), Inspection: inspectionHeadOf(d.Inspection),
	}
}

func inspectionHeadOf(i *ledger.InspectionHead) *api.InspectionHead {
	if i == nil {
		return nil
	}
	return &api.InspectionHead{
		Id: i.ID, State: api.InspectionState(i.State), Verdict: verdictOf(i.Verdict), Headline: i.Headline, Issues: i.Issues,
	}
}

func verdictOf(v ledger.Verdict) *api.Verdict {
	if v == "" {
		return nil
	}
	w := api.Verdict(v)
	return &w
}

func workItemOf(w ledger.WorkItem) api.WorkItem {
	m := w.Milestone
	return api.WorkItem{
		Milestone: api.WorkMilestone{
			Id: m.ID, Kind: api.MilestoneKind(m.Kind), State: api.MilestoneState(m.State), Desk: api.Desk(m.Desk), Since: m.Since.UTC(),
			DueOn: day(m.Due), Rounds: m.Rounds, Delivery: deliveryHeadOf(m.Delivery),
		},
		Late: w.Late, Blocked: w.Blocked, PropId: w.PropID, PropCode: w.PropCode, PropTitle: w.PropTitle, Tier: api.Tier(w.Tier),
		WorkOrderId: w.WorkOrder, WorkOrder: w.OrderCode, Vendor: w.VendorName, Studio: w.StudioName,
	}
}

func specOf(h ledger.SpecHead) api.Spec {
	return api.Spec{
		Id: h.ID, PropId: h.PropID, Number: h.Number, Digest: hex.EncodeToString(h.Digest), Note: h.Note, By: h.By,
		CreatedAt: h.CreatedAt.UTC(), AcknowledgedAt: utc(h.AcknowledgedAt), InForce: h.InForce,
	}
}

func specWithText(r ledger.SpecRevision) api.Spec {
	out := specOf(r.SpecHead)
	text := string(r.Document)
	out.Document = &text
	return out
}

// deliveryOf renders a delivery for a caller. A vendor's people stay inside the vendor: the studio sees no artist's name.
func deliveryOf(d ledger.Delivery, who ledger.Who) api.Delivery {
	by := d.OpenedByName
	if who.Side != ledger.VendorSide {
		by = ""
	}
	return api.Delivery{
		Id: d.ID, MilestoneId: d.MilestoneID, MilestoneKind: api.MilestoneKind(d.MilestoneKind), MilestoneState: api.MilestoneState(d.Milestone),
		PropId: d.PropID, PropCode: d.PropCode, WorkOrderId: d.WorkOrderID, Number: d.Number, State: api.DeliveryState(d.State), Note: d.Note,
		SpecId: d.SpecRevision, ManifestSha256: hex.EncodeToString(d.ManifestSHA256), OpenedAt: d.OpenedAt.UTC(), OpenedBy: by,
		SealedAt: utc(d.SealedAt), Bytes: d.Bytes, FileCount: d.FileCount, Files: each(d.Files, fileOf), Inspection: inspectionHeadOf(d.Inspection),
	}
}

func fileOf(f ledger.File) api.File {
	return api.File{Id: f.ID, Path: f.Path, Role: f.Role, Bytes: f.Size, Sha256: hex.EncodeToString(f.SHA256), MediaType: f.MediaType}
}

func inspectionOf(i ledger.Inspection, objects []ledger.EvidenceObject) api.Inspection {
	out := api.Inspection{
		Id: i.ID, DeliveryId: i.DeliveryID, SpecId: i.SpecRevision, State: api.InspectionState(i.State), Current: i.Current, Attempts: i.Attempts,
		Verdict: verdictOf(i.Verdict), Headline: i.Headline, Cause: i.Cause, Issues: i.Issues, QueuedAt: i.QueuedAt.UTC(),
		StartedAt: utc(i.StartedAt), FinishedAt: utc(i.FinishedAt), Engine: i.Engine, Pictures: []api.Picture{},
	}
	if len(i.EvidenceSHA256) > 0 {
		digest := hex.EncodeToString(i.EvidenceSHA256)
		out.EvidenceSha256 = &digest
	}
	for _, o := range objects {
		if o.Name == evidenceName {
			continue
		}
		out.Pictures = append(out.Pictures, api.Picture{
			Name: o.Name, What: o.What, Sha256: hex.EncodeToString(o.SHA256), Bytes: o.Size, MediaType: o.MediaType,
			Url: "/v1/inspections/" + i.ID.String() + "/pictures/" + url.PathEscape(o.Name),
		})
	}
	return out
}

func findingOf(f ledger.Finding) api.Finding {
	return api.Finding{
		Ord: f.Ord, Check: f.Check, Part: optional(f.Part), Set: optional(f.Set), Lod: f.LOD, Tile: f.Tile, Pose: optional(f.Pose), File: optional(f.File),
		Outcome: api.FindingOutcome(f.Outcome), Blocks: f.Blocks, FollowsFrom: optional(f.FollowsFrom), Measured: f.Measured, Unit: optional(f.Unit),
		LimitKey: optional(f.LimitKey), Limit: f.Limit,
	}
}

func concessionOf(c ledger.Concession) api.Concession {
	return api.Concession{Id: c.ID, InspectionId: c.Inspection, Ord: c.Ord, Check: c.Check, Reason: c.Reason, By: c.ByName, At: c.At.UTC(), PermissionId: c.Permission}
}

func noteOf(n ledger.Note, who ledger.Who) api.Note {
	by := n.ByName
	if n.Side == ledger.VendorSide && who.Side != ledger.VendorSide {
		by = ""
	}
	return api.Note{Id: n.ID, Side: api.Side(n.Side), By: by, Text: n.Text, Private: n.Private, At: n.At.UTC(),
		Pin: pinOf(n.Pin), Sketch: sketchOf(n.Sketch), ReplyTo: n.ReplyTo, Resolved: n.Resolved, ResolvedIn: n.ResolvedIn, ResolvedAt: utc(n.ResolvedAt)}
}

func signOffOf(s ledger.SignOff) api.SignOff {
	out := api.SignOff{
		Id: s.ID, InspectionId: idOrNil(s.Inspection), Decision: api.Decision(s.Decision), Reason: s.Reason, By: s.ByName, At: s.At.UTC(), EffectiveAt: utc(s.EffectiveAt),
	}
	if s.Cause != "" {
		cause := api.Cause(s.Cause)
		out.Cause = &cause
	}
	if s.Payable != nil {
		p := payableOf(*s.Payable)
		out.Payable = &p
	}
	return out
}

func payableOf(p ledger.Payable) api.Payable {
	return api.Payable{
		Id: p.ID, Kind: api.PayableKind(p.Kind), WorkOrderId: p.WorkOrderID, WorkOrder: p.OrderCode, VendorId: p.VendorID, Vendor: p.VendorName, PropId: p.PropID, PropCode: p.PropCode, MilestoneId: p.MilestoneID,
		MilestoneKind: api.MilestoneKind(p.Milestone), Amount: money(p.AmountMinor, p.Currency), At: p.At.UTC(),
	}
}

func receiptOf(r ledger.Receipt) api.Receipt {
	out := api.Receipt{
		Format: r.Format, Log: r.Log, Index: r.Index, Kind: r.Kind, Body: r.Body, LeafHash: r.LeafHash, Size: r.Size, Root: r.Root,
		Proof: r.Proof, Checkpoint: optional(r.Checkpoint),
	}
	if out.Proof == nil {
		out.Proof = []string{}
	}
	if a := r.Anchor; a != nil {
		out.Anchor = &api.Anchor{Size: a.Size, Root: a.Root, Blind: a.Blind, HouseIndex: a.HouseIndex, HouseProof: a.HouseProof}
	}
	return out
}

func eventOf(f ledger.Fact) api.Event {
	return api.Event{Index: f.Index, Kind: f.Kind, SubjectId: f.Subject, At: f.At.UTC()}
}

func pageOf(after *string, limit *int) ledger.Page {
	p := ledger.Page{}
	if after != nil {
		p.After = *after
	}
	if limit != nil {
		p.Limit = *limit
	}
	return p
}
