package spec

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/words"
)

// TestKeysHaveWords: every key of a spec has a meaning in every language, and no language explains a key that is none.
func TestKeysHaveWords(t *testing.T) {
	t.Parallel()
	want := map[string]bool{}
	var walk func([]Key)
	walk = func(list []Key) {
		for _, k := range list {
			require.NotEmpty(t, k.What, k.Path)
			want[k.Code()] = true
			walk(k.Of)
		}
	}
	walk(Keys())
	require.Greater(t, len(want), 50)
	require.False(t, want["spec.key/annotations.kind"], "what an annotation shares with a part is explained once")
	for _, l := range words.Languages()[1:] {
		for code := range want {
			require.True(t, l.Has(code), "%s lacks %s", l.Name, code)
		}
		for _, code := range l.Codes() {
			if strings.HasPrefix(code, "spec.key/") {
				require.True(t, want[code], "%s: there is no such key: %s", l.Name, code)
			}
		}
	}
}
