package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	vegeta "github.com/tsenart/vegeta/v12/lib"
	"golang.org/x/sync/errgroup"
)

// ready is a delivery with all its bytes in the storage.
type ready struct {
	id     string
	caller *caller
}

var meshBytes = []byte("glTF: the bytes of a mesh, of which only the digest counts here")

// prepare opens n deliveries over all vendors and their orders and sends their bytes.
func prepare(ctx context.Context, conn *pgx.Conn, url string, vendors []*caller, n int) ([]ready, error) {
	var work []ready
	seen := map[uuid.UUID][]string{}
	for turn := 0; len(work) < n && turn < 4000; turn++ {
		for i, c := range vendors {
			if _, ok := seen[c.Party]; !ok {
				list, err := strings1(ctx, conn, toDeliver, c.Party)
				if err != nil {
					return nil, err
				}
				seen[c.Party] = list
			}
			list := seen[c.Party]
			if len(list) == 0 || len(work) >= n {
				continue
			}
			work, seen[c.Party] = append(work, ready{list[0], vendors[i]}), list[1:]
		}
	}
	if len(work) < n {
		return nil, fmt.Errorf("%d milestones to deliver on, where %d are to be sealed", len(work), n)
	}
	var mu sync.Mutex
	var out []ready
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(8)
	for _, w := range work {
		group.Go(func() error {
			id, err := w.caller.deliver(ctx, url, w.id)
			if err != nil {
				return err
			}
			mu.Lock()
			defer mu.Unlock()
			out = append(out, ready{id, w.caller})
			return nil
		})
	}
	return out, group.Wait()
}

// deliver opens a delivery of one small file and sends its bytes.
func (c *caller) deliver(ctx context.Context, url, milestone string) (string, error) {
	sum := sha256.Sum256(meshBytes)
	var opened struct {
		Delivery struct{ ID string }
		Plan     struct {
			Files []struct {
				Put struct {
					URL     string
					Headers map[string]string
				}
			}
		}
	}
	manifest := map[string]any{"files": []any{map[string]any{"path": "piece.glb", "role": "game", "bytes": len(meshBytes), "sha256": hex.EncodeToString(sum[:])}}}
	if err := c.do(ctx, http.MethodPost, url+"/v1/milestones/"+milestone+"/deliveries", manifest, &opened); err != nil {
		return "", err
	}
	put := opened.Plan.Files[0].Put
	r, err := http.NewRequestWithContext(ctx, http.MethodPut, put.URL, bytes.NewReader(meshBytes))
	if err != nil {
		return "", err
	}
	for k, v := range put.Headers {
		r.Header.Set(k, v)
	}
	answer, err := client.Do(r)
	if err != nil {
		return "", err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return "", fmt.Errorf("upload: %s", answer.Status)
	}
	return opened.Delivery.ID, nil
}

// seals seals prepared deliveries at a constant rate.
func seals(ctx context.Context, url string, list []ready, rate int, trace io.Writer) measured {
	next := 0
	targeter := func(out *vegeta.Target) error {
		d := list[next%len(list)]
		next++
		out.Method, out.URL, out.Header, out.Body = http.MethodPost, url+"/v1/deliveries/"+d.id+"/seal", d.caller.header(), nil
		out.Header.Set("Idempotency-Key", uuid.NewString())
		return nil
	}
	lasts := time.Duration(len(list)) * time.Second / time.Duration(rate)
	all := fire(ctx, targeter, rate, lasts, func(*vegeta.Result) string { return "POST /v1/deliveries/{delivery_id}/seal" }, trace)
	if len(all) == 0 {
		return measured{}
	}
	return all[0]
}
