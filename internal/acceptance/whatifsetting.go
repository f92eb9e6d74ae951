package acceptance

import (
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/canon"
)

// settingsOf digests the options and lists of a rule: what steers a measurement and is no number. "" where it has none.
func settingsOf(r spec.Rule) string {
	if len(r.Words) == 0 && len(r.Lists) == 0 || r.Mode == spec.NotAppl {
		return ""
	}
	words := r.Words
	if words == nil {
		words = map[string]string{}
	}
	lists := map[string][]string{}
	for k, list := range r.Lists {
		lists[k] = append([]string{}, list...)
	}
	data, err := canon.Marshal(map[string]any{"words": words, "lists": lists})
	if err != nil {
		return "unknown"
	}
	return canon.Digest(data)[:16]
}
