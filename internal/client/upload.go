package client

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"time"

	"github.com/google/uuid"
)

// upload sends what the plan still wants until nothing is wanted. sent counts the bytes that it sent.
func (s *Service) upload(ctx context.Context, delivery uuid.UUID, plan UploadPlan, files []LocalFile, progress Progress) (sent int64, err error) {
	local := map[string]string{}
	for _, f := range files {
		local[f.Path] = f.Abs
	}
	for round := 0; ; round++ {
		done := plan.BytesThere
		sentAny := false
		for _, f := range plan.Files {
			for _, piece := range pieces(f) {
				sentAny = true
				if err := s.put(ctx, local[f.Path], piece, func(n int64) {
					done += n
					sent += n
					if progress != nil {
						progress("sending "+f.Path, done, plan.BytesTotal)
					}
				}); err != nil {
					return sent, fmt.Errorf("send %s: %w", f.Path, err)
				}
			}
		}
		if !sentAny {
			return sent, nil
		}
		if round == maxRounds {
			return sent, fmt.Errorf("the storage still misses files after %d rounds of sending", maxRounds)
		}
		fresh, err := s.GetUploadsWithResponse(ctx, delivery)
		if err != nil {
			return sent, fmt.Errorf("ask what has arrived: %w", err)
		}
		if fresh.JSON200 == nil {
			return sent, Refusal("ask what has arrived", fresh.HTTPResponse, fresh.ApplicationproblemJSONDefault)
		}
		plan = *fresh.JSON200
	}
}

// maxRounds bounds how often missing pieces are sent anew; each round asks for fresh links first.
const maxRounds = 5

type piece struct {
	offset, bytes int64
	put           PresignedPut
}

func pieces(f FileUpload) []piece {
	if f.State == "there" {
		return nil
	}
	if f.Put != nil {
		return []piece{{0, f.Bytes, *f.Put}}
	}
	var out []piece
	for _, p := range f.Parts {
		out = append(out, piece{p.Offset, p.Bytes, p.Put})
	}
	return out
}

// put sends one piece, again after a break with growing pauses. A refusal that another try cannot mend ends it; an expired
// link counts as sent, and the next round asks for a fresh one.
func (s *Service) put(ctx context.Context, path string, p piece, sent func(int64)) error {
	in, err := os.Open(path)
	if err != nil {
		return err
	}
	defer in.Close()
	pause := 300 * time.Millisecond
	for try := 1; ; try++ {
		var n int64
		body := &counter{r: io.NewSectionReader(in, p.offset, p.bytes), read: func(k int64) { n += k; sent(k) }}
		status, err := s.putOnce(ctx, p, body)
		switch {
		case err == nil && (status == http.StatusOK || status == http.StatusPreconditionFailed || status == http.StatusForbidden):
			// 412: it is there from a try whose answer was lost. 403: the link has run out. The next plan tells.
			return nil
		case err == nil && status < 500 && status != http.StatusTooManyRequests && status != http.StatusRequestTimeout:
			return fmt.Errorf("the storage answered %d %s; the file may have changed since it was hashed", status, http.StatusText(status))
		case ctx.Err() != nil:
			return ctx.Err()
		case try == 6 && err != nil:
			return err
		case try == 6:
			return fmt.Errorf("the storage answered %d six times", status)
		}
		sent(-n)
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(pause):
		}
		pause = min(2*pause, 10*time.Second)
	}
}

func (s *Service) putOnce(ctx context.Context, p piece, body io.Reader) (int, error) {
	req, err := http.NewRequestWithContext(ctx, string(p.put.Method), p.put.Url, body)
	if err != nil {
		return 0, err
	}
	req.ContentLength = p.bytes
	for k, v := range p.put.Headers {
		req.Header.Set(k, v)
	}
	resp, err := s.http.Do(req)
	if err != nil {
		return 0, err
	}
	_, _ = io.Copy(io.Discard, io.LimitReader(resp.Body, 1<<16))
	return resp.StatusCode, resp.Body.Close()
}

type counter struct {
	r    io.Reader
	read func(int64)
}

func (c *counter) Read(b []byte) (int, error) {
	n, err := c.r.Read(b)
	c.read(int64(n))
	return n, err
}
