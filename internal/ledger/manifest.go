package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"proofhouse/internal/canon"
)

// Limits of a manifest. Object sizes and parts are S3's own limits (Amazon S3 user guide, "multipart upload limits").
const (
	manifestFilesMax = 2000
	fileSizeMax      = 5 << 40 // largest object
	putSizeMax       = 5 << 30 // largest single PUT
	partSizeMin      = 5 << 20 // all parts but the last
	partsMax         = 10_000
)

var fileRoleForm = regexp.MustCompile(`^[a-z][a-z0-9_.@-]{0,63}$`)

func checkManifest(in Manifest) error {
	if len(in.Files) == 0 || len(in.Files) > manifestFilesMax {
		return invalid("files", "needs 1 to %d files", manifestFilesMax)
	}
	if len([]rune(in.Note)) > reasonMax {
		return invalid("note", "is over %d characters", reasonMax)
	}
	seen := map[string]string{}
	for i, f := range in.Files {
		field := fmt.Sprintf("files[%d]", i)
		if why := badPath(f.Path); why != "" {
			return invalid(field+".path", "%s", why)
		}
		fold := strings.ToLower(f.Path)
		if other, ok := seen[fold]; ok {
			return invalid(field+".path", "is the same as %q on a disk that does not tell case", other)
		}
		seen[fold] = f.Path
		if err := checkFile(field, f); err != nil {
			return err
		}
	}
	for i, f := range in.Files {
		for dir := path.Dir(strings.ToLower(f.Path)); dir != "."; dir = path.Dir(dir) {
			if other, ok := seen[dir]; ok {
				return invalid(fmt.Sprintf("files[%d].path", i), "lies in a folder that has the name of the file %q", other)
			}
		}
	}
	return nil
}

// nameBytesMax is how long the name of a file or folder may be on the disks that deliveries are inspected and unpacked on
// (NAME_MAX of Linux; the other systems allow as much).
const nameBytesMax = 255

func badPath(p string) string {
	switch {
	case p == "" || len(p) > 1024:
		return "needs 1 to 1024 bytes"
	case !utf8.ValidString(p):
		return "is not UTF-8"
	case strings.ContainsRune(p, '\\'):
		return "has a backslash: use forward slashes"
	case strings.HasPrefix(p, "/") || path.Clean(p) != p || p == ".." || p == "." || strings.HasPrefix(p, "../"):
		return "is not a plain relative path"
	case strings.IndexFunc(p, unicode.IsControl) >= 0:
		return "has a control character"
	case slices.ContainsFunc(strings.Split(p, "/"), func(name string) bool { return len(name) > nameBytesMax }):
		return fmt.Sprintf("has a name of more than %d bytes, which no disk holds", nameBytesMax)
	}
	return ""
}

func checkFile(field string, f NewFile) error {
	switch {
	case !fileRoleForm.MatchString(f.Role):
		return invalid(field+".role", "is not a role such as game, sculpt or map.normal")
	case f.Size < 0 || f.Size > fileSizeMax:
		return invalid(field+".size", "is not within 0 to %d bytes", int64(fileSizeMax))
	case len(f.SHA256) != sha256.Size:
		return invalid(field+".sha256", "needs %d bytes", sha256.Size)
	case len(f.MediaType) > 255:
		return invalid(field+".media_type", "is over 255 characters")
	case f.PartSize == 0 && len(f.Parts) > 0:
		return invalid(field+".parts", "are given without part_size")
	case f.PartSize == 0 && f.Size > putSizeMax:
		return invalid(field+".part_size", "is needed above %d bytes", int64(putSizeMax))
	case f.PartSize == 0:
		return nil
	case f.PartSize < partSizeMin:
		return invalid(field+".part_size", "is under %d bytes", int64(partSizeMin))
	case f.Size == 0:
		return invalid(field+".part_size", "is given for an empty file")
	}
	if want := (f.Size + f.PartSize - 1) / f.PartSize; int64(len(f.Parts)) != want || want > partsMax {
		return invalid(field+".parts", "are %d, and %d bytes in parts of %d make %d (at most %d)", len(f.Parts), f.Size, f.PartSize, want, partsMax)
	}
	for j, p := range f.Parts {
		if len(p) != sha256.Size {
			return invalid(fmt.Sprintf("%s.parts[%d]", field, j), "needs %d bytes", sha256.Size)
		}
	}
	return nil
}

// partBytes is the size of part number n (from 1).
func partBytes(size, partSize int64, n int) int64 {
	if left := size - int64(n-1)*partSize; left < partSize {
		return left
	}
	return partSize
}

// manifestDigest is the SHA-256 of the manifest's canonical JSON: [{"path","role","sha256","size"}…] in the order given.
func manifestDigest(files []NewFile) ([]byte, error) {
	type line struct {
		Path   string `json:"path"`
		Role   string `json:"role"`
		SHA256 string `json:"sha256"`
		Size   int64  `json:"size"`
	}
	lines := make([]line, len(files))
	for i, f := range files {
		lines[i] = line{f.Path, f.Role, hex.EncodeToString(f.SHA256), f.Size}
	}
	b, err := canon.Marshal(lines)
	if err != nil {
		return nil, fmt.Errorf("manifest: %w", err)
	}
	sum := sha256.Sum256(b)
	return sum[:], nil
}
