package demo

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"proofhouse/internal/client"
)

// calendar says by which days the studio works; the orders pin it.
func (p *Play) calendar(ctx context.Context) error {
	s, err := p.as(ctx, FirstEmail)
	if err != nil {
		return err
	}
	r, err := s.SetCalendarWithResponse(ctx, &client.SetCalendarParams{IdempotencyKey: "demo-calendar"}, client.NewCalendar{TimeZone: "Europe/Oslo", Workdays: []int{1, 2, 3, 4, 5}})
	if err != nil {
		return fmt.Errorf("set the calendar: %w", err)
	}
	if r.JSON201 == nil {
		return client.Refusal("set the calendar", r.HTTPResponse, r.ApplicationproblemJSONDefault)
	}
	return nil
}

// talk is what the two sides have to say to each other beside deliveries: a question that is answered and one that blocks,
// a change with its price, a permit that is asked for, and a hand-over of what is accepted so far.
func (p *Play) talk(ctx context.Context) error {
	studio, err := p.as(ctx, FirstEmail)
	if err != nil {
		return err
	}
	quay := orders[0]
	vendor := p.lead(quay.vendor)
	found := map[string]client.Prop{}
	order := p.orders[quay.code]
	props, err := studio.ListPropsWithResponse(ctx, order, nil)
	if err != nil {
		return fmt.Errorf("list the props: %w", err)
	}
	if props.JSON200 == nil {
		return client.Refusal("list the props", props.HTTPResponse, props.ApplicationproblemJSONDefault)
	}
	for _, one := range props.JSON200.Items {
		found[one.Code] = one
	}
	if err := p.ask(ctx, studio, vendor, found["ladder"].Id); err != nil {
		return err
	}
	return p.bargain(ctx, studio, vendor, order, found)
}

func (p *Play) ask(ctx context.Context, studio, vendor *client.Service, ladder uuid.UUID) error {
	blocks := true
	for _, q := range []struct{ key, text, answer string }{
		{"rungs", "Do the rungs flare where they meet the rail, as on the concept, or stay round as in the scale drawing?", "As on the concept: they flare."},
		{"weed", "How far up does the weed grow? The tide mark is missing on the drawing.", ""},
	} {
		r, err := vendor.AskQuestionWithResponse(ctx, ladder, &client.AskQuestionParams{IdempotencyKey: "demo-question-" + q.key}, client.NewQuestion{Text: q.text, Blocks: &blocks})
		if err != nil {
			return fmt.Errorf("ask about the ladder: %w", err)
		}
		if r.JSON201 == nil {
			return client.Refusal("ask about the ladder", r.HTTPResponse, r.ApplicationproblemJSONDefault)
		}
		if q.answer == "" {
			continue
		}
		a, err := studio.ReplyToQuestionWithResponse(ctx, r.JSON201.Id, &client.ReplyToQuestionParams{IdempotencyKey: "demo-answer-" + q.key},
			client.NewReply{Event: client.NewReplyEventAnswer, Text: &q.answer})
		if err != nil {
			return fmt.Errorf("answer: %w", err)
		}
		if a.JSON200 == nil {
			return client.Refusal("answer", a.HTTPResponse, a.ApplicationproblemJSONDefault)
		}
	}
	return nil
}

func (p *Play) bargain(ctx context.Context, studio, vendor *client.Service, order uuid.UUID, props map[string]client.Prop) error {
	lantern := props["lantern"]
	change, err := studio.OfferChangeWithResponse(ctx, lantern.Milestones[len(lantern.Milestones)-1].Id, &client.OfferChangeParams{IdempotencyKey: "demo-change"}, client.NewChangeOrder{
		Title: "A second bracket", Reason: "The lantern hangs on a corner now.", Price: client.Money{AmountMinor: 9_000, Currency: "EUR"},
	})
	if err != nil {
		return fmt.Errorf("offer a change: %w", err)
	}
	if change.JSON201 == nil {
		return client.Refusal("offer a change", change.HTTPResponse, change.ApplicationproblemJSONDefault)
	}
	ladder, worst := props["ladder"].Id, 14.0
	permit, err := vendor.PermitWithResponse(ctx, order, &client.PermitParams{IdempotencyKey: "demo-permit"}, client.NewPermission{
		Kind: client.PermissionKindPermit, PropId: &ladder, Check: "surface.deviation", Worst: &worst, Reason: "Rust has eaten the rungs; they are to look uneven.",
	})
	if err != nil {
		return fmt.Errorf("ask for a permit: %w", err)
	}
	if permit.JSON201 == nil {
		return client.Refusal("ask for a permit", permit.HTTPResponse, permit.ApplicationproblemJSONDefault)
	}
	handed, err := studio.HandOverWithResponse(ctx, order, &client.HandOverParams{IdempotencyKey: "demo-handover"}, client.NewHandover{Pattern: "harbour/{prop}/{name}{ext}"})
	if err != nil {
		return fmt.Errorf("hand over: %w", err)
	}
	if handed.JSON201 == nil {
		return client.Refusal("hand over", handed.HTTPResponse, handed.ApplicationproblemJSONDefault)
	}
	return nil
}
