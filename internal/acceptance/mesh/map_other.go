//go:build !unix

package mesh

import (
	"errors"
	"os"
)

// mapFile fails: the caller reads the file instead.
func mapFile(*os.File, int64) (Blob, error) { return Blob{}, errors.ErrUnsupported }
