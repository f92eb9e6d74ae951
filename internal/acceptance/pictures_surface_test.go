package acceptance

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/spec"
)

// Surface findings that are known from an inspection of the same bytes and are not measured again leave the evidence and every
// picture as they were.
func TestPicturesDoNotDependOnWhatIsKnown(t *testing.T) {
	t.Parallel()
	job := Job{Spec: specFromFile(t, "bollard.yaml", spec.GameMesh), Folder: harbourBollard(t), Pictures: true}
	first, err := Inspect(context.Background(), job)
	require.NoError(t, err)
	names := func(r *Result) (out []string) {
		for _, p := range r.Pictures {
			out = append(out, p.Name+" "+p.SHA256)
		}
		return out
	}
	require.True(t, slices.ContainsFunc(first.Pictures, func(p Picture) bool { return p.Name == "silhouette_worst.png" }))
	job.Known = map[string][]Finding{"surface": Reusable(first.Evidence)["surface"]}
	require.NotEmpty(t, job.Known["surface"])
	again, err := Inspect(context.Background(), job)
	require.NoError(t, err)
	require.Equal(t, names(first), names(again))
	require.Equal(t, string(first.Canonical), string(again.Canonical))
}
