package inspection

import (
	"context"
	"errors"
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

// disk marks what goes wrong in writing as this machine's own.
type disk struct{ w io.Writer }

func (d disk) Write(p []byte) (int, error) {
	n, err := d.w.Write(p)
	if err != nil {
		return n, own("write", err)
	}
	return n, nil
}
