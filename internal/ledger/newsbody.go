package ledger

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// NewsBody is what programs and streams are sent of one act: ids to read more with, and codes. No price, no person, no
// other vendor; of an order with a codename, or of a secret one, neither its own code nor its props'. The field names are
// the interface's (openapi/proofhouse.yaml, News).
type NewsBody struct {
	Type      string    `json:"type"`
	Timestamp string    `json:"timestamp"` // RFC 3339 in UTC, of the act
	Data      NewsAbout `json:"data"`
}

// NewsAbout is what news are about. Ids that do not apply are left out.
type NewsAbout struct {
	Actor           Actor      `json:"actor"`
	WorkOrderID     *uuid.UUID `json:"work_order_id,omitempty"`
	WorkOrder       string     `json:"work_order,omitempty"` // its code, or its codename
	PropID          *uuid.UUID `json:"prop_id,omitempty"`
	Prop            string     `json:"prop,omitempty"` // its code, or "#3": the third of its order
	MilestoneID     *uuid.UUID `json:"milestone_id,omitempty"`
	Milestone       string     `json:"milestone,omitempty"` // its kind
	DeliveryID      *uuid.UUID `json:"delivery_id,omitempty"`
	Delivery        int        `json:"delivery,omitempty"` // its number
	InspectionID    *uuid.UUID `json:"inspection_id,omitempty"`
	SpecID          *uuid.UUID `json:"spec_id,omitempty"`
	QuestionID      *uuid.UUID `json:"question_id,omitempty"`
	PermissionID    *uuid.UUID `json:"permission_id,omitempty"`
	ChangeOrderID   *uuid.UUID `json:"change_order_id,omitempty"`
	BatchID         *uuid.UUID `json:"batch_id,omitempty"`
	ReferencePackID *uuid.UUID `json:"reference_pack_id,omitempty"`
	HandoverID      *uuid.UUID `json:"handover_id,omitempty"`
	Decision        Decision   `json:"decision,omitempty"`
	State           string     `json:"state,omitempty"`        // of a change order that was decided
	EffectiveAt     string     `json:"effective_at,omitempty"` // when silence accepts, or accepted
	DueOn           string     `json:"due_on,omitempty"`
	LogID           *uuid.UUID `json:"log_id,omitempty"`
	LogIndex        *int64     `json:"log_index,omitempty"` // of the act's leaf; none where the passing of time is the news
}

// newsItem is one act as one party is told of it.
type newsItem struct {
	party   uuid.UUID
	seq     int64 // in its feed, once published
	side    Side
	kind    string
	subject uuid.UUID
	at      time.Time
	actor   Actor
	member  *uuid.UUID // who did it: they are not mailed about it
	sender  []uuid.UUID
	about   NewsAbout
	body    []byte
}

// places is what leaves of one log point at, read in a few statements for all of them.
type places struct {
	deliveries map[uuid.UUID]placeDelivery
	milestones map[uuid.UUID]placeMilestone
	props      map[uuid.UUID]placeProp
	others     map[uuid.UUID]uuid.UUID // permission to prop, payment hold to milestone
	orders     map[uuid.UUID]placeOrder
}

type (
	placeDelivery struct {
		ID, Milestone, Prop, Order, OpenedBy uuid.UUID
		SealedBy                             *uuid.UUID
		Number                               int
	}
	placeMilestone struct {
		ID, Prop, Order uuid.UUID
		Kind            string
	}
	placeProp struct {
		ID, Order uuid.UUID
		Code      string
		Place     int // in its order, from 1
	}
	placeOrder struct {
		ID, Vendor     uuid.UUID
		Code, Codename string
		Secret         bool
	}
)

// newsOf makes what each party of a log is told of its leaves: the studio, and the vendor where the log is shared.
func (tx *Tx) newsOf(ctx context.Context, ref logRef, vendor *uuid.UUID, leaves []newsLeaf) ([]newsItem, error) {
	at, err := tx.placesOf(ctx, ref, leaves)
	if err != nil {
		return nil, err
	}
	var items []newsItem
	for _, l := range leaves {
		kind := kindOf(l.Kind, l.Data)
		if l.Kind == NewsDueSoon {
			kind = NewsDueSoon
		}
		if kind == "" {
			continue
		}
		item := newsItem{party: ref.Studio, side: StudioSide, kind: kind, at: l.At, actor: l.Actor, member: l.Member}
		item.about = at.about(ref, l)
		if d, ok := at.deliveries[deref(item.about.DeliveryID)]; ok {
			item.sender = append(item.sender, d.OpenedBy, deref(d.SealedBy))
		}
		for _, id := range []*uuid.UUID{item.about.PropID, item.about.WorkOrderID, &ref.Log} {
			if id != nil {
				item.subject = *id
				break
			}
		}
		if item.body, err = json.Marshal(NewsBody{Type: kind, Timestamp: stamp(l.At), Data: item.about}); err != nil {
			return nil, fmt.Errorf("news of %s: %w", l.Kind, err)
		}
		items = append(items, item)
		if vendor != nil {
			item.party, item.side = *vendor, VendorSide
			items = append(items, item)
		}
	}
	return items, nil
}

// about is what one leaf is about, from what it names up to its order.
func (p places) about(ref logRef, l newsLeaf) NewsAbout {
	d := l.Data
	a := NewsAbout{Actor: l.Actor, Decision: d.Decision, EffectiveAt: d.EffectiveAt, DueOn: d.DueOn,
		DeliveryID: idOrNull(d.Delivery), MilestoneID: idOrNull(d.Milestone), PropID: idOrNull(d.Prop), InspectionID: idOrNull(d.Inspection),
		SpecID: idOrNull(d.SpecRevision), QuestionID: idOrNull(d.Question), PermissionID: idOrNull(d.Permission), WorkOrderID: idOrNull(d.WorkOrder)}
	if l.Index >= 0 {
		a.LogID, a.LogIndex = &ref.Log, ptr(l.Index)
	}
	subject := ptr(l.Subject)
	switch l.Kind {
	case FactPropOrdered:
		a.PropID = subject
	case FactDeliverySealed, FactDeliveryAbandoned:
		a.DeliveryID = subject
	case FactInspectionRequested, FactInspectionRecorded:
		a.InspectionID = subject
	case FactSpecRevised:
		a.SpecID = subject
	case FactChangeOffered, FactChangeDecided:
		a.ChangeOrderID, a.State = subject, d.State
	case FactPermissionBegun:
		a.PermissionID = subject
	case FactBatchSealed:
		a.BatchID = subject
	case FactReferencesGiven:
		a.ReferencePackID = subject
	case FactHandover:
		a.HandoverID = subject
	case FactPaymentHoldEnded:
		a.MilestoneID = idOrNull(p.others[d.Hold])
	}
	if id, ok := p.others[deref(a.PermissionID)]; ok && a.PropID == nil {
		a.PropID = idOrNull(id)
	}
	if one, ok := p.deliveries[deref(a.DeliveryID)]; ok {
		a.Delivery, a.MilestoneID, a.PropID = one.Number, &one.Milestone, &one.Prop
	}
	if one, ok := p.milestones[deref(a.MilestoneID)]; ok {
		a.Milestone, a.PropID = one.Kind, &one.Prop
	}
	prop, hasProp := p.props[deref(a.PropID)]
	if hasProp {
		a.WorkOrderID = &prop.Order
	}
	if _, shared := p.orders[ref.Log]; shared {
		a.WorkOrderID = &ref.Log
	}
	order := p.orders[deref(a.WorkOrderID)]
	a.WorkOrder = order.name()
	if hasProp {
		a.Prop = prop.name(order)
	}
	return a
}

// hidden says whether an order is known outside by another name only.
func (o placeOrder) hidden() bool { return o.Codename != "" || o.Secret }

// name is what outsiders' eyes may see of an order: mails pass many hands.
func (o placeOrder) name() string {
	switch {
	case o.Codename != "":
		return o.Codename
	case o.Secret:
		return "#" + o.ID.String()[24:] // the random end of its id
	}
	return o.Code
}

func (p placeProp) name(o placeOrder) string {
	if o.hidden() {
		return fmt.Sprintf("#%d", p.Place)
	}
	return p.Code
}

func (tx *Tx) placesOf(ctx context.Context, ref logRef, leaves []newsLeaf) (p places, err error) {
	var ids, orders []uuid.UUID
	for _, l := range leaves {
		d := l.Data
		for _, id := range []uuid.UUID{l.Subject, d.Delivery, d.Milestone, d.Prop, d.Permission, d.Hold} {
			if id != uuid.Nil {
				ids = append(ids, id)
			}
		}
		orders = append(orders, d.WorkOrder)
	}
	if p.others, err = tx.otherPlaces(ctx, ref.Studio, ids); err != nil {
		return p, err
	}
	for _, id := range p.others {
		ids = append(ids, id)
	}
	if p.deliveries, err = placesBy(ctx, tx, `SELECT id, milestone_id, prop_id, work_order_id, opened_by, sealed_by, number FROM ph.delivery
		WHERE studio_id = $1 AND id = ANY ($2)`, ref.Studio, ids, func(d placeDelivery) uuid.UUID { return d.ID }); err != nil {
		return p, err
	}
	for _, d := range p.deliveries {
		ids = append(ids, d.Milestone)
	}
	if p.milestones, err = placesBy(ctx, tx, `SELECT id, prop_id, work_order_id, kind FROM ph.milestone WHERE studio_id = $1 AND id = ANY ($2)`, ref.Studio, ids,
		func(m placeMilestone) uuid.UUID { return m.ID }); err != nil {
		return p, err
	}
	for _, m := range p.milestones {
		ids = append(ids, m.Prop)
	}
	// A prop's place in its order is counted only where it is named by it.
	if p.props, err = placesBy(ctx, tx, `SELECT p.id, p.work_order_id, p.code, CASE WHEN w.codename <> '' OR w.nda_required THEN
			(SELECT count(*) FROM ph.prop o WHERE o.studio_id = p.studio_id AND o.work_order_id = p.work_order_id AND o.id <= p.id) ELSE 0 END
		FROM ph.prop p JOIN ph.work_order w ON w.studio_id = p.studio_id AND w.id = p.work_order_id WHERE p.studio_id = $1 AND p.id = ANY ($2)`, ref.Studio, ids, func(p placeProp) uuid.UUID { return p.ID }); err != nil {
		return p, err
	}
	for _, one := range p.props {
		orders = append(orders, one.Order)
	}
	p.orders, err = placesBy(ctx, tx, `SELECT id, vendor_id, code, codename, nda_required FROM ph.work_order WHERE studio_id = $1 AND id = ANY ($2)`, ref.Studio,
		append(orders, ref.Log), func(o placeOrder) uuid.UUID { return o.ID })
	return p, err
}

func placesBy[T any](ctx context.Context, tx *Tx, query string, studio uuid.UUID, ids []uuid.UUID, key func(T) uuid.UUID) (map[uuid.UUID]T, error) {
	rows, err := tx.Query(ctx, query, studio, ids)
	if err != nil {
		return nil, fmt.Errorf("what news are about: %w", err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[T])
	if err != nil {
		return nil, fmt.Errorf("what news are about: %w", err)
	}
	out := make(map[uuid.UUID]T, len(list))
	for _, one := range list {
		out[key(one)] = one
	}
	return out, nil
}

// otherPlaces is the prop of a permission and the milestone of a payment that was held.
func (tx *Tx) otherPlaces(ctx context.Context, studio uuid.UUID, ids []uuid.UUID) (map[uuid.UUID]uuid.UUID, error) {
	type pair struct{ ID, At uuid.UUID }
	pairs, err := placesBy(ctx, tx, `SELECT id, prop_id FROM ph.permission WHERE studio_id = $1 AND id = ANY ($2) AND prop_id IS NOT NULL
		UNION ALL SELECT id, milestone_id FROM ph.payment_hold WHERE studio_id = $1 AND id = ANY ($2)`, studio, ids, func(p pair) uuid.UUID { return p.ID })
	if err != nil {
		return nil, err
	}
	out := make(map[uuid.UUID]uuid.UUID, len(pairs))
	for id, p := range pairs {
		out[id] = p.At
	}
	return out, nil
}

func ptr[T any](v T) *T { return &v }

func sortedKeys[T any](m map[uuid.UUID]T) []uuid.UUID {
	keys := make([]uuid.UUID, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b uuid.UUID) int { return bytes.Compare(a[:], b[:]) })
	return keys
}
