package web_test

import (
	"context"
	"crypto/sha256"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// TestSpecPageOfOneThatExtends: both sides see the parent's limit, with the line that said so.
func TestSpecPageOfOneThatExtends(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	made := as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.SpecRevision, error) {
		return tx.CreateSpecRevision(ctx, ledger.NewSpecRevision{Prop: w.props["bollard"].ID, Digest: make([]byte, sha256.Size),
			Document: []byte("prop: bollard\ntier: mid\nextends: [{spec: lantern, revision: 2}]\n")})
	})
	for _, who := range []string{ines, ole} {
		p := w.logIn(who).get("/specs/" + made.ID.String())
		require.Contains(t, p.text("main"), "parent lantern@2 line 5", who)
		require.NotContains(t, p.text("main"), "cannot read the revision", who)
	}
}
