package spec

import (
	"slices"

	"proofhouse/internal/canon"
)

// SettingDigest is the SHA-256, in hex, of all in the spec that steers measurements: everything but the checks' limits,
// options and modes. Findings under two specs with one setting hold the same numbers wherever the check's own options are
// the same too.
func (s *Spec) SettingDigest() (string, error) {
	parts, sets := slices.Clone(s.Parts), slices.Clone(s.Sets)
	for i := range parts {
		parts[i].Rules = nil
	}
	for i := range sets {
		sets[i].Rules = nil
	}
	needed := map[string]any{}
	for role, m := range s.needed {
		needed[role] = m
	}
	files := slices.Clone(s.Files)
	for i := range files {
		files[i].Origin = ""
	}
	canonical, err := canon.Marshal(map[string]any{
		"prop": s.Prop, "tier": s.Tier, "size_mm": s.SizeMM, "conventions": s.Conventions, "view": s.View,
		"parts": parts, "sets": sets, "files": files, "needed": needed, "annotations": s.Annotations,
	})
	if err != nil {
		return "", err
	}
	return canon.Digest(canonical), nil
}
