//go:build unix

package inspection

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// roomFor refuses a job whose files would fill the disk: half-way through is too late to find out. errNoRoom says that there would
// be room were the disk empty.
func roomFor(dir string, bytes int64) error {
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		return own("look at free space", err)
	}
	free, all := int64(st.Bavail)*int64(st.Bsize), int64(st.Blocks)*int64(st.Bsize)
	switch {
	case free >= bytes:
		return nil
	case all < bytes:
		return own("look at free space", fmt.Errorf("the scratch folder's disk has %d MiB in all and the delivery needs %d", all>>20, bytes>>20))
	}
	return own("look at free space", fmt.Errorf("%w: the scratch folder has %d MiB free and the delivery needs %d", errNoRoom, free>>20, bytes>>20))
}

// lockFile takes the lock of a file, for as long as it stays open. It fails where somebody has it.
func lockFile(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		return nil, fmt.Errorf("lock %s: %w", path, errors.Join(err, f.Close()))
	}
	return f, nil
}
