package httpapi

import (
	"context"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/ledger"
)

// SpecsExtended are the specs that a revision extends, near or far, in the order of reading.
func SpecsExtended(ctx context.Context, tx *ledger.Tx, r ledger.SpecRevision) (refs []spec.Ref, err error) {
	_, err = resolveNoting(ctx, tx, r.PropID, r.Document, "", func(ref spec.Ref) { refs = append(refs, ref) })
	return refs, err
}

// ProgramsDir is the folder of the vendor's programs; "" for none.
func (s *Server) ProgramsDir() string { return s.programs }
