package endtoend

import (
	"crypto/sha256"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/client"
)

// A spec that extends another is judged by as published: the worker's child gets the parents, and the evidence has the
// digest that the vendor saw, also when a parent has a newer revision by then.
func TestSpecThatExtendsIsInspectedAsPublished(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	kit := "prop: kit\ntier: background\nchecks:\n  budget.triangles: {max_triangles: 11}\n"
	h.contract("kit", "background", kit)
	base := "prop: base\nextends: [{spec: kit, revision: 1}]\n"
	h.contract("base", "background", base)
	milestone := h.contract("box", "background", fmt.Sprintf("prop: box\nextends: [{spec: base, digest: %x}]\n", sha256.Sum256([]byte(base))))

	var kitProp [16]byte
	require.NoError(t, h.owner.QueryRow(t.Context(), `SELECT id FROM ph.prop WHERE code = 'kit'`).Scan(&kitProp))
	newer, err := h.studio.PublishSpecWithResponse(t.Context(), kitProp, &client.PublishSpecParams{IdempotencyKey: key()}, client.NewSpec{Document: boxSpec("kit")})
	require.NoError(t, err)
	require.NotNil(t, newer.JSON201, string(newer.Body))

	folder, roles := boxFolder(t, "box")
	d := h.deliver(milestone, folder, roles)
	p := h.serve("--threads", "1")
	e := h.evidence(h.await(d))
	var published string
	require.NoError(t, h.owner.QueryRow(t.Context(), `SELECT encode(s.digest, 'hex') FROM ph.delivery d JOIN ph.spec_revision s ON s.id = d.spec_revision_id`).Scan(&published))
	require.Equal(t, published, e.Spec.Digest)
	over := findings(e, "budget.triangles")
	require.NotEmpty(t, over)
	require.EqualValues(t, "fail", over[0].Outcome, "a box has 12 triangles, the kit allows 11")
	require.Zero(t, p.stop())
}
