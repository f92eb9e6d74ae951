package acceptance

import (
	"context"
	"fmt"
	"math"
	"strings"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
	"proofhouse/internal/canon"
)

// revisionChecks come last in the catalogue: they read what the others found. Without a delivery before they say nothing.
func revisionChecks() []Check {
	return []Check{
		{Def: revisionSameDef, Run: revisionSame},
		{Def: revisionChangedDef, Run: revisionChanged},
		{Def: revisionRegressedDef, Run: revisionRegressed},
	}
}

// Previous names the evidence that a delivery was compared with.
type Previous struct {
	SHA256 string `json:"sha256"` // of its canonical form, hex
}

// compareWith readies a subject for revision.*: what it holds, and what the delivery before held.
func compareWith(s *Subject, previous *Evidence) error {
	s.content = contentOf(s)
	if previous == nil {
		return nil
	}
	if previous.Spec.Prop != s.Spec.Prop {
		return fmt.Errorf("%w: the evidence to compare with is of the prop %q, the spec is of %q", ErrDelivery, previous.Spec.Prop, s.Spec.Prop)
	}
	data, err := canon.Marshal(previous)
	if err != nil {
		return fmt.Errorf("the evidence of the delivery before: %w", err)
	}
	s.previous, s.previousRef = previous, &Previous{SHA256: canon.Digest(data)}
	return nil
}

var reportsAll = [4]spec.Mode{spec.Reports, spec.Reports, spec.Reports, spec.Reports}

var revisionSameDef = spec.Check{
	Name: "revision.same", Scope: spec.PerDelivery, Title: "same as before",
	What: "Whether anything changed since the delivery before: parts by their triangles, normals and UVs, whatever the order of the file and the rounding of its coordinates, and maps by their bytes. " +
		"Nothing is said of a first delivery.",
	Why:    "The same delivery again costs a round of review and mends nothing.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "min_changed", Kind: spec.AtLeast, Unit: "count", Default: same(1), What: "Parts and maps that differ from the delivery before.", Origin: spec.CommonPractice}},
	Mode:   warnsAll, From: fromBlockOut, Metrics: []string{"changed", "rounded"},
}

// tellsOfBefore says whether a finding tells what became of the delivery before.
func tellsOfBefore(f Finding) bool {
	return f.Check == revisionChangedDef.Name || f.Check == revisionRegressedDef.Name
}

// SinceBefore are an inspection's findings that tell what became of the delivery before; none for a first delivery.
func SinceBefore(e *Evidence) []Finding {
	var out []Finding
	for _, f := range e.Findings {
		if tellsOfBefore(f) || f.Check == revisionSameDef.Name && f.Outcome != Pass {
			out = append(out, f)
		}
	}
	return out
}

// change is one part or map that differs from the delivery before.
type change struct {
	now, before *Content // nil where it was added or taken away
	what        []string
}

// changesOf lists what differs from the delivery before, what is there now first, and how many are the same but for
// rounding.
func changesOf(s *Subject) (out []change, rounded int) {
	before := map[string]*Content{}
	for i := range s.previous.Content {
		before[contentKey(&s.previous.Content[i])] = &s.previous.Content[i]
	}
	for i := range s.content {
		now := &s.content[i]
		was := before[contentKey(now)]
		delete(before, contentKey(now))
		if was == nil {
			out = append(out, change{now: now, what: []string{"added"}})
			continue
		}
		what, close := now.moved(*was)
		if close {
			rounded++
		}
		if len(what) > 0 {
			out = append(out, change{now: now, before: was, what: what})
		}
	}
	for i := range s.previous.Content {
		if was := &s.previous.Content[i]; before[contentKey(was)] == was {
			out = append(out, change{before: was, what: []string{"gone"}})
		}
	}
	return out, rounded
}

func contentKey(c *Content) string { return c.Role + "\x00" + c.Part + "\x00" + c.Set }

func revisionSame(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	if s.previous == nil {
		return Finding{}
	}
	if s.previous.Content == nil {
		return unable("revision.same.unknown")
	}
	changes, rounded := changesOf(s)
	f := judge(r, map[string]float64{"changed": float64(len(changes)), "rounded": float64(rounded)}, atLeast("changed", "min_changed"))
	f.say("revision.same.changed", words.Count(len(changes)))
	if broke(f) {
		f.say("revision.same.nothing", words.Count(len(s.content)))
		f.remedy("revision.same.send")
	}
	if rounded > 0 {
		f.also("revision.same.rounded", words.Count(rounded))
	}
	return f
}

var revisionChangedDef = spec.Check{
	Name: "revision.changed", Scope: spec.PerDelivery, Title: "changed since",
	What:   "What moved since the delivery before: parts and maps that changed, came or went, and measured values that differ by more than a hundredth of what they are held against.",
	Why:    "Whoever looks again looks first where something moved.",
	Source: spec.CommonPractice,
	Mode:   reportsAll, From: fromBlockOut, Metrics: []string{"parts", "maps", "numbers"},
}

// moved is one number that differs from the delivery before.
type movedNumber struct {
	now, before Finding
	metric      string
	by          float64 // in what it is held against
}

func revisionChanged(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	if s.previous == nil {
		return Finding{}
	}
	if s.previous.Content == nil {
		return unable("revision.same.unknown")
	}
	changes, _ := changesOf(s)
	parts, maps := 0, 0
	var places []Place
	for _, c := range changes {
		if strings.HasPrefix(c.role(), "map.") {
			maps++
		} else {
			parts++
		}
		places = append(places, c.place())
	}
	numbers := movedNumbers(s)
	f := judge(r, map[string]float64{"parts": float64(parts), "maps": float64(maps), "numbers": float64(len(numbers))})
	f.say("revision.changed.moved", words.Count(parts), words.Count(maps), words.Count(len(numbers)))
	if s.previous.Spec.Digest != s.Spec.Digest {
		f.also("revision.changed.spec")
	}
	if s.previous.Engine.Commit != EngineNow().Commit {
		f.also("revision.changed.engine")
	}
	w := worst{}
	for i, n := range numbers {
		w.add(n.by, i)
	}
	// Half the places for things and half for numbers, where there are that many of both.
	things := min(len(places), max(maxPlaces/2, maxPlaces-len(numbers)))
	f.Where = places[:things]
	for _, e := range w.top() {
		if len(f.Where) == maxPlaces {
			break
		}
		f.Where = append(f.Where, numbers[e.at].place())
	}
	return f
}

func (c change) role() string {
	if c.now != nil {
		return c.now.Role
	}
	return c.before.Role
}

// place says what became of a part or map.
func (c change) place() Place {
	is := c.now
	if is == nil {
		is = c.before
	}
	name := is.Role
	if of := is.Part + is.Set; of != "" {
		name += " " + of
	}
	var p Place
	switch c.what[0] {
	case "added":
		p.note("revision.changed.added", words.Name(name))
	case "gone":
		p.note("revision.changed.gone", words.Name(name))
	case "pixels":
		p.note("revision.changed.pixels", words.Name(name))
	case "shape":
		p.note("revision.changed.shape", words.Name(name), words.Count(c.before.Triangles), words.Count(c.now.Triangles))
	default:
		var of []words.Arg
		for _, w := range c.what {
			if w == "shading" {
				of = append(of, words.Term("changed.shading"))
			} else {
				of = append(of, words.Term("changed.layout"))
			}
		}
		p.note("revision.changed.attributes", words.Name(name), words.List(of...))
	}
	return p
}

func (n movedNumber) place() Place {
	var p Place
	before, now := n.before.Metrics[n.metric], n.now.Metrics[n.metric]
	p.note("revision.changed.number", words.Name(checkOf(n.now)), words.Name(n.metric), words.Num(before), words.Num(now))
	p.Value = &Value{Value: now, Unit: unitOf(n.metric)}
	return p
}

// checkOf is a finding's check and what it is about.
func checkOf(f Finding) string {
	name := f.Check
	for _, of := range []string{f.Part, f.Set, f.File, f.Pose} {
		if of != "" {
			name += " " + of
		}
	}
	if f.LOD != nil {
		name += " LOD " + itoa(*f.LOD)
	}
	if f.Tile != nil {
		name += " " + itoa(*f.Tile)
	}
	return name
}

// findingKey is what a finding is about; the same in every delivery of a prop.
func findingKey(f Finding) string {
	number := func(n *int) string {
		if n == nil {
			return ""
		}
		return itoa(*n)
	}
	return strings.Join([]string{f.Check, f.Set, f.Part, number(f.LOD), number(f.Tile), f.Pose, f.File}, "\x00")
}

// earlier finds the findings of the delivery before.
func earlier(s *Subject) map[string]Finding {
	out := map[string]Finding{}
	for _, f := range s.previous.Findings {
		if k := findingKey(f); out[k].Check == "" { // of two, the headline
			out[k] = f
		}
	}
	return out
}

// movedNumbers lists, for each finding, the held metric that moved most, where it moved by more than a hundredth of its
// limit, or of itself where the limit is nothing.
func movedNumbers(s *Subject) []movedNumber {
	before := earlier(s)
	var out []movedNumber
	for _, f := range s.found {
		was, known := before[findingKey(f)]
		if !known || strings.HasPrefix(f.Check, "revision.") {
			continue
		}
		best := movedNumber{now: f, before: was}
		for _, b := range f.Bounds {
			x, had := was.Metrics[b.Metric]
			y, has := f.Metrics[b.Metric]
			if !had || !has {
				continue
			}
			against := math.Abs(f.Limit[b.Limit])
			if against == 0 {
				against = max(math.Abs(x), math.Abs(y))
			}
			if by := math.Abs(y-x) / against; against > 0 && by > 0.01 && by > best.by {
				best.metric, best.by = b.Metric, by
			}
		}
		if best.metric != "" {
			out = append(out, best)
		}
	}
	return out
}

var revisionRegressedDef = spec.Check{
	Name: "revision.regressed", Scope: spec.PerDelivery, Title: "worse than before",
	What:   "Findings that passed in the delivery before and fail or warn now, and those that failed and pass now.",
	Why:    "Mending one thing must not break another; what was looked at and good is not looked at again.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_failed", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Findings that passed or warned before and fail now.", Origin: spec.CommonPractice},
		{Key: "max_warned", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Findings that passed before and warn now.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromBlockOut, Metrics: []string{"failed", "warned", "mended"},
}

func revisionRegressed(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	if s.previous == nil {
		return Finding{}
	}
	before := earlier(s)
	var failed, warned, mended []Finding
	for _, f := range s.found {
		was, known := before[findingKey(f)]
		if !known || f.FollowsFrom != "" || strings.HasPrefix(f.Check, "revision.") {
			continue
		}
		switch {
		case f.Outcome == Fail && (was.Outcome == Pass || was.Outcome == Warn):
			failed = append(failed, f)
		case f.Outcome == Warn && was.Outcome == Pass:
			warned = append(warned, f)
		case was.Outcome == Fail && (f.Outcome == Pass || f.Outcome == Warn):
			mended = append(mended, f)
		}
	}
	f := judge(r, map[string]float64{"failed": float64(len(failed)), "warned": float64(len(warned)), "mended": float64(len(mended))},
		atMost("failed", "max_failed"), atMost("warned", "max_warned"))
	f.say("revision.regressed.none", words.Count(len(mended)))
	if !broke(f) {
		return f
	}
	f.say("revision.regressed.some", words.Count(len(failed)), words.Count(len(warned)), words.Count(len(mended)))
	f.remedy("revision.regressed.undo")
	for _, g := range append(failed, warned...) {
		if len(f.Where) == maxPlaces {
			break
		}
		var p Place
		if len(g.Where) > 0 {
			p = Place{Node: g.Where[0].Node, PointMM: g.Where[0].PointMM, Side: g.Where[0].Side}
		}
		p.note("revision.regressed.finding", words.Name(checkOf(g)))
		f.Where = append(f.Where, p)
	}
	return f
}
