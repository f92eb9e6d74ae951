package mesh

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"strings"
)

// Kinds of failure to open a file of a delivery, for errors.Is.
var (
	// ErrNotDelivered is returned for a path that is not among the delivery's files.
	ErrNotDelivered = errors.New("not in the delivery")
	// ErrTooLarge is returned for a file above the caller's limit; nothing was read.
	ErrTooLarge = errors.New("file too large")
)

// Source hands out the files of one delivery and nothing else. Paths are relative to the delivery's root, with
// forward slashes and without "." or ".." elements.
type Source interface {
	// Open returns the whole file. It fails with ErrNotDelivered or ErrTooLarge before reading anything.
	Open(path string, maxBytes int64) (Blob, error)
}

// Blob is one file's bytes, read-only. They may be mapped from the disk: after Close they must not be touched.
type Blob struct {
	Data  []byte
	unmap func() error
}

// Close releases the bytes. It is safe on a zero Blob.
func (b *Blob) Close() error {
	unmap := b.unmap
	b.Data, b.unmap = nil, nil
	if unmap == nil {
		return nil
	}
	return unmap()
}

// Dir is a Source over a folder on disk. Only the named files are opened, and neither symbolic links nor ".."
// lead out of the folder (os.Root).
type Dir struct {
	root  *os.Root
	names map[string]bool
}

// DirSource opens folder as a Source that knows the files of the delivery by their paths relative to it.
// The caller closes it; blobs stay readable after that.
func DirSource(folder string, names []string) (*Dir, error) {
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, fmt.Errorf("open the delivery's folder: %w", err)
	}
	d := &Dir{root: root, names: make(map[string]bool, len(names))}
	for _, n := range names {
		d.names[n] = true
	}
	return d, nil
}

// Close lets go of the folder.
func (d *Dir) Close() error { return d.root.Close() }

// Open implements Source. Large files are mapped into memory where the system can, small ones are read.
func (d *Dir) Open(name string, maxBytes int64) (Blob, error) {
	if !d.names[name] || !localPath(name) {
		return Blob{}, fmt.Errorf("%s: %w", name, ErrNotDelivered)
	}
	f, err := d.root.Open(name)
	if err != nil {
		return Blob{}, fmt.Errorf("open %s: %w", name, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return Blob{}, fmt.Errorf("open %s: %w", name, err)
	}
	if !info.Mode().IsRegular() {
		return Blob{}, fmt.Errorf("open %s: not a regular file", name)
	}
	if info.Size() > maxBytes {
		return Blob{}, fmt.Errorf("%s: %d bytes of %d allowed: %w", name, info.Size(), maxBytes, ErrTooLarge)
	}
	if info.Size() >= mapFrom {
		if b, err := mapFile(f, info.Size()); err == nil {
			return b, nil
		}
	}
	data := make([]byte, info.Size())
	if _, err := io.ReadFull(f, data); err != nil {
		return Blob{}, fmt.Errorf("read %s: %w", name, err)
	}
	return Blob{Data: data}, nil
}

// mapFrom is the size in bytes from which a file is mapped: below it, reading is cheaper than setting up pages.
const mapFrom = 1 << 20

// MemSource is a Source over bytes in memory, by path.
type MemSource map[string][]byte

// Open implements Source.
func (m MemSource) Open(name string, maxBytes int64) (Blob, error) {
	data, ok := m[name]
	if !ok || !localPath(name) {
		return Blob{}, fmt.Errorf("%s: %w", name, ErrNotDelivered)
	}
	if int64(len(data)) > maxBytes {
		return Blob{}, fmt.Errorf("%s: %d bytes of %d allowed: %w", name, len(data), maxBytes, ErrTooLarge)
	}
	return Blob{Data: data}, nil
}

// localPath tells whether a path stays below the root on every system that a delivery may be read on.
func localPath(name string) bool {
	return name != "" && name != "." && name == path.Clean(name) && !path.IsAbs(name) && name != ".." &&
		!strings.HasPrefix(name, "../") && !strings.ContainsAny(name, "\\\x00")
}
