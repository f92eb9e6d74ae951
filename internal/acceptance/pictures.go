package acceptance

import (
	"context"
	"regexp"
	"slices"
	"strings"
)

// pictures makes the pictures of a delivery for people, in the order in which they should be looked at. What cannot be
// made is left out. progress may be nil.
func pictures(ctx context.Context, s *Subject, findings []Finding, progress func(what string, done float64)) []Picture {
	var out album
	tell := func(done float64) {
		if progress != nil {
			progress("pictures", done)
		}
	}
	// One that fails on a fault of its own takes no other with it.
	try := func(share float64, make func()) {
		defer func() {
			_ = recover()
			tell(share)
		}()
		if ctx.Err() == nil {
			make()
		}
	}
	try(0.5, func() {
		st := newStudio(s)
		if st == nil {
			return
		}
		for _, p := range st.stills() {
			out.add(p)
		}
		for _, p := range st.gameDistance(s) {
			out.add(p)
		}
		out.add(gameModel(s, st.prop, setsByDraw(s)))
	})
	try(0.55, func() { out.add(sculptModel(s)) })
	try(0.8, func() {
		parts := comparisons(ctx, s, findings)
		try(0.6, func() {
			if m := gatherHeat(parts); len(m.tri) > 0 {
				out.add(deviationSides(ctx, s, m))
				out.add(deviationModel(parts, m))
			}
		})
		out.add(silhouettes(s, parts))
	})
	try(0.85, func() { out.add(topologyPicture(ctx, s, findings)) })
	try(1, func() {
		for _, set := range s.Sets {
			name := "uv_density.png"
			if len(s.Sets) > 1 {
				name = "uv_density_" + fileWord(set.Name) + ".png"
			}
			if p := uvPicture(ctx, s, set, name); p != nil {
				out.nameInSet(p, findings, set.Name)
				out.add(p)
			}
		}
	})
	try(1, func() {
		for _, set := range s.Sets {
			for _, p := range append(rebakePictures(ctx, s, set, findings), mapPictures(ctx, s, set, findings)...) {
				out.nameInSet(p, findings, set.Name)
				out.add(p)
			}
		}
	})
	return out.bound()
}

var notFileWord = regexp.MustCompile(`[^a-z0-9]+`)

// fileWord makes a name safe as a part of a file's name.
func fileWord(name string) string {
	w := strings.Trim(notFileWord.ReplaceAllString(strings.ToLower(name), "-"), "-")
	return orElse(w[:min(len(w), 40)], "set")
}

// nameInSet gives a picture of one set a name that no other has and puts it into that set's findings alone.
func (a *album) nameInSet(p *drawn, findings []Finding, set string) {
	name := p.Name
	taken := func(o *drawn) bool { return o.Name == p.Name }
	for n := 2; slices.ContainsFunc(a.pics, taken); n++ {
		at := strings.LastIndexByte(name, '.')
		p.Name = name[:at] + "-" + itoa(n) + name[at:]
	}
	for i := range findings {
		if findings[i].Set == set && slices.Contains(p.Checks, findings[i].Check) {
			findings[i].Pictures = append(findings[i].Pictures, p.Name)
		}
	}
	p.Checks = nil
}
