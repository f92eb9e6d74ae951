//go:build unix

package inspection

import (
	"fmt"

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
