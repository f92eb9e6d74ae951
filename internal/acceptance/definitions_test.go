package acceptance

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/words"
)

// TestDefinitionsInEveryLanguage: what a check is, why it matters, what its limits are and where it does not apply is said
// in every language; English stands in the definitions themselves.
func TestDefinitionsInEveryLanguage(t *testing.T) {
	t.Parallel()
	want := map[string]bool{}
	for _, c := range Catalogue() {
		want[c.Name+"/title"], want[c.Name+"/what"], want[c.Name+"/why"] = true, true, true
		for _, l := range c.Limits {
			want[c.Name+"/limit/"+l.Key] = true
		}
		for kind := range c.NotForPart {
			want[c.Name+"/not_for/"+string(kind)] = true
		}
		for kind := range c.NotForSet {
			want[c.Name+"/not_for/"+string(kind)] = true
		}
	}
	for _, l := range words.Languages()[1:] {
		have := map[string]bool{}
		for _, code := range l.Codes() {
			if strings.Contains(code, "/") && !strings.HasPrefix(code, "fault.") && !strings.HasPrefix(code, "picture.") && !strings.HasPrefix(code, "spec.key/") {
				have[code] = true
				require.True(t, want[code], "%s: no check has what %s words", l.Name, code)
			}
		}
		var missing []string
		for _, code := range sortedKeys(want) {
			if !have[code] {
				missing = append(missing, code)
			}
		}
		require.Empty(t, missing, "%s lacks words for", l.Name)
	}
	for _, l := range words.Languages()[1:] {
		for _, kind := range pictureKinds {
			require.True(t, l.Has("picture."+kind+"/said"), "%s has no words for the picture %s", l.Name, kind)
		}
	}
	for _, c := range Catalogue() {
		require.False(t, words.English().Has(c.Name+"/why"), "English definitions stand in Go alone")
	}
}
