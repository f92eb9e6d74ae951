package inspection

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"

	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// pulled is a delivery on this machine's disk.
type pulled struct {
	folder string
	seen   *sight
	hashes map[string]string // SHA-256 in hex by path, of the bytes as they arrived
}

// pull streams each sealed object once to disk and hashes it on the way; what is there from a try before is left. An
// object that is missing or is no longer the one that was sealed stays away: the inspection finds it missing and says so.
func (s *Service) pull(ctx context.Context, d ledger.Delivery, to pulled, log func(string)) error {
	root, err := os.OpenRoot(to.folder)
	if err != nil {
		return own("open the scratch folder", err)
	}
	defer root.Close()
	for _, f := range d.Files {
		if to.hashes[f.Path] != "" {
			continue
		}
		sum, err := s.pullFile(ctx, root, f)
		switch {
		case errors.Is(err, storage.ErrNotFound), errors.Is(err, storage.ErrChanged):
			log(f.Path + " stays away: " + err.Error())
		case err != nil:
			return err
		default:
			to.hashes[f.Path] = sum
			to.seen.fetched(f.Size)
		}
	}
	return nil
}

func (s *Service) pullFile(ctx context.Context, root *os.Root, f ledger.File) (sum string, err error) {
	name := filepath.FromSlash(f.Path)
	if dir := path.Dir(f.Path); dir != "." {
		if err := root.MkdirAll(filepath.FromSlash(dir), 0o700); err != nil {
			return "", own("make a folder for "+f.Path, err)
		}
	}
	dst, err := root.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return "", own("make a file for "+f.Path, err)
	}
	sum, _, err = s.Store.Fetch(ctx, f.ObjectKey, f.ETag, disk{dst})
	if errors.Is(err, storage.ErrChanged) {
		sum, err = s.pullCopy(ctx, f, dst)
	}
	if cerr := dst.Close(); err == nil && cerr != nil {
		err = own("write "+f.Path, cerr)
	}
	if err != nil {
		if rerr := root.Remove(name); rerr != nil && !errors.Is(rerr, fs.ErrNotExist) {
			return "", errors.Join(err, own("remove "+f.Path, rerr))
		}
		return "", err
	}
	return sum, nil
}

// pullCopy reads an object that no longer has the ETag that it was sealed under. One that was restored from a backup, or moved to
// another storage, is named otherwise there though its bytes are the same: its length and its digest decide, and what differs
// is ErrChanged as before.
func (s *Service) pullCopy(ctx context.Context, f ledger.File, dst io.Writer) (string, error) {
	now, err := s.Store.Head(ctx, f.ObjectKey)
	if err != nil {
		return "", err
	}
	if now.Size != f.Size {
		return "", fmt.Errorf("%s has %d bytes in place of %d: %w", f.ObjectKey, now.Size, f.Size, storage.ErrChanged)
	}
	sum, _, err := s.Store.Fetch(ctx, f.ObjectKey, now.ETag, disk{dst})
	if err == nil && sum != hex.EncodeToString(f.SHA256) {
		err = fmt.Errorf("%s has the digest %s in place of %x: %w", f.ObjectKey, sum, f.SHA256, storage.ErrChanged)
	}
	return sum, err
}

// disk marks what goes wrong in writing as this machine's own.
type disk struct{ w io.Writer }

func (d disk) Write(p []byte) (int, error) {
	n, err := d.w.Write(p)
	if err != nil {
		return n, own("write", err)
	}
	return n, nil
}
