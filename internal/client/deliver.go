package client

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"github.com/google/uuid"
)

// partBytes is the size of a part, and the largest file that goes up in one piece. The service says no to a part under
// 5 MiB; larger parts lose more when a connection breaks.
const partBytes = 32 << 20

// LocalFile is one file of a delivery on this machine.
type LocalFile struct {
	Path string // in the delivery, forward slashes
	Role string
	Abs  string // on disk
}

// Progress is told what is being done and how many of how many bytes are done. It is called from one goroutine.
type Progress func(doing string, done, total int64)

// Delivered is a delivery that was sealed.
type Delivered struct {
	Delivery Delivery
	Receipt  Receipt
}

// Deliver opens a delivery for a milestone, sends its files and seals it. It may be called again with the same files after
// any break: what has arrived is not sent again, and a delivery that is sealed already is given back as it is.
func (s *Service) Deliver(ctx context.Context, milestone uuid.UUID, note string, files []LocalFile, progress Progress) (*Delivered, error) {
	manifest, key, err := describe(ctx, milestone, note, files, progress)
	if err != nil {
		return nil, err
	}
	opened, err := s.OpenDeliveryWithResponse(ctx, milestone, &OpenDeliveryParams{IdempotencyKey: "open-" + key}, manifest)
	if err != nil {
		return nil, fmt.Errorf("open the delivery: %w", err)
	}
	if opened.JSON201 == nil {
		return nil, Refusal("open the delivery", opened.HTTPResponse, opened.ApplicationproblemJSONDefault)
	}
	d := opened.JSON201.Delivery
	if d.State == "open" || d.State == "sealing" {
		if err := s.upload(ctx, d.Id, opened.JSON201.Plan, files, progress); err != nil {
			return nil, err
		}
	}
	sealed, err := s.SealDeliveryWithResponse(ctx, d.Id, &SealDeliveryParams{IdempotencyKey: "seal-" + key})
	if err != nil {
		return nil, fmt.Errorf("seal the delivery: %w", err)
	}
	if sealed.JSON200 == nil {
		return nil, Refusal("seal the delivery", sealed.HTTPResponse, sealed.ApplicationproblemJSONDefault)
	}
	return &Delivered{sealed.JSON200.Delivery, sealed.JSON200.Receipt}, nil
}

// describe hashes the files and makes the manifest, and a key that is the same for the same files of the same milestone.
func describe(ctx context.Context, milestone uuid.UUID, note string, files []LocalFile, progress Progress) (NewDelivery, string, error) {
	var total, done int64
	for _, f := range files {
		info, err := os.Stat(f.Abs)
		if err != nil {
			return NewDelivery{}, "", fmt.Errorf("read %s: %w", f.Path, err)
		}
		total += info.Size()
	}
	m := NewDelivery{Files: make([]NewFile, 0, len(files))}
	if note != "" {
		m.Note = &note
	}
	whole := sha256.New()
	fmt.Fprintf(whole, "%s\n%s\n", milestone, note)
	for _, f := range files {
		nf, err := digest(ctx, f, func(n int64) {
			done += n
			if progress != nil {
				progress("hashing "+f.Path, done, total)
			}
		})
		if err != nil {
			return NewDelivery{}, "", err
		}
		fmt.Fprintf(whole, "%s\n%s\n%s\n", nf.Path, nf.Role, nf.Sha256)
		m.Files = append(m.Files, nf)
	}
	return m, hex.EncodeToString(whole.Sum(nil)), nil
}

func digest(ctx context.Context, f LocalFile, read func(int64)) (NewFile, error) {
	in, err := os.Open(f.Abs)
	if err != nil {
		return NewFile{}, fmt.Errorf("read %s: %w", f.Path, err)
	}
	defer in.Close()
	out := NewFile{Path: f.Path, Role: f.Role}
	whole := sha256.New()
	var parts []Digest
	for {
		part := sha256.New()
		n, err := copyCtx(ctx, []hash.Hash{whole, part}, io.LimitReader(in, partBytes), read)
		if err != nil {
			return NewFile{}, fmt.Errorf("read %s: %w", f.Path, err)
		}
		if n > 0 {
			parts = append(parts, hex.EncodeToString(part.Sum(nil)))
		}
		out.Bytes += n
		if n < partBytes {
			break
		}
	}
	out.Sha256 = hex.EncodeToString(whole.Sum(nil))
	if len(parts) > 1 {
		size := int64(partBytes)
		out.PartBytes, out.PartSha256 = &size, &parts
	}
	return out, nil
}

func copyCtx(ctx context.Context, to []hash.Hash, from io.Reader, read func(int64)) (int64, error) {
	buf := make([]byte, 1<<20)
	var sum int64
	for {
		if err := ctx.Err(); err != nil {
			return sum, err
		}
		n, err := from.Read(buf)
		for _, h := range to {
			h.Write(buf[:n])
		}
		sum += int64(n)
		read(int64(n))
		if errors.Is(err, io.EOF) {
			return sum, nil
		}
		if err != nil {
			return sum, err
		}
	}
}

// upload sends what the plan still wants until nothing is wanted.
func (s *Service) upload(ctx context.Context, delivery uuid.UUID, plan UploadPlan, files []LocalFile, progress Progress) error {
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
					if progress != nil {
						progress("sending "+f.Path, done, plan.BytesTotal)
					}
				}); err != nil {
					return fmt.Errorf("send %s: %w", f.Path, err)
				}
			}
		}
		if !sentAny {
			return nil
		}
		if round == maxRounds {
			return fmt.Errorf("the storage still misses files after %d rounds of sending", maxRounds)
		}
		fresh, err := s.GetUploadsWithResponse(ctx, delivery)
		if err != nil {
			return fmt.Errorf("ask what has arrived: %w", err)
		}
		if fresh.JSON200 == nil {
			return Refusal("ask what has arrived", fresh.HTTPResponse, fresh.ApplicationproblemJSONDefault)
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

// Await waits until a delivery's inspection is done and returns the delivery.
func (s *Service) Await(ctx context.Context, delivery uuid.UUID) (*Delivery, error) {
	pause := 150 * time.Millisecond
	for {
		got, err := s.GetDeliveryWithResponse(ctx, delivery)
		if err != nil {
			return nil, fmt.Errorf("ask for the inspection: %w", err)
		}
		if got.JSON200 == nil {
			return nil, Refusal("ask for the inspection", got.HTTPResponse, got.ApplicationproblemJSONDefault)
		}
		if i := got.JSON200.Inspection; i != nil && i.State == "done" {
			return got.JSON200, nil
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(pause):
		}
		pause = min(pause*3/2, 2*time.Second)
	}
}

// FindMilestone finds the milestone of a prop among the caller's work, by the prop's code and the milestone's kind.
func (s *Service) FindMilestone(ctx context.Context, prop, kind string) (*WorkItem, error) {
	var after *string
	var seen []string
	for {
		page, err := s.ListMyWorkWithResponse(ctx, &ListMyWorkParams{After: after})
		if err != nil {
			return nil, fmt.Errorf("ask for open work: %w", err)
		}
		if page.JSON200 == nil {
			return nil, Refusal("ask for open work", page.HTTPResponse, page.ApplicationproblemJSONDefault)
		}
		for _, w := range page.JSON200.Items {
			if w.PropCode == prop && string(w.Milestone.Kind) == kind {
				return &w, nil
			}
			seen = append(seen, w.PropCode+" ("+string(w.Milestone.Kind)+")")
		}
		if after = page.JSON200.Next; after == nil {
			return nil, fmt.Errorf("no open milestone %s of a prop %s is on your desk; there is %s", kind, prop, list(seen))
		}
	}
}

func list(names []string) string {
	const most = 12
	switch {
	case len(names) == 0:
		return "nothing"
	case len(names) > most:
		names = append(names[:most:most], "…")
	}
	out := names[0]
	for _, n := range names[1:] {
		out += ", " + n
	}
	return out
}

// FilesOf turns a folder and the paths and roles in it into local files.
func FilesOf(folder string, paths, roles []string) []LocalFile {
	out := make([]LocalFile, len(paths))
	for i := range paths {
		out[i] = LocalFile{Path: paths[i], Role: roles[i], Abs: filepath.Join(folder, filepath.FromSlash(paths[i]))}
	}
	return out
}
