package spec

import (
	"fmt"
	"io"
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
	if p.NoDensity || p.Density != 1 && (p.Name != "" || p.Density != 0) {
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
