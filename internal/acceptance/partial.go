package acceptance

import (
	"fmt"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/canon"
)

// FamilyOf is the family of a check: what stands before the first point of its name.
func FamilyOf(check string) string {
	family, _, _ := strings.Cut(check, ".")
	return family
}

// Families are the families of checks, in the order of a report.
func Families() []string {
	var out []string
	for _, c := range checks() {
		if f := FamilyOf(c.Def.Name); !slices.Contains(out, f) {
			out = append(out, f)
		}
	}
	return out
}

// chosen keeps the checks of some families; none named means all.
func chosen(all []Check, only []string) ([]Check, error) {
	if len(only) == 0 {
		return all, nil
	}
	families := Families()
	for _, f := range only {
		if !slices.Contains(families, f) {
			return nil, fmt.Errorf("there is no family of checks %q", f)
		}
	}
	var out []Check
	for _, c := range all {
		if slices.Contains(only, FamilyOf(c.Def.Name)) {
			out = append(out, c)
		}
	}
	return out, nil
}

// sparedRoles are the roles whose bytes a family never reads, by the family. A family that is not named may read everything.
// A file's path and role always count: they say what belongs together. A test holds that findings do not depend on what
// stands here.
var sparedRoles = map[string][]string{
	"names":     {"reference", "source", "map"},
	"scene":     {"reference", "source", "map"},
	"topology":  {"reference", "source", "map", "sculpt", "cage", "collision"},
	"lod":       {"reference", "source", "sculpt", "cage", "collision"}, // texels are counted at the maps' size
	"collision": {"reference", "source", "map", "sculpt", "cage"},
	"surface":   {"reference", "source", "map", "collision"},
	"uv":        {"reference", "source", "sculpt", "cage", "collision"},
	"budget":    {"reference", "source", "cage", "collision"}, // what guides a bake is well spent
	"alpha":     {"reference", "source", "sculpt", "cage", "collision"},
}

// Reads says whether findings of a family may depend on the bytes of a file with this role.
func Reads(family, role string) bool {
	kind, _, _ := strings.Cut(role, ".")
	return !slices.Contains(sparedRoles[family], kind)
}

// reusing gives back findings that are known instead of measuring them again. known holds whole families: what it lacks of
// one had nothing to say.
func reusing(all []Check, known map[string][]Finding) []Check {
	if len(known) == 0 {
		return all
	}
	out := slices.Clone(all)
	for i := range out {
		findings, have := known[FamilyOf(out[i].Def.Name)]
		if !have {
			continue
		}
		name := out[i].Def.Name
		out[i].Run = knownRun(name, findings)
	}
	return out
}

// Reusable are an inspection's findings by family, as far as another inspection of the same bytes would find the same: not
// where one fault was taken as mended, and not those about the delivery before.
func Reusable(e *Evidence) map[string][]Finding {
	out := map[string][]Finding{}
	for _, f := range Families() {
		if f != "revision" && (len(e.Only) == 0 || slices.Contains(e.Only, f)) {
			out[f] = []Finding{}
		}
	}
	for _, f := range e.Findings {
		if f.FollowsFrom != "" || f.Labels["measured"] != "" || f.Metrics["times_too_big"] != 0 || f.Metrics["turn_deg"] != 0 {
			return nil
		}
		family := FamilyOf(f.Check)
		if _, ok := out[family]; ok {
			f.Pictures = nil
			out[family] = append(out[family], f)
		}
	}
	return out
}

// FamilyKeys name, by family, everything that its findings may depend on: engine, spec, the files with their roles and what
// is declared of them, and the digest of every file that the family reads. Equal keys give equal findings. digests are
// SHA-256 (hex) of the bytes that lie there, by path.
func FamilyKeys(sp *spec.Spec, m *Manifest, digests map[string]string) (map[string]string, error) {
	type file struct {
		Path, Role, Declared string
		Bytes                *int64
		SHA256               string
	}
	keys := map[string]string{}
	for _, family := range Families() {
		var files []file
		for _, f := range m.Files {
			read := file{Path: f.Path, Role: f.Role, Declared: f.SHA256, Bytes: f.Bytes}
			if Reads(family, f.Role) {
				read.SHA256 = digests[f.Path]
			}
			files = append(files, read)
		}
		data, err := canon.Marshal(map[string]any{
			"engine": EngineNow(), "spec": sp.Digest, "milestone": sp.Milestone, "family": family, "files": files,
		})
		if err != nil {
			return nil, fmt.Errorf("key of family %s: %w", family, err)
		}
		keys[family] = canon.Digest(data)
	}
	return keys, nil
}

// ManifestOf is the manifest that an inspection of the job would judge by, and the spec as it counts for it.
func ManifestOf(job Job) (*Manifest, *spec.Spec, error) {
	m, _, err := manifestFor(job)
	if err != nil {
		return nil, nil, err
	}
	return m, specFor(job, m), nil
}
