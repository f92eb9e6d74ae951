package client

import (
	"context"
	"fmt"
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

// FindMilestone finds the milestone of a prop among the caller's work: of this kind, or where kind is "", the one that
// lies on the vendor's desk, and where none does, the one that was delivered last and is not decided.
func (s *Service) FindMilestone(ctx context.Context, prop, kind string) (*WorkItem, error) {
	all := ListMyWorkParamsDeskAll
	var after *string
	var seen, candidates, delivered []WorkItem
	for {
		page, err := s.ListMyWorkWithResponse(ctx, &ListMyWorkParams{Desk: &all, After: after})
		if err != nil {
			return nil, fmt.Errorf("ask for open work: %w", err)
		}
		if page.JSON200 == nil {
			return nil, Refusal("ask for open work", page.HTTPResponse, page.ApplicationproblemJSONDefault)
		}
		for _, w := range page.JSON200.Items {
			switch {
			case w.PropCode != prop:
				seen = append(seen, w)
			case kind == "" && w.Milestone.Desk == DeskVendor, kind == string(w.Milestone.Kind):
				candidates = append(candidates, w)
			case kind == "" && w.Milestone.Delivery != nil && w.Milestone.Desk != DeskNone:
				delivered = append(delivered, w)
			default:
				seen = append([]WorkItem{w}, seen...)
			}
		}
		if after = page.JSON200.Next; after == nil {
			if len(candidates) == 0 {
				candidates = delivered
			}
			return choose(prop, kind, candidates, seen)
		}
	}
}

func choose(prop, kind string, candidates, seen []WorkItem) (*WorkItem, error) {
	what := "milestone " + kind
	if kind == "" {
		what = "milestone to deliver"
	}
	switch {
	case len(candidates) == 1:
		return &candidates[0], nil
	case len(candidates) > 1 && kind == "":
		return nil, fmt.Errorf("the prop %s has more than one milestone to deliver: %s; say which with --milestone", prop, list(candidates))
	case len(candidates) > 1:
		return nil, fmt.Errorf("more than one order has the %s of a prop %s: %s", what, prop, list(candidates))
	}
	return nil, fmt.Errorf("there is no %s of a prop %s in your work; there is %s", what, prop, list(seen))
}

func list(work []WorkItem) string {
	const most = 8
	if len(work) == 0 {
		return "nothing"
	}
	out := ""
	for i, w := range work {
		if i == most {
			return out + ", …"
		}
		if i > 0 {
			out += ", "
		}
		out += fmt.Sprintf("%s %s of order %s (%s)", w.PropCode, w.Milestone.Kind, w.WorkOrder, w.Milestone.State)
	}
	return out
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
