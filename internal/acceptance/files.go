package acceptance

import (
	"context"
	"fmt"
	"strings"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

func fileChecks() []Check {
	return []Check{
		{Def: intactDef, Run: fileIntact},
		{Def: formatDef, Run: fileFormat},
		{Def: selfContainedDef, Run: fileSelfContained},
		{Def: requiredDef, Run: fileRequired},
	}
}

var intactDef = spec.Check{
	Name: "file.intact", Scope: spec.PerFile, Title: "file intact",
	What:   "SHA-256 and size as declared against what arrived.",
	Why:    "A file that changed on its way is not the file that was checked and signed.",
	Source: "FIPS 180-4 (SHA-256)",
	Mode:   blocksAll, From: fromBlockOut,
}

func fileIntact(_ context.Context, _ *Subject, t Target, r spec.Rule) Finding {
	f := t.File
	wantSHA := strings.TrimPrefix(strings.ToLower(strings.TrimSpace(f.Declared.SHA256)), "sha256:")
	wrongSize := f.Declared.Bytes >= 0 && f.Declared.Bytes != f.Bytes
	wrongSHA := wantSHA != "" && wantSHA != strings.ToLower(f.SHA256)
	out := judgeWord(r, wrongSize || wrongSHA)
	switch {
	case wrongSize:
		out.Measured = &Value{Value: float64(f.Bytes), Unit: "bytes"}
		out.say("file.intact.size", words.Count(f.Bytes), words.Count(f.Declared.Bytes))
		out.remedy("file.intact.send_again")
	case wrongSHA:
		out.say("file.intact.digest", words.Name(short(f.SHA256)), words.Name(short(wantSHA)))
		out.remedy("file.intact.send_again")
	case wantSHA == "" && f.Declared.Bytes < 0:
		out.say("file.intact.undeclared", words.Count(f.Bytes))
		out.Labels = withLabel(out.Labels, "declared", "nothing")
	case wantSHA == "":
		out.say("file.intact.size_only", words.Count(f.Bytes))
		out.Labels = withLabel(out.Labels, "declared", "size")
	default:
		out.say("file.intact.as_declared", words.Count(f.Bytes))
	}
	return out
}

// short is the beginning of a digest, enough to tell two apart by eye; the whole stands in the inputs.
func short(digest string) string {
	if len(digest) > 12 {
		return digest[:12] + "…"
	}
	return digest
}

var formatDef = spec.Check{
	Name: "file.format", Scope: spec.PerFile, Title: "file format",
	What:   "Faults of structure in a geometry file or image: bounds, alignment, index ranges, declared minima and maxima, numbers that are not finite, unit normals and tangents, required extensions, images that can be read.",
	Why:    "A file that breaks its standard is read differently by every program, or by none.",
	Source: "glTF 2.0 (ISO/IEC 12113)",
	Limits: []spec.Limit{
		{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Faults.", Origin: "glTF 2.0 (ISO/IEC 12113)"},
		{Key: "max_warnings", Kind: spec.AtMost, Unit: "count", Optional: true,
			What: "Things worth saying in a file that is valid.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromBlockOut, Metrics: []string{"count", "warnings"},
}

// selfContainedCodes is how the mesh package begins the codes of issues about files outside the delivery.
const selfContainedCodes = "self_contained."

func fileFormat(_ context.Context, _ *Subject, t Target, r spec.Rule) Finding {
	var faults, warnings, undecoded []mesh.Issue
	outside := 0
	for _, i := range t.File.Issues {
		switch {
		case strings.HasPrefix(i.Code, selfContainedCodes):
			outside++
		case i.Undecoded:
			undecoded = append(undecoded, i)
		case i.Warning:
			warnings = append(warnings, i)
		default:
			faults = append(faults, i)
		}
	}
	said := len(faults) + len(warnings) + len(undecoded)
	switch {
	case said == 0 && t.File.Scene == nil && t.File.WidthPx == 0 && outside == 0:
		return Finding{} // nothing with a structure that is read here
	case len(faults) == 0 && len(undecoded) > 0:
		f := unable(words.Literal, issueWords(undecoded[0]))
		f.Where = issuePlaces(undecoded)
		f.Labels = map[string]string{"code": undecoded[0].Code}
		f.remedy("file.format.without")
		return f
	case said == 0 && t.File.Scene == nil && t.File.WidthPx == 0:
		return unable("file.format.outside")
	}
	f := judge(r, map[string]float64{"count": float64(len(faults)), "warnings": float64(len(warnings))},
		atMost("count", "max_count"), atMost("warnings", "max_warnings").warns())
	f.say("file.format.kept")
	if len(faults) > 0 {
		f.say(words.Literal, issueWords(faults[0]))
		f.furtherFaults(len(faults) - 1)
		f.Where = issuePlaces(faults)
		f.Labels = withLabel(f.Labels, "code", faults[0].Code)
		f.remedy("file.format.export_again")
	} else if len(warnings) > 0 {
		f.say("file.format.kept_but", issueWords(warnings[0]))
		f.furtherFaults(len(warnings) - 1)
		f.Where = issuePlaces(warnings)
		f.Labels = withLabel(f.Labels, "code", warnings[0].Code)
	}
	return f
}

func (f *Finding) furtherFaults(n int) {
	if n > 0 {
		f.also("file.further", words.Count(n))
	}
}

// issueWords is what a reader of files says of a fault.
func issueWords(i mesh.Issue) words.Arg { return words.Own("fault."+i.Code+"/said", i.Message) }

func issuePlaces(issues []mesh.Issue) []Place {
	var out []Place
	for _, i := range issues[:min(len(issues), maxPlaces)] {
		p := Place{Pointer: i.Pointer}
		p.note(words.Literal, issueWords(i))
		if i.Offset >= 0 {
			offset := i.Offset
			p.Offset = &offset
		}
		out = append(out, p)
	}
	return out
}

var selfContainedDef = spec.Check{
	Name: "file.self_contained", Scope: spec.PerFile, Title: "nothing outside",
	What:   "References to files that are not in the delivery: missing ones, absolute paths, paths that climb out, remote addresses. None of them is ever opened.",
	Why:    "What is not delivered cannot be checked, stored or shipped.",
	Source: "glTF 2.0, 2.8 (URIs)",
	Limits: []spec.Limit{{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0),
		What: "References that lead out of the delivery.", Origin: "glTF 2.0, 2.8"}},
	Mode: blocksAll, From: fromBlockOut, Metrics: []string{"count"},
}

func fileSelfContained(_ context.Context, _ *Subject, t Target, r spec.Rule) Finding {
	var outside []mesh.Issue
	for _, i := range t.File.Issues {
		if strings.HasPrefix(i.Code, selfContainedCodes) && !i.Warning {
			outside = append(outside, i)
		}
	}
	if len(outside) == 0 && t.File.Scene == nil {
		return Finding{} // no geometry file, or one of which file.format tells that it could not be read
	}
	f := judge(r, map[string]float64{"count": float64(len(outside))}, atMost("count", "max_count"))
	f.say("file.self_contained.all")
	if len(outside) > 0 {
		f.say(words.Literal, issueWords(outside[0]))
		f.furtherFaults(len(outside) - 1)
		f.Where = issuePlaces(outside)
		f.Labels = withLabel(f.Labels, "code", outside[0].Code)
		f.remedy("file.self_contained.put_beside")
	}
	return f
}

var requiredDef = spec.Check{
	Name: "file.required", Scope: spec.PerDelivery, Title: "all files there",
	What:   "Roles that the spec asks for at this milestone against what was delivered, as files or inside them.",
	Why:    "What is missing is found weeks later by whoever needs it.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0),
		What: "Roles that are missing.", Origin: spec.CommonPractice}},
	Mode: blocksAll, From: fromBlockOut, Metrics: []string{"count"},
}

func fileRequired(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	var missing []string
	for _, role := range s.Spec.Requires {
		if !delivered(s, role) {
			missing = append(missing, role)
		}
	}
	f := judge(r, map[string]float64{"count": float64(len(missing))}, atMost("count", "max_count"))
	f.say("file.required.there", words.Names(s.Spec.Requires...))
	if len(s.Spec.Requires) == 0 {
		f.say("file.required.none_asked")
	}
	if len(missing) > 0 {
		f.say("file.required.missing", words.Names(missing...))
		f.remedy("file.required.add")
		for _, role := range missing[:min(len(missing), maxPlaces)] {
			p := Place{}
			p.note(words.Literal, words.Name(role))
			f.Where = append(f.Where, p)
		}
	}
	return f
}

// delivered says whether a role is there: as a file that is not empty, as pieces inside a file, or, for a map, as a
// texture of a game material. "source.*" is there with any file whose role begins so.
func delivered(s *Subject, role string) bool {
	prefix, open := strings.CutSuffix(role, "*")
	prefix = strings.TrimSuffix(prefix, ".")
	for _, f := range s.Files {
		if f.Bytes > 0 && (f.Role == role || open && (f.Role == prefix || strings.HasPrefix(f.Role, prefix+"."))) {
			return true
		}
	}
	if name, ok := strings.CutPrefix(role, "map."); ok {
		return mapDelivered(s, name)
	}
	var lod int
	switch {
	case role == "game":
		return bodyThere(lodBody(s, 0))
	case role == "sculpt":
		return bodyThere(s.Sculpt)
	case role == "cage":
		return bodyThere(s.Cage)
	case role == "collision":
		return bodyThere(s.Hulls)
	}
	if n, err := fmt.Sscanf(role, "game.lod%d", &lod); n == 1 && err == nil {
		return bodyThere(lodBody(s, lod))
	}
	return false
}

func lodBody(s *Subject, lod int) *Body {
	if lod < 0 || lod >= len(s.LODs) {
		return nil
	}
	return s.LODs[lod]
}

func bodyThere(b *Body) bool { return b != nil && b.Triangles() > 0 }

// mapDelivered says whether a map, "normal" or "normal@set", is there for the set or for any set.
func mapDelivered(s *Subject, name string) bool {
	name, set, one := strings.Cut(name, "@")
	for _, t := range s.Sets {
		if one && t.Name != set {
			continue
		}
		if f := t.Maps[name]; f != nil && f.Bytes > 0 {
			return true
		}
		for _, r := range t.Game.Of {
			if m := r.Scene.Prims[r.Draw.Prim].Material; m >= 0 {
				if _, ok := textureOf(&r.Scene.Materials[m], name); ok && name != "normal_baked" {
					return true
				}
			}
		}
	}
	return false
}
