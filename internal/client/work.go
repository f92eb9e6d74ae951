package client

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
)

// patience is how long Await goes on asking a service that does not answer.
const patience = 2 * time.Minute

// Await waits until a delivery's inspection is done and returns the delivery. It asks on while the service is out of
// reach, for patience.
func (s *Service) Await(ctx context.Context, delivery uuid.UUID) (*Delivery, error) {
	pause, heard := 150*time.Millisecond, time.Now()
	for {
		got, err := s.GetDeliveryWithResponse(ctx, delivery)
		switch {
		case err != nil && (ctx.Err() != nil || time.Since(heard) > patience):
			return nil, fmt.Errorf("ask for the inspection: %w", err)
		case err != nil: // ask again
		case got.JSON200 == nil && got.StatusCode() < 500:
			return nil, Refusal("ask for the inspection", got.HTTPResponse, got.ApplicationproblemJSONDefault)
		case got.JSON200 == nil && time.Since(heard) > patience:
			return nil, Refusal("ask for the inspection", got.HTTPResponse, got.ApplicationproblemJSONDefault)
		case got.JSON200 != nil:
			heard = time.Now()
			if i := got.JSON200.Inspection; i != nil && i.State == "done" {
				return got.JSON200, nil
			}
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(pause):
		}
		pause = min(pause*3/2, 2*time.Second)
	}
}

// Work is the caller's open work, on whatever desk.
func (s *Service) Work(ctx context.Context) (work []WorkItem, err error) {
	all := ListMyWorkParamsDeskAll
	var after *string
	for {
		page, err := s.ListMyWorkWithResponse(ctx, &ListMyWorkParams{Desk: &all, After: after})
		if err != nil {
			return nil, fmt.Errorf("ask for open work: %w", err)
		}
		if page.JSON200 == nil {
			return nil, Refusal("ask for open work", page.HTTPResponse, page.ApplicationproblemJSONDefault)
		}
		work = append(work, page.JSON200.Items...)
		if after = page.JSON200.Next; after == nil {
			return work, nil
		}
	}
}

// FindMilestone finds the milestone of a prop among work: of this kind, or where kind is "", the one that lies on the
// vendor's desk, and where none does, the one that was delivered last and is not decided. order is the code of the work
// order; "" for any.
func FindMilestone(work []WorkItem, order, prop, kind string) (*WorkItem, error) {
	var seen, candidates, delivered []WorkItem
	for _, w := range work {
		switch {
		case w.PropCode != prop || order != "" && w.WorkOrder != order:
			seen = append(seen, w)
		case kind == "" && w.Milestone.Desk == DeskVendor, kind == string(w.Milestone.Kind):
			candidates = append(candidates, w)
		case kind == "" && w.Milestone.Delivery != nil && w.Milestone.Desk != DeskNone:
			delivered = append(delivered, w)
		default:
			seen = append([]WorkItem{w}, seen...)
		}
	}
	if len(candidates) == 0 {
		candidates = delivered
	}
	return choose(prop, kind, candidates, seen)
}

// FindProp finds a prop among work by its code; order is the code of its work order, "" for any.
func FindProp(work []WorkItem, order, prop string) (*WorkItem, error) {
	var found []WorkItem
	for _, w := range work {
		if w.PropCode == prop && (order == "" || w.WorkOrder == order) && !slices.ContainsFunc(found, func(f WorkItem) bool { return f.PropId == w.PropId }) {
			found = append(found, w)
		}
	}
	switch {
	case len(found) == 1:
		return &found[0], nil
	case len(found) > 1:
		return nil, &Unclear{What: SeveralOrders, Prop: prop, Among: found}
	}
	return nil, &Unclear{What: NoSuchWork, Prop: prop, Among: work}
}

func choose(prop, kind string, candidates, seen []WorkItem) (*WorkItem, error) {
	switch {
	case len(candidates) == 1:
		return &candidates[0], nil
	case len(candidates) == 0:
		return nil, &Unclear{What: NoSuchWork, Prop: prop, Kind: kind, Among: seen}
	}
	for _, c := range candidates {
		if c.PropId != candidates[0].PropId {
			return nil, &Unclear{What: SeveralOrders, Prop: prop, Kind: kind, Among: candidates}
		}
	}
	return nil, &Unclear{What: SeveralMilestones, Prop: prop, Kind: kind, Among: candidates}
}

// What makes it unclear which work is meant.
const (
	NoSuchWork        = "none"
	SeveralMilestones = "milestones"
	SeveralOrders     = "orders"
)

// Unclear says that what was asked for is not in the caller's work, or more than once.
type Unclear struct {
	What       string
	Prop, Kind string // codes; Kind is "" where any milestone would do
	Among      []WorkItem
}

func (e *Unclear) Error() string {
	what := "a prop " + e.Prop
	if e.Kind != "" {
		what = "the milestone " + e.Kind + " of " + what
	}
	return fmt.Sprintf("%s: %s among %d in your work", what, e.What, len(e.Among))
}

// AbandonOpen gives up the delivery of a milestone that is under way and not sealed, if there is one.
func (s *Service) AbandonOpen(ctx context.Context, milestone uuid.UUID) error {
	open := DeliveryStateOpen
	page, err := s.ListDeliveriesWithResponse(ctx, &ListDeliveriesParams{MilestoneId: &milestone, State: &open})
	if err != nil {
		return fmt.Errorf("ask for deliveries under way: %w", err)
	}
	if page.JSON200 == nil {
		return Refusal("ask for deliveries under way", page.HTTPResponse, page.ApplicationproblemJSONDefault)
	}
	for _, d := range page.JSON200.Items {
		gone, err := s.AbandonDeliveryWithResponse(ctx, d.Id, &AbandonDeliveryParams{IdempotencyKey: "abandon-" + d.Id.String()})
		if err != nil {
			return fmt.Errorf("give up delivery %d: %w", d.Number, err)
		}
		if gone.JSON200 == nil {
			return Refusal("give up the delivery that is under way", gone.HTTPResponse, gone.ApplicationproblemJSONDefault)
		}
	}
	return nil
}
