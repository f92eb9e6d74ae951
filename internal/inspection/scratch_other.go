//go:build !unix

package inspection

import (
	"errors"
	"os"
)

// A server's worker needs a Unix; these let the vendor's commands compile elsewhere.

func roomFor(string, int64) error { return nil }

func lockFile(string) (*os.File, error) {
	return nil, errors.New("taking inspections from a queue needs Linux or another Unix")
}
