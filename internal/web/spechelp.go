package web

import (
	"slices"
	"strings"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/web/words"
)

// helpFamily is the checks of one family, as who writes a spec looks them up.
type helpFamily struct {
	Name   string // "uv"
	Checks []helpCheck
}

// helpCheck is one check with what the tier's preset says of it.
type helpCheck struct {
	Name, What string
	Mode       spec.Mode
	Limits     []helpLimit
}

// helpLimit is a key of a check; Preset is its value with its unit, "" where the limit is off until a spec sets it.
type helpLimit struct {
	Key, What, Preset string
	Words             []string
}

// helpOf lists the catalogue by families, in the order of a report.
func helpOf(r words.Reader, tier string) (out []helpFamily) {
	at := max(slices.Index(spec.Tiers[:], spec.Tier(tier)), 0)
	for _, check := range acceptance.Catalogue() {
		family, _, _ := strings.Cut(check.Name, ".")
		i := slices.IndexFunc(out, func(f helpFamily) bool { return f.Name == family })
		if i < 0 {
			i, out = len(out), append(out, helpFamily{Name: family})
		}
		h := helpCheck{Name: check.Name, What: r.Or(check.Name+"/what", check.What), Mode: check.Mode[at]}
		if h.Mode == "" { // as the preset has it
			h.Mode = spec.Warns
		}
		for _, l := range check.Limits {
			h.Limits = append(h.Limits, helpLimit{l.Key, limitWords(r, check.Name, l.Key), presetSaid(r, l, at), l.Words})
		}
		out[i].Checks = append(out[i].Checks, h)
	}
	return out
}

// presetSaid is what a limit holds where no spec says anything.
func presetSaid(r words.Reader, l spec.Limit, tier int) string {
	switch {
	case l.Optional:
		return ""
	case l.List && l.Pattern && len(l.DefaultList) > 1:
		return r.Text(words.P("spec.patterns", len(l.DefaultList)))
	case l.List:
		return strings.Join(l.DefaultList, ", ")
	case len(l.Words) > 0:
		return l.Words[0]
	}
	return bound(r, l, l.Default[tier])
}
