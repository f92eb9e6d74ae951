package client

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"github.com/google/uuid"
)

// SpecInForce is the spec that judges a prop's deliveries now, with its document.
func (s *Service) SpecInForce(ctx context.Context, prop uuid.UUID) (*Spec, *Prop, error) {
	p, err := s.GetPropWithResponse(ctx, prop)
	if err != nil {
		return nil, nil, fmt.Errorf("ask for the prop: %w", err)
	}
	if p.JSON200 == nil {
		return nil, nil, Refusal("ask for the prop", p.HTTPResponse, p.ApplicationproblemJSONDefault)
	}
	if p.JSON200.SpecInForceId == nil {
		return nil, nil, fmt.Errorf("the prop %s has no spec yet; the studio has to publish one first", p.JSON200.Code)
	}
	got, err := s.spec(ctx, *p.JSON200.SpecInForceId)
	return got, p.JSON200, err
}

func (s *Service) spec(ctx context.Context, id uuid.UUID) (*Spec, error) {
	got, err := s.GetSpecWithResponse(ctx, id)
	if err != nil {
		return nil, fmt.Errorf("ask for the spec: %w", err)
	}
	if got.JSON200 == nil || got.JSON200.Document == nil {
		return nil, Refusal("ask for the spec", got.HTTPResponse, got.ApplicationproblemJSONDefault)
	}
	return got.JSON200, nil
}

// SpecExtended is the document that a spec of a work order extends: a revision of a prop's, or where revision is 0, the one whose
// bytes have this SHA-256 in hex.
func (s *Service) SpecExtended(ctx context.Context, order uuid.UUID, code string, revision int, digest string) ([]byte, error) {
	prop, err := s.propOf(ctx, order, code)
	if err != nil {
		return nil, err
	}
	list, err := s.ListSpecsWithResponse(ctx, prop, nil)
	if err != nil {
		return nil, fmt.Errorf("ask for the specs of %s: %w", code, err)
	}
	if list.JSON200 == nil {
		return nil, Refusal("ask for the specs of "+code, list.HTTPResponse, list.ApplicationproblemJSONDefault)
	}
	for _, one := range list.JSON200.Items {
		if revision > 0 && one.Number != revision {
			continue
		}
		got, err := s.spec(ctx, one.Id)
		if err != nil {
			return nil, err
		}
		document := []byte(*got.Document)
		if sum := sha256.Sum256(document); revision > 0 || hex.EncodeToString(sum[:]) == digest {
			return document, nil
		}
	}
	return nil, fmt.Errorf("the order has no such spec of %s", code)
}

// propOf finds a prop of a work order by its code.
func (s *Service) propOf(ctx context.Context, order uuid.UUID, code string) (uuid.UUID, error) {
	var after *string
	for {
		page, err := s.ListPropsWithResponse(ctx, order, &ListPropsParams{After: after})
		if err != nil {
			return uuid.Nil, fmt.Errorf("ask for the order's props: %w", err)
		}
		if page.JSON200 == nil {
			return uuid.Nil, Refusal("ask for the order's props", page.HTTPResponse, page.ApplicationproblemJSONDefault)
		}
		for _, p := range page.JSON200.Items {
			if p.Code == code {
				return p.Id, nil
			}
		}
		if after = page.JSON200.Next; after == nil {
			return uuid.Nil, fmt.Errorf("the order has no prop %s", code)
		}
	}
}
