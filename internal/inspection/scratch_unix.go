//go:build unix

package inspection

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// roomFor refuses a job whose files would fill the disk: half-way through is too late to find out.
func roomFor(dir string, bytes int64) error {
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		return fmt.Errorf("look at free space: %w", err)
	}
	if free := int64(st.Bavail) * int64(st.Bsize); free < bytes {
		return fmt.Errorf("the scratch folder has %d MiB free and the delivery needs %d", free>>20, bytes>>20)
	}
	return nil
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
