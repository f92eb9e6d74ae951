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
	first := bollardPictured(t)
	names := func(r *Result) (out []string) {
		for _, p := range r.Pictures {
			out = append(out, p.Name+" "+p.SHA256)
		}
		return out
	}
	require.True(t, slices.ContainsFunc(first.Pictures, func(p Picture) bool { return p.Name == "silhouette_worst.png" }))
	known := map[string][]Finding{"surface": Reusable(first.Evidence)["surface"]}
	require.NotEmpty(t, known["surface"])
	again, err := Inspect(context.Background(), Job{Spec: specFromFile(t, "bollard.yaml", spec.Final), Folder: harbourBollard(t), Pictures: true, Known: known})
	require.NoError(t, err)
	require.Equal(t, names(first), names(again))
	require.Equal(t, string(first.Canonical), string(again.Canonical))
}
