package httpapi

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"golang.org/x/sync/errgroup"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// storageCalls is how many calls to object storage run at once for one request.
const storageCalls = 16

// upload is where one file of a delivery stands.
type upload struct {
	file    ledger.File
	arrived *storage.Object // nil while the object is not there
	parts   map[int]bool    // parts that are there, by number
}

// lookUp asks storage about one file. With join it joins the parts of a file that is all there.
func (s *Server) lookUp(ctx context.Context, f ledger.File, join bool) (upload, error) {
	up := upload{file: f, parts: map[int]bool{}}
	object, err := s.storage.Head(ctx, f.ObjectKey)
	if err == nil {
		up.arrived = &object
		return up, nil
	}
	if !errors.Is(err, storage.ErrNotFound) || f.UploadID == "" {
		return up, ignoreMissing(err)
	}
	there, err := s.storage.Parts(ctx, f.ObjectKey, f.UploadID)
	if errors.Is(err, storage.ErrNotFound) { // the upload is over: joined since we looked, or given up
		return up, s.lookAgain(ctx, &up)
	}
	if err != nil {
		return up, err
	}
	var right []storage.Part
	for _, p := range there {
		if p.Number >= 1 && p.Number <= len(f.Parts) && p.Size == f.Parts[p.Number-1].Size &&
			(p.SHA256 == "" || p.SHA256 == hex.EncodeToString(f.Parts[p.Number-1].SHA256)) {
			p.SHA256 = hex.EncodeToString(f.Parts[p.Number-1].SHA256)
			right, up.parts[p.Number] = append(right, p), true
		}
	}
	if !join || len(right) < len(f.Parts) {
		return up, nil
	}
	// Somebody else joining the same parts at this moment is no error: the object is looked at either way.
	err = s.storage.CompleteMultipart(ctx, f.ObjectKey, f.UploadID, right)
	if err != nil && !errors.Is(err, storage.ErrExists) && !errors.Is(err, storage.ErrNotFound) {
		return up, err
	}
	return up, s.lookAgain(ctx, &up)
}

func (s *Server) lookAgain(ctx context.Context, up *upload) error {
	object, err := s.storage.Head(ctx, up.file.ObjectKey)
	if err == nil {
		up.arrived = &object
	}
	return ignoreMissing(err)
}

func ignoreMissing(err error) error {
	if errors.Is(err, storage.ErrNotFound) {
		return nil
	}
	return err
}

// lookUpAll asks storage about every file of a delivery.
func (s *Server) lookUpAll(ctx context.Context, files []ledger.File, join bool) ([]upload, error) {
	ups := make([]upload, len(files))
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(storageCalls)
	for i, f := range files {
		group.Go(func() (err error) { ups[i], err = s.lookUp(ctx, f, join); return err })
	}
	return ups, storageProblem(group.Wait())
}

// storageProblem is a failure of object storage as the caller is told it.
func storageProblem(err error) error {
	if err == nil {
		return nil
	}
	return &Problem{kind: kindStorage, detail: "Object storage could not be asked.", retryAfter: 5 * time.Second, cause: err}
}

// PlanUploads says what of a delivery has arrived, with fresh links for the rest where the caller is the one to send it.
func (s *Server) PlanUploads(ctx context.Context, d ledger.Delivery) (api.UploadPlan, error) {
	who, _ := Caller(ctx)
	send := d.State == ledger.DOpen && who.Side == ledger.VendorSide && who.May(ledger.ScopeDeliver)
	if send {
		var err error
		if d, err = s.beginMultiparts(ctx, d); err != nil {
			return api.UploadPlan{}, err
		}
	}
	ups, err := s.lookUpAll(ctx, d.Files, false)
	if err != nil {
		return api.UploadPlan{}, err
	}
	plan := api.UploadPlan{
		DeliveryId: d.ID, State: api.DeliveryState(d.State), LinksExpireAt: time.Now().Add(linkFor).UTC().Truncate(time.Second), Files: []api.FileUpload{},
	}
	for _, up := range ups {
		plan.BytesTotal += up.file.Size
		plan.BytesThere += up.bytesThere()
		out := up.plain()
		if send {
			if out, err = s.withLinks(ctx, up); err != nil {
				return api.UploadPlan{}, err
			}
		}
		plan.Files = append(plan.Files, out)
	}
	return plan, nil
}

// beginMultiparts begins the uploads in parts that have not begun, outside the ledger's transaction, and records them.
func (s *Server) beginMultiparts(ctx context.Context, d ledger.Delivery) (ledger.Delivery, error) {
	for i, f := range d.Files {
		if f.PartSize == 0 || f.UploadID != "" {
			continue
		}
		began, err := s.storage.CreateMultipart(ctx, f.ObjectKey)
		if err != nil {
			return d, storageProblem(err)
		}
		counts, err := read(ctx, s, func(tx *ledger.Tx) (string, error) { return tx.SetUpload(ctx, d.ID, f.ID, began) })
		if err != nil {
			return d, err
		}
		if counts != began { // another request was first
			if err := s.storage.AbortMultipart(ctx, f.ObjectKey, began); err != nil {
				s.log.WarnContext(ctx, "upload not aborted", "delivery", d.ID.String(), "file", f.ID.String(), "error", err.Error())
			}
		}
		d.Files[i].UploadID = counts
	}
	return d, nil
}

func (u upload) bytesThere() int64 {
	if u.arrived != nil {
		return u.file.Size
	}
	var n int64
	for _, p := range u.file.Parts {
		if u.parts[p.Number] {
			n += p.Size
		}
	}
	return n
}

// plain is the upload without links.
func (u upload) plain() api.FileUpload {
	out := api.FileUpload{FileId: u.file.ID, Path: u.file.Path, State: api.Waiting, Way: api.Single, Bytes: u.file.Size, Parts: []api.PartUpload{}}
	if u.file.PartSize > 0 {
		out.Way = api.Multipart
	}
	if u.arrived != nil {
		out.State = api.There
	}
	return out
}

// withLinks adds a link for each piece that has not arrived.
func (s *Server) withLinks(ctx context.Context, u upload) (api.FileUpload, error) {
	out := u.plain()
	if u.arrived != nil {
		return out, nil
	}
	if u.file.PartSize == 0 {
		link, err := s.storage.PresignPut(ctx, u.file.ObjectKey, hex.EncodeToString(u.file.SHA256), u.file.Size, linkFor)
		if err != nil {
			return out, fmt.Errorf("link for file %s: %w", u.file.ID, err)
		}
		out.Put = putOf(link)
		return out, nil
	}
	for i, p := range u.file.Parts {
		if u.parts[p.Number] {
			continue
		}
		link, err := s.storage.PresignPart(ctx, u.file.ObjectKey, u.file.UploadID, p.Number, hex.EncodeToString(p.SHA256), p.Size, linkFor)
		if err != nil {
			return out, fmt.Errorf("link for part %d of file %s: %w", p.Number, u.file.ID, err)
		}
		out.Parts = append(out.Parts, api.PartUpload{Number: p.Number, Offset: int64(i) * u.file.PartSize, Bytes: p.Size, Put: *putOf(link)})
	}
	return out, nil
}

func putOf(l storage.Link) *api.PresignedPut {
	return &api.PresignedPut{Method: api.PUT, Url: l.URL, Headers: l.Headers}
}

// missing is the problem that lists the files still to upload, with links.
func (s *Server) missing(ctx context.Context, d ledger.Delivery, ups []upload) error {
	who, _ := Caller(ctx)
	p := problem(kindMissingBytes, fmt.Sprintf("%d of %d files have not arrived whole.", len(ups), len(d.Files)))
	for _, up := range ups {
		out := up.plain()
		if who.Side == ledger.VendorSide {
			var err error
			if out, err = s.withLinks(ctx, up); err != nil {
				return err
			}
		}
		p.missing = append(p.missing, out)
	}
	return p
}

// differs says that an object is not the one declared, as far as storage can tell without reading it.
func (u upload) differs() bool {
	if u.arrived.Size != u.file.Size {
		return true
	}
	sum, err := hex.DecodeString(u.arrived.SHA256)
	return err == nil && len(sum) > 0 && !bytes.Equal(sum, u.file.SHA256)
}
