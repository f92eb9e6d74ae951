package demo

import (
	"context"
	"fmt"
	"strings"

	"github.com/google/uuid"

	"proofhouse/internal/client"
)

// director is who decides for the studio.
func (p *Play) director() *client.Service { return p.callers[people[0].email] }

func (p *Play) decide(ctx context.Context, delivery uuid.UUID, r round) error {
	d, err := p.director().SignOffWithResponse(ctx, delivery, &client.SignOffParams{IdempotencyKey: "demo-decide-" + delivery.String()},
		client.NewSignOff{Decision: client.Decision(r.decide), Reason: &r.reason})
	if err != nil {
		return fmt.Errorf("decide: %w", err)
	}
	if d.JSON201 == nil {
		return client.Refusal("decide", d.HTTPResponse, d.ApplicationproblemJSONDefault)
	}
	return nil
}

// pin leaves the art director's note at a place of the game mesh.
func (p *Play) pin(ctx context.Context, d *client.Delivery, at pin) error {
	note := client.NewNote{Text: at.text}
	for _, f := range d.Files {
		if f.Role == "game" {
			note.Pin = &client.Pin{FileId: f.Id, Part: &at.part, PositionMm: at.at, Normal: &at.normal}
		}
	}
	r, err := p.director().AddNoteWithResponse(ctx, d.Id, &client.AddNoteParams{IdempotencyKey: "demo-pin-" + d.Id.String()}, note)
	if err != nil {
		return fmt.Errorf("pin a note: %w", err)
	}
	if r.JSON201 == nil {
		return client.Refusal("pin a note", r.HTTPResponse, r.ApplicationproblemJSONDefault)
	}
	return nil
}

// concede lets the blocking findings of a round's check be.
func (p *Play) concede(ctx context.Context, d *client.Delivery, r round) error {
	if r.concede == "" {
		return nil
	}
	found, err := p.director().ListFindingsWithResponse(ctx, d.Inspection.Id, nil)
	if err != nil {
		return err
	}
	if found.JSON200 == nil {
		return client.Refusal("read the findings", found.HTTPResponse, found.ApplicationproblemJSONDefault)
	}
	for _, f := range found.JSON200.Items {
		if f.Check != r.concede || !f.Blocks || f.Outcome != "fail" {
			continue
		}
		c, err := p.director().GrantConcessionWithResponse(ctx, d.Inspection.Id, &client.GrantConcessionParams{IdempotencyKey: strings.Join([]string{"demo-concede", d.Id.String(), fmt.Sprint(f.Ord)}, "-")},
			client.NewConcession{Ord: f.Ord, Reason: r.reason})
		if err != nil {
			return err
		}
		if c.JSON201 == nil {
			return client.Refusal("concede", c.HTTPResponse, c.ApplicationproblemJSONDefault)
		}
	}
	return nil
}
