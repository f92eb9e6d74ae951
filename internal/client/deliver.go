package client

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"

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
	Delivery  Delivery
	Receipt   Receipt
	SentBytes int64 // by this call; the others had arrived before
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
	d, sent := opened.JSON201.Delivery, int64(0)
	switch d.State {
	case DeliveryStateOpen, DeliveryStateSealing:
		if sent, err = s.upload(ctx, d.Id, opened.JSON201.Plan, files, progress); err != nil {
			return nil, err
		}
	case DeliveryStateAbandoned:
		return nil, fmt.Errorf("a delivery of the very same files was begun before and given up; change the note to send them again")
	}
	sealed, err := s.SealDeliveryWithResponse(ctx, d.Id, &SealDeliveryParams{IdempotencyKey: "seal-" + key})
	if err != nil {
		return nil, fmt.Errorf("seal the delivery: %w", err)
	}
	if sealed.JSON200 == nil {
		return nil, Refusal("seal the delivery", sealed.HTTPResponse, sealed.ApplicationproblemJSONDefault)
	}
	return &Delivered{sealed.JSON200.Delivery, sealed.JSON200.Receipt, sent}, nil
}

// describe hashes the files and makes the manifest, and a key that is the same for the same files of the same milestone.
func describe(ctx context.Context, milestone uuid.UUID, note string, files []LocalFile, progress Progress) (NewDelivery, string, error) {
	total, err := sizeOf(files)
	if err != nil {
		return NewDelivery{}, "", err
	}
	var done int64
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

// sizeOf is what files take together, in bytes.
func sizeOf(files []LocalFile) (total int64, err error) {
	for _, f := range files {
		info, err := os.Stat(f.Abs)
		if err != nil {
			return 0, fmt.Errorf("read %s: %w", f.Path, err)
		}
		total += info.Size()
	}
	return total, nil
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

// FilesOf turns a folder and the paths and roles in it into local files.
func FilesOf(folder string, paths, roles []string) []LocalFile {
	out := make([]LocalFile, len(paths))
	for i := range paths {
		out[i] = LocalFile{Path: paths[i], Role: roles[i], Abs: filepath.Join(folder, filepath.FromSlash(paths[i]))}
	}
	return out
}
