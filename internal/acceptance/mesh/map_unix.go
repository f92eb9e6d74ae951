//go:build unix

package mesh

import (
	"os"

	"golang.org/x/sys/unix"
)

// mapFile maps a whole regular file read-only. The pages come in as they are looked at, so a sculpt's unused
// attributes cost nothing. The file must not shrink meanwhile: callers hand in files that nobody else writes to.
func mapFile(f *os.File, size int64) (Blob, error) {
	data, err := unix.Mmap(int(f.Fd()), 0, int(size), unix.PROT_READ, unix.MAP_PRIVATE)
	if err != nil {
		return Blob{}, err
	}
	return Blob{Data: data, unmap: func() error { return unix.Munmap(data) }}, nil
}
