package web

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

func all[T ~string](list ...T) []string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = string(v)
	}
	return out
}

// TestRecordHasWords: each value of the record that pages show has a word of its own in every language.
func TestRecordHasWords(t *testing.T) {
	t.Parallel()
	values := map[string][]string{
		"milestone":      {"block_out", "sculpt", "game_mesh", "maps", "final", "maintenance"},
		"state":          all(ledger.MOpen, ledger.MInspecting, ledger.MFailed, ledger.MStuck, ledger.MReview, ledger.MHeld, ledger.MReturned, ledger.MAccepted, ledger.MCancelled),
		"delivery_state": all(ledger.DOpen, ledger.DSealing, ledger.DSealed, ledger.DAbandoned),
		"desk":           all(ledger.DeskVendor, ledger.DeskInspector, ledger.DeskTechnicalArtist, ledger.DeskArtDirector, ledger.DeskNone),
		"decision":       all(ledger.Accept, ledger.AcceptNote, ledger.AcceptAsIs, ledger.Return, ledger.Deemed),
		"role":           all(ledger.Producer, ledger.ArtDirector, ledger.ArtLead, ledger.TechnicalArtist, ledger.VendorLead, ledger.VendorArtist),
		"scope":          all(ledger.Scopes...),
		"mode":           all(spec.Blocks, spec.Warns, spec.Reports, spec.NotAppl),
		"outcome":        all(acceptance.Pass, acceptance.Warn, acceptance.Fail, acceptance.NotEvaluated, acceptance.NotApplicable),
		"tier":           {"background", "mid", "hero", "close_up"},
		"side":           all(ledger.StudioSide, ledger.VendorSide),
	}
	en := words.Languages()[0]
	for _, l := range words.Languages() {
		for kind, list := range values {
			for _, v := range list {
				said, ok := l.TermIn(kind+"."+v, "")
				require.True(t, ok, "%s: %s.%s", l.Name, kind, v)
				require.NotEmpty(t, said)
			}
		}
		// What one language has, all have.
		require.Empty(t, without(termsOf(en), termsOf(l)), "in English, not in %s", l.Name)
		require.Empty(t, without(termsOf(l), termsOf(en)), "in %s, not in English", l.Name)
	}
}

func termsOf(l *words.Language) []string {
	var out []string
	for _, code := range ofPages(l) {
		if len(code) > 5 && code[:5] == "term." {
			out = append(out, code)
		}
	}
	return out
}
