package spec

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// Explain prints the spec in force, every value with its origin: who said it, and for a preset, on what ground.
func Explain(w io.Writer, s *Spec) error {
	p := &printer{w: w}
	p.line("spec of %s (%s), tier %s, milestone %s", s.Prop, orDash(s.Title), s.Tier, s.Milestone)
	p.line("digest %s", s.Digest)
	p.line("one pixel at %g m is %.3g mm", s.View.DistanceM, s.View.PixelMM())
	p.line("")
	p.conventions(s)
	for _, part := range s.Parts {
		p.row("part "+part.Name, partWords(part), s.origins["parts."+part.Name])
	}
	for _, set := range s.Sets {
		p.row("set "+set.Name, setWords(set), s.origins["sets."+set.Name])
	}
	for _, a := range s.Annotations {
		p.row("suffix "+a.Suffix, string(a.Who)+": "+partWords(a.Keys), s.origins["annotations."+a.Suffix])
	}
	for _, f := range s.Files {
		what := "file "
		if f.Node {
			what = "node "
		}
		p.row(what+f.Pattern, f.Role, f.Origin)
	}
	p.row("needed now", orDash(strings.Join(s.Requires, ", ")), "")
	for _, c := range s.catalogue {
		p.check(s, c, "", s.Rule(c.Name, nil, nil))
		for i := range s.Parts {
			if _, own := s.Parts[i].Rules[c.Name]; own {
				p.check(s, c, "part "+s.Parts[i].Name, s.Rule(c.Name, &s.Parts[i], nil))
			}
		}
		for i := range s.Sets {
			if _, own := s.Sets[i].Rules[c.Name]; own {
				p.check(s, c, "set "+s.Sets[i].Name, s.Rule(c.Name, nil, &s.Sets[i]))
			}
		}
	}
	return p.err
}

type printer struct {
	w   io.Writer
	err error
}

func (p *printer) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

func (p *printer) row(key, value, origin string) {
	if origin != "" {
		origin = "  <- " + origin
	}
	p.line("  %-34s %s%s", key, value, origin)
}

func (p *printer) conventions(s *Spec) {
	c := s.Conventions
	rows := []struct{ key, value string }{
		{"unit", c.Unit}, {"up", c.Up}, {"forward", c.Forward}, {"green", c.Green}, {"hug", c.Hug}, {"look", c.Look}, {"mirror", c.Mirror},
		{"weld_mm", number6(c.WeldMM)}, {"cage", c.Cage}, {"origin_at", c.OriginAt},
	}
	if c.ReachMM != nil {
		rows = append(rows, struct{ key, value string }{"reach_mm", fmt.Sprintf("front %g, back %g", c.ReachMM.FrontMM, c.ReachMM.BackMM)})
	}
	if c.OriginMM != nil {
		rows = append(rows, struct{ key, value string }{"origin_mm", fmt.Sprint(*c.OriginMM)})
	}
	for _, name := range sortedKeys(c.Packing) {
		rows = append(rows, struct{ key, value string }{"packing." + name, strings.Join(c.Packing[name], ", ")})
	}
	p.line("conventions")
	for _, r := range rows {
		key, _, _ := strings.Cut(r.key, ".")
		p.row(r.key, r.value, s.originOf("conventions."+key, "default"))
	}
	p.line("view")
	preset := "preset " + string(s.Tier) + " (" + CommonPractice + ")"
	p.row("placed", s.View.Placed, s.originOf("view.placed", "default"))
	p.row("distance_m", number6(s.View.DistanceM), s.originOf("view.distance_m", preset))
	p.row("fov_deg", number6(s.View.FOVDeg), s.originOf("view.fov_deg", preset))
	p.row("screen_lines", strconv.Itoa(s.View.ScreenLines), s.originOf("view.screen_lines", preset))
	p.line("prop")
	if s.SizeMM != nil {
		p.row("size_mm", fmt.Sprint(*s.SizeMM), s.originOf("size_mm", ""))
	}
}

func (s *Spec) originOf(path, otherwise string) string {
	if o := s.origins[path]; o != "" {
		return o
	}
	return otherwise
}

func (p *printer) check(s *Spec, c Check, of string, r Rule) {
	head := c.Name
	if of != "" {
		head += " for " + of
	}
	mode := string(r.Mode)
	if r.Reason != "" {
		mode += ": " + r.Reason
	}
	if len(r.CountsFrom) > 0 {
		mode += fmt.Sprintf(" (would be %s from %s on)", s.rules[c.Name].Mode, r.CountsFrom[0])
	}
	p.line("%s", head)
	p.row("mode", mode, r.Origins["mode"])
	for _, l := range c.Limits {
		if r.Mode == NotAppl {
			break
		}
		p.row(l.Key, limitValue(r, l), r.Origins[l.Key])
	}
}

func limitValue(r Rule, l Limit) string {
	if list, ok := r.Lists[l.Key]; ok {
		return strings.Join(list, "  ")
	}
	if word, ok := r.Words[l.Key]; ok {
		return word
	}
	v, on := r.Numbers[l.Key]
	if !on {
		return "off"
	}
	return strings.TrimSpace(number6(v) + " " + l.Unit)
}

func number6(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

func partWords(p Part) string {
	var words []string
	if p.Kind != "" {
		words = append(words, string(p.Kind))
	}
	if len(p.Match) > 0 {
		words = append(words, "match "+strings.Join(p.Match, " "))
	}
	if len(p.Open) > 0 {
		words = append(words, "open "+strings.Join(p.Open, " "))
	}
	for _, plane := range p.OpenAt {
		words = append(words, fmt.Sprintf("open at the plane %g %g %g, %g mm ± %g", plane.Normal[0], plane.Normal[1], plane.Normal[2], plane.OffsetMM, plane.TolMM))
	}
	if len(p.Sculpt) > 0 {
		words = append(words, "sculpt "+strings.Join(p.Sculpt, " "))
	}
	if p.TwoSided != "" && p.TwoSided != "no" {
		words = append(words, "two-sided by "+p.TwoSided)
	}
	if p.Name != "" && p.Density != 1 {
		words = append(words, fmt.Sprintf("density × %g", p.Density))
	}
	if p.ReachMM != nil {
		words = append(words, fmt.Sprintf("reach %g mm out, %g mm in", p.ReachMM.FrontMM, p.ReachMM.BackMM))
	}
	if len(p.MayCross) > 0 {
		words = append(words, "may cross "+strings.Join(p.MayCross, " "))
	}
	if p.Pivot != "" && p.Pivot != "none" {
		words = append(words, "pivot "+p.Pivot)
	}
	if len(p.Poses) > 0 {
		words = append(words, "poses "+strings.Join(p.Poses, " "))
	}
	return strings.Join(words, "; ")
}

func setWords(s Set) string {
	words := []string{string(s.Kind), "match " + strings.Join(s.Match, " ")}
	if s.ShipPx > 0 {
		words = append(words, fmt.Sprintf("ships at %d px", s.ShipPx))
	}
	if s.AuthorPx > 0 {
		words = append(words, fmt.Sprintf("painted at %d px", s.AuthorPx))
	}
	if s.Stack != "any" {
		words = append(words, "stack "+s.Stack)
	}
	if s.Alpha != "none" {
		words = append(words, "alpha "+s.Alpha)
	}
	return strings.Join(words, "; ")
}

// ExplainPlainly prints the same contract in sentences for the one who makes the prop: what to deliver, how to name it,
// what will be measured and what a broken limit leads to.
func ExplainPlainly(w io.Writer, s *Spec) error {
	p := &printer{w: w}
	title := s.Title
	if title == "" {
		title = s.Prop
	}
	p.line("%s (%s), judged as %s.", title, s.Prop, tierInWords[s.Tier])
	if s.SizeMM != nil {
		p.line("It measures %g × %g × %g mm (x, y, z).", s.SizeMM[0], s.SizeMM[1], s.SizeMM[2])
	}
	p.line("The camera comes as near as %g m; one pixel of a %d-line screen is then %.2g mm on the prop.", s.View.DistanceM, s.View.ScreenLines, s.View.PixelMM())
	c := s.Conventions
	p.line("Files are in %s, %s is up, the front looks along %s. Green of normal maps points %s. The game surface %s.",
		unitInWords[c.Unit], c.Up, c.Forward, c.Green, map[string]string{"outside": "stays just outside the sculpt", "centred": "runs through the middle of the sculpt's surface"}[c.Hug])
	p.line("")
	p.line("Deliver for the milestone %s:", s.Milestone)
	for _, role := range s.Requires {
		p.line("  - %s, named %s", role, strings.Join(s.patternsOf(role), " or "))
	}
	if len(s.Requires) == 0 {
		p.line("  - nothing in particular is demanded")
	}
	p.line("")
	p.line("A name that ends in one of these says so without asking: %s", strings.Join(s.suffixes(Free), ", "))
	if ask := s.suffixes(Ask); len(ask) > 0 {
		p.line("These are asked of the studio first: %s", strings.Join(ask, ", "))
	}
	p.line("")
	for _, group := range []struct {
		title string
		holds func(Rule) bool
	}{
		{"These must hold, or the delivery is returned:", func(r Rule) bool { return r.Mode == Blocks }},
		{"These are told as warnings:", func(r Rule) bool { return r.Mode == Warns }},
		{"These are measured and count later or not at all:", func(r Rule) bool { return r.Mode == Reports }},
		{"These do not apply:", func(r Rule) bool { return r.Mode == NotAppl }},
	} {
		p.group(s, group.title, group.holds)
	}
	return p.err
}

var tierInWords = map[Tier]string{
	Background: "a background prop", MidGround: "a mid-ground prop", Hero: "a hero prop", CloseUp: "a prop seen close up",
}

var unitInWords = map[string]string{"m": "metres", "dm": "decimetres", "cm": "centimetres", "mm": "millimetres", "in": "inches", "ft": "feet"}

func (p *printer) group(s *Spec, title string, holds func(Rule) bool) {
	n := 0
	for _, c := range s.catalogue {
		r := s.Rule(c.Name, nil, nil)
		if !holds(r) {
			continue
		}
		if n++; n == 1 {
			p.line("%s", title)
		}
		p.line("  - %s (%s): %s", c.Title, c.Name, c.What)
		if r.Mode == NotAppl {
			p.line("      because %s", r.Reason)
			continue
		}
		if words := limitsInWords(c, r); words != "" {
			p.line("      %s", words)
		}
		p.line("      Why: %s", c.Why)
		if len(r.CountsFrom) > 0 {
			p.line("      Counts from the milestone %s on.", r.CountsFrom[0])
		}
	}
	if n > 0 {
		p.line("")
	}
}

func limitsInWords(c Check, r Rule) string {
	var words []string
	for _, l := range c.Limits {
		v := limitValue(r, l)
		if v == "off" || v == "" || l.List {
			continue
		}
		lead := map[LimitKind]string{AtMost: "at most ", AtLeast: "at least ", Target: "", Option: ""}[l.Kind]
		words = append(words, l.Key+": "+lead+v)
	}
	return strings.Join(words, "; ")
}

// patternsOf are the file names that give a role, the prop's code put in.
func (s *Spec) patternsOf(role string) []string {
	var out []string
	for _, f := range s.Files {
		if f.Role == role && !f.Node && len(out) < 3 {
			name := strings.ReplaceAll(f.Pattern, "{prop}", s.Prop)
			if !slices.Contains(out, name) {
				out = append(out, name)
			}
		}
	}
	if len(out) == 0 {
		return []string{"as you like"}
	}
	return out
}

func (s *Spec) suffixes(who Who) []string {
	var out []string
	for _, a := range s.Annotations {
		if a.Who == who {
			out = append(out, a.Suffix+" ("+partWords(a.Keys)+")")
		}
	}
	return out
}
