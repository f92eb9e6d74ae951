package ledger_test

import (
	"crypto/sha256"
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

var errorsIs = errors.Is

// multipart is a manifest with one file in two parts.
func multipart(milestone uuid.UUID) ledger.Manifest {
	m := manifest(milestone)
	sum := sha256.Sum256([]byte("part"))
	m.Files[0].Size, m.Files[0].PartSize, m.Files[0].Parts = 6<<20, 5<<20, [][]byte{sum[:], sum[:]}
	return m
}

func (s *scene) notary(t *testing.T) *ledger.Notary {
	t.Helper()
	n, err := ledger.NewNotary(s.db.Pool(ledger.RoleNotary), filepath.Join(t.TempDir(), "notary.key"))
	require.NoError(t, err)
	return n
}

// specOf is the prop's spec in force.
func (s *scene) specOf(prop uuid.UUID) (id uuid.UUID) {
	s.t.Helper()
	require.NoError(s.t, s.owner.QueryRow(s.ctx(), `SELECT spec_in_force FROM ph.prop WHERE id = $1`, prop).Scan(&id))
	return id
}

// noteText is a signed note without its signatures (golang.org/x/mod/sumdb/note: they follow a blank line).
func noteText(signed string) string {
	text, _, _ := strings.Cut(signed, "\n\n")
	return text + "\n"
}
