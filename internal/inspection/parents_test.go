package inspection

import (
	"crypto/sha256"
	"encoding/hex"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestParentsComeWithTheJob: the child finds each parent by the words that name it, and refuses what did not come.
func TestParentsComeWithTheJob(t *testing.T) {
	t.Parallel()
	kit := []byte("tier: hero\nchecks:\n  surface.poke_through: {max_height_px: 7}\n")
	lamp := []byte("extends: [{spec: kit, revision: 3}]\nchecks:\n  budget.triangles: {max_triangles: 4321}\n")
	sum := sha256.Sum256(lamp)
	pin := hex.EncodeToString(sum[:])
	job := Job{
		SpecName: "the spec", Spec: []byte("prop: lantern\nextends: [{spec: lamp, digest: 'sha256:" + pin + "'}]\n"),
		Parents: []Parent{{Spec: "lamp", Digest: pin, Document: lamp}, {Spec: "kit", Revision: 3, Document: kit}},
	}
	got, err := ResolveSpec(job)
	require.NoError(t, err)
	alone, err := ResolveSpec(Job{SpecName: "alone", Spec: []byte("prop: lantern\ntier: hero\nchecks:\n  surface.poke_through: {max_height_px: 7}\n  budget.triangles: {max_triangles: 4321}\n")})
	require.NoError(t, err)
	require.Equal(t, alone.Digest, got.Digest)

	for name, parents := range map[string][]Parent{
		"none": nil, "other revision": {job.Parents[0], {Spec: "kit", Revision: 2, Document: kit}}, "other code": {job.Parents[0], {Spec: "kid", Revision: 3, Document: kit}},
	} {
		job.Parents = parents
		_, err = ResolveSpec(job)
		require.ErrorContains(t, err, "did not come with the inspection", name)
	}
}
