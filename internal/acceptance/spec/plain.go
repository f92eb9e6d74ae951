package spec

import (
	"slices"
	"strings"

	"proofhouse/internal/acceptance/words"
)

// Passage is a heading with sentences and points under it. The zero heading is none.
type Passage struct {
	Heading   words.Phrase
	Sentences []words.Phrase
	Points    []words.Phrase
}

// InPlainWords says what the contract is about, for whoever makes the prop: what it is, what to deliver and how to name
// it, what its parts and sets are taken for, and what the end of a name says. The checks are not in it.
func (s *Spec) InPlainWords() []Passage {
	out := []Passage{s.plainProp(), s.plainFiles()}
	for _, p := range []Passage{s.plainParts(), s.plainSets(), s.plainSuffixes(Free), s.plainSuffixes(Ask)} {
		if len(p.Points) > 0 {
			out = append(out, p)
		}
	}
	return out
}

func (s *Spec) plainProp() Passage {
	title, c := s.Title, s.Conventions
	if title == "" {
		title = s.Prop
	}
	p := Passage{Sentences: []words.Phrase{words.P("plain.prop", words.Name(title), words.Name(s.Prop), words.Term("judged."+string(s.Tier)))}}
	say := func(code string, args ...words.Arg) { p.Sentences = append(p.Sentences, words.P(code, args...)) }
	if s.SizeMM != nil {
		say("plain.size", words.SizeMM(*s.SizeMM))
	}
	say("plain.camera", words.Num(s.View.DistanceM), words.Count(s.View.ScreenLines), words.MM(s.View.PixelMM()))
	say("plain.axes", words.Term("unit."+c.Unit), words.Name(c.Up), words.Name(c.Forward))
	if c.Green == "down" {
		say("plain.green_down")
	} else {
		say("plain.green_up")
	}
	if c.Hug == "centred" {
		say("plain.hug_centred")
	} else {
		say("plain.hug_outside")
	}
	return p
}

func (s *Spec) plainFiles() Passage {
	p := Passage{Heading: words.P("plain.files", words.Term("stage."+string(s.Milestone)))}
	for _, role := range s.Requires {
		patterns := s.patternsOf(role)
		switch len(patterns) {
		case 0:
			p.Points = append(p.Points, words.P("plain.named_freely", roleWords(role)))
		case 1:
			p.Points = append(p.Points, words.P("plain.named", roleWords(role), words.Name(patterns[0])))
		default:
			p.Points = append(p.Points, words.P("plain.named_either", roleWords(role), words.Names(patterns[:len(patterns)-1]...), words.Name(patterns[len(patterns)-1])))
		}
	}
	if len(p.Points) == 0 {
		p.Points = append(p.Points, words.P("plain.nothing"))
	}
	return p
}

// plainRoles are the roles that have words; the rest are said by their own names.
var plainRoles = []string{"game", "sculpt", "cage", "collision", "bake_pose", "reference"}

// roleWords says what a role is, with its name beside it.
func roleWords(role string) words.Arg {
	kind, of, _ := strings.Cut(role, ".")
	switch {
	case slices.Contains(plainRoles, role):
		return words.Said("plain.role", words.Term("file_role."+role), words.Name(role))
	case kind == "map" && of != "":
		return words.Said("plain.role_map", words.Name(of), words.Name(role))
	case kind == "source" && of != "":
		return words.Said("plain.role_source", words.Name(of), words.Name(role))
	}
	return words.Name(role)
}

// plainPatterns bounds how many patterns of a role are told.
const plainPatterns = 3

// patternsOf are the file names that give a role, the prop's code put in.
func (s *Spec) patternsOf(role string) []string {
	var out []string
	for _, f := range s.Files {
		if f.Role == role && !f.Node && len(out) < plainPatterns {
			name := strings.ReplaceAll(f.Pattern, "{prop}", s.Prop)
			if !slices.Contains(out, name) {
				out = append(out, name)
			}
		}
	}
	return out
}

func (s *Spec) plainParts() Passage {
	p := Passage{Heading: words.P("plain.parts")}
	for _, part := range s.Parts {
		if said := part.inPlainWords(); len(said) > 0 {
			p.Points = append(p.Points, words.P("plain.thing", words.Name(part.Name), words.List(said...)))
		}
	}
	return p
}

// inPlainWords says what is particular about a part.
func (p Part) inPlainWords() (out []words.Arg) {
	say := func(on bool, code string, args ...words.Arg) {
		if on {
			out = append(out, words.Said(code, args...))
		}
	}
	say(p.Kind != "" && p.Kind != Solid, "plain.kind", words.Term("part_kind."+string(p.Kind)))
	for _, place := range p.Open {
		say(true, "plain.open", words.Term("open_at."+place))
	}
	for _, plane := range p.OpenAt {
		say(true, "plain.open_plane", words.Num(plane.Normal[0]), words.Num(plane.Normal[1]), words.Num(plane.Normal[2]), words.MMExact(plane.OffsetMM), words.MMExact(plane.TolMM))
	}
	switch {
	case len(p.Sculpt) == 1 && p.Sculpt[0] == "none":
		say(true, "plain.sculpt_none")
	case len(p.Sculpt) == 1 && p.Sculpt[0] == "shared":
		say(true, "plain.sculpt_shared")
	default:
		say(len(p.Sculpt) > 0, "plain.sculpt", words.Names(p.Sculpt...))
	}
	say(p.TwoSided == "material", "plain.two_sided_material")
	say(p.TwoSided == "geometry", "plain.two_sided_geometry")
	say(p.NoDensity || p.Name != "" && p.Density == 0, "plain.density_none")
	say(p.Density != 0 && p.Density != 1, "plain.density", words.Num(p.Density))
	if p.ReachMM != nil {
		say(true, "plain.reach", words.MMExact(p.ReachMM.FrontMM), words.MMExact(p.ReachMM.BackMM))
	}
	say(len(p.MayCross) > 0, "plain.may_cross", words.Names(p.MayCross...))
	say(p.Mirror != "" && p.Mirror != "none", "plain.mirror", words.Name(p.Mirror))
	say(p.Pivot == "hinge", "plain.pivot_hinge")
	say(p.Pivot == "slide", "plain.pivot_slide")
	say(len(p.Poses) > 0, "plain.poses", words.Names(p.Poses...))
	return out
}

func (s *Spec) plainSets() Passage {
	p := Passage{Heading: words.P("plain.sets")}
	for _, set := range s.Sets {
		said := []words.Arg{words.Said("plain.kind", words.Term("set_kind."+string(set.Kind)))}
		say := func(on bool, code string, args ...words.Arg) {
			if on {
				said = append(said, words.Said(code, args...))
			}
		}
		say(set.ShipPx > 0, "plain.ships_at", words.Px(float64(set.ShipPx)))
		say(set.AuthorPx > 0, "plain.painted_at", words.Px(float64(set.AuthorPx)))
		say(set.Stack == "none", "plain.stack_none")
		say(set.Stack == "mirrored", "plain.stack_mirrored")
		say(set.Stack == "copies", "plain.stack_copies")
		say(set.Alpha == "mask", "plain.alpha_mask")
		say(set.Alpha == "blend", "plain.alpha_blend")
		p.Points = append(p.Points, words.P("plain.thing", words.Name(set.Name), words.List(said...)))
	}
	return p
}

// plainSuffixes says what the ends of names mean that a vendor may use freely, or after asking.
func (s *Spec) plainSuffixes(who Who) Passage {
	p := Passage{Heading: words.P("plain.suffixes_free")}
	if who == Ask {
		p.Heading = words.P("plain.suffixes_ask")
	}
	for _, a := range s.Annotations {
		if said := a.Keys.inPlainWords(); a.Who == who && len(said) > 0 {
			p.Points = append(p.Points, words.P("plain.thing", words.Name(a.Suffix), words.List(said...)))
		}
	}
	return p
}
