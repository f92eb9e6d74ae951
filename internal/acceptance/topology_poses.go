package acceptance

import (
	"slices"

	"proofhouse/internal/acceptance/spec"
)

// pose is the prop with its moving parts somewhere on their way: the vertices of LOD 0. The rest pose has no name.
type pose struct {
	name string
	pos  []float32
}

// poses are the rest pose, and for props whose moving parts have a hinge or rail in the spec (scene.swing) the poses that the
// spec names: spread evenly over the way, the first at rest and the last at its end. A part that names none is looked at at
// its end too. All parts move together.
func (x *topoTarget) poses() []pose {
	out := []pose{{pos: x.Pos}}
	if x.lod > 0 {
		return out
	}
	count := 0
	var names []string
	for _, p := range x.s.Parts {
		if _, _, ok := wayOf(x.s, p); ok {
			n := max(len(p.Def.Poses), 2)
			if count = max(count, n); len(p.Def.Poses) > len(names) {
				names = p.Def.Poses
			}
		}
	}
	for i := 1; i < count; i++ {
		moved := pose{name: "end", pos: slices.Clone(x.Pos)}
		if i < len(names) {
			moved.name = names[i]
		}
		for _, p := range x.s.Parts {
			line, all, ok := wayOf(x.s, p)
			if !ok {
				continue
			}
			x.putIn(moved.pos, p, movedPart(p, line, all*float64(i)/float64(count-1)))
		}
		out = append(out, moved)
	}
	return out
}

// wayOf is a moving part's hinge or rail, and how far it goes, in degrees or millimetres.
func wayOf(s *Subject, p *Part) (line axisLine, all float64, ok bool) {
	if p.Def.Kind != spec.Moving {
		return line, 0, false
	}
	r := s.Spec.Rule("scene.swing", &p.Def, nil)
	if line, ok = lineOf(numbers(r.Lists["line_mm"])); !ok {
		return line, 0, false
	}
	key := "swing_deg"
	if p.Def.Pivot == "slide" {
		key = "travel_mm"
	}
	all, ok = r.Num(key)
	return line, all, ok && all > 0
}

// putIn puts a part's vertices into the body's.
func (b *topoBody) putIn(pos []float32, p *Part, moved []float32) {
	at := map[drawKey]int{}
	for _, r := range b.sf.Of {
		at[keyOf(r)] = r.VFirst
	}
	for _, r := range p.Game.Of {
		if first, ok := at[keyOf(r)]; ok {
			copy(pos[3*first:], moved[3*r.VFirst:3*r.VEnd])
		}
	}
}
