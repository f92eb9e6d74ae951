package client

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"

	"github.com/google/uuid"
)

// Together is one delivery of a batch.
type Together struct {
	Milestone uuid.UUID
	Note      string
	Files     []LocalFile
}

// DeliverTogether opens a delivery for each of all, sends their files and seals them at once, or none. It may be called
// again with the same files and title after any break, here or on the service's page: what has arrived is not sent again.
func (s *Service) DeliverTogether(ctx context.Context, order uuid.UUID, title string, all []Together, progress Progress) (*Batch, error) {
	if progress == nil {
		progress = func(string, int64, int64) {}
	}
	body, key, total, err := describeBatch(ctx, order, title, all, progress)
	if err != nil {
		return nil, err
	}
	opened, err := s.OpenBatchWithResponse(ctx, order, &OpenBatchParams{IdempotencyKey: "batch-" + key}, body)
	if err != nil {
		return nil, fmt.Errorf("open the batch: %w", err)
	}
	if opened.JSON201 == nil {
		return nil, Refusal("open the batch", opened.HTTPResponse, opened.ApplicationproblemJSONDefault)
	}
	var before int64
	for _, one := range all {
		bytes, err := s.sendPart(ctx, opened.JSON201, one, func(doing string, done, _ int64) { progress(doing, before+done, total) })
		if err != nil {
			return nil, err
		}
		before += bytes
	}
	sealed, err := s.SealBatchWithResponse(ctx, opened.JSON201.Id, &SealBatchParams{IdempotencyKey: "seal-" + key})
	if err != nil {
		return nil, fmt.Errorf("seal the batch: %w", err)
	}
	if sealed.JSON200 == nil {
		return nil, Refusal("seal the batch", sealed.HTTPResponse, sealed.ApplicationproblemJSONDefault)
	}
	return sealed.JSON200, nil
}

// sendPart sends what a delivery of an open batch still wants, and returns its whole size.
func (s *Service) sendPart(ctx context.Context, b *Batch, one Together, progress Progress) (bytes int64, err error) {
	for _, d := range b.Deliveries {
		if d.MilestoneId != one.Milestone {
			continue
		}
		switch d.State {
		case DeliveryStateSealed:
			return d.Bytes, nil
		case DeliveryStateAbandoned:
			return 0, fmt.Errorf("a batch of the very same files was begun before and given up; change its title to send them again")
		}
		plan, err := s.GetUploadsWithResponse(ctx, d.Id)
		if err != nil {
			return 0, fmt.Errorf("ask what has arrived: %w", err)
		}
		if plan.JSON200 == nil {
			return 0, Refusal("ask what has arrived", plan.HTTPResponse, plan.ApplicationproblemJSONDefault)
		}
		_, err = s.upload(ctx, d.Id, *plan.JSON200, one.Files, progress)
		return d.Bytes, err
	}
	return 0, fmt.Errorf("the batch holds no delivery for one of its milestones")
}

// describeBatch hashes all files. The key is the one that the service's page makes of the same folders.
func describeBatch(ctx context.Context, order uuid.UUID, title string, all []Together, progress Progress) (body NewBatch, key string, total int64, err error) {
	body.Title = title
	sizes := make([]int64, len(all))
	for i, one := range all {
		if sizes[i], err = sizeOf(one.Files); err != nil {
			return body, "", 0, err
		}
		total += sizes[i]
	}
	var text strings.Builder
	fmt.Fprintf(&text, "%s\n%s\n", order, title)
	var before int64
	for i, one := range all {
		m, k, err := describe(ctx, one.Milestone, one.Note, one.Files, func(doing string, done, _ int64) { progress(doing, before+done, total) })
		if err != nil {
			return body, "", 0, err
		}
		before += sizes[i]
		text.WriteString(k + "\n")
		body.Deliveries = append(body.Deliveries, BatchDelivery{MilestoneId: one.Milestone, Note: m.Note, Files: m.Files})
	}
	sum := sha256.Sum256([]byte(text.String()))
	return body, hex.EncodeToString(sum[:]), total, nil
}
