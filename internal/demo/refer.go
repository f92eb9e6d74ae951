package demo

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"

	"github.com/google/uuid"

	"proofhouse/internal/client"
)

// refer draws an order's references, publishes them as a pack and lets the vendor look at them.
func (p *Play) refer(ctx context.Context, studio *client.Service, order uuid.UUID, o order) error {
	note := "What the harbour looks like, how big things are, and what they are made of."
	in := client.NewReferencePack{Note: &note}
	drawn := map[string][]byte{}
	for _, r := range o.references {
		data, err := r.draw()
		if err != nil {
			return err
		}
		sum := sha256.Sum256(data)
		drawn[r.path] = data
		in.Files = append(in.Files, client.NewReference{Path: r.path, What: r.what, Bytes: int64(len(data)), Sha256: hex.EncodeToString(sum[:])})
	}
	made, err := studio.CreateReferencesWithResponse(ctx, order, &client.CreateReferencesParams{IdempotencyKey: "demo-references-" + o.code}, in)
	if err != nil {
		return err
	}
	if made.JSON201 == nil {
		return client.Refusal("make a reference pack", made.HTTPResponse, made.ApplicationproblemJSONDefault)
	}
	pack := made.JSON201
	for _, f := range pack.Files {
		if pack.PublishedAt == nil && f.Put != nil {
			if err := putBytes(ctx, *f.Put, drawn[f.Path]); err != nil {
				return fmt.Errorf("send %s: %w", f.Path, err)
			}
		}
	}
	out, err := studio.PublishReferencesWithResponse(ctx, pack.Id, &client.PublishReferencesParams{IdempotencyKey: "demo-publish-" + o.code})
	if err != nil {
		return err
	}
	if out.JSON200 == nil {
		return client.Refusal("publish the reference pack", out.HTTPResponse, out.ApplicationproblemJSONDefault)
	}
	if !o.looked {
		return nil
	}
	vendor, err := p.asLead(ctx, o.vendor)
	if err != nil {
		return err
	}
	looked, err := vendor.AcknowledgeReferencesWithResponse(ctx, pack.Id, &client.AcknowledgeReferencesParams{IdempotencyKey: "demo-looked-" + o.code})
	if err != nil {
		return err
	}
	if looked.JSON200 == nil {
		return client.Refusal("acknowledge the reference pack", looked.HTTPResponse, looked.ApplicationproblemJSONDefault)
	}
	return nil
}

// putBytes sends a file by its link. 412 says that an earlier run sent it.
func putBytes(ctx context.Context, to client.PresignedPut, data []byte) error {
	req, err := http.NewRequestWithContext(ctx, string(to.Method), to.Url, bytes.NewReader(data))
	if err != nil {
		return err
	}
	for k, v := range to.Headers {
		req.Header.Set(k, v)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK && resp.StatusCode != http.StatusPreconditionFailed {
		return fmt.Errorf("the storage answered %d %s", resp.StatusCode, http.StatusText(resp.StatusCode))
	}
	return nil
}

// asLead is a vendor's first person.
func (p *Play) asLead(ctx context.Context, vendor string) (*client.Service, error) {
	for _, who := range people {
		if who.party == vendor {
			return p.as(ctx, who.email)
		}
	}
	return nil, fmt.Errorf("nobody leads %s", vendor)
}
