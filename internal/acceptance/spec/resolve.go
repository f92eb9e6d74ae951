package spec

import (
	"fmt"
	"slices"
	"strings"

	"proofhouse/internal/canon"
)

// Resolve reads what the document extends, fills in presets and defaults, and returns the spec in force for a delivery
// of the given milestone. An empty milestone is Final. An error is Faults.
func Resolve(d *Document, c Catalogue, m Milestone, parents Parents) (*Spec, error) {
	if m == "" {
		m = Final
	}
	if !slices.Contains(Milestones[:], m) {
		return nil, Faults{{File: d.Name, Message: fmt.Sprintf("%q is no milestone; there are %s.%s", m, orList(milestoneWords()), didYouMean(string(m), milestoneWords()))}}
	}
	f := &family{shape: documentShape(c), parents: parents}
	root := f.resolve(d, []string{d.Digest})
	if root.get("prop") == nil {
		f.faults.add(Fault{File: d.Name, Message: `the key "prop" is missing: neither the spec nor what it extends names the prop`})
	}
	if root.get("tier") == nil {
		f.faults.add(Fault{File: d.Name, Message: `the key "tier" is missing: neither the spec nor what it extends says ` + orList(tierWords())})
	}
	if len(f.faults) > 0 {
		return nil, f.faults
	}
	b := &builder{c: c, root: root, tier: slices.Index(Tiers[:], Tier(root.get("tier").text)), origins: map[string]string{}}
	s := b.spec(m)
	for _, fault := range b.closing(d.Name, s) {
		f.faults.add(fault)
	}
	if len(f.faults) > 0 {
		return nil, f.faults
	}
	digest, err := s.digest()
	if err != nil {
		return nil, fmt.Errorf("digest of the spec: %w", err)
	}
	s.Digest = digest
	return s, nil
}

// builder turns a checked value into a Spec.
type builder struct {
	c       Catalogue
	root    *value
	tier    int
	origins map[string]string
}

func (b *builder) spec(m Milestone) *Spec {
	s := &Spec{
		Prop: b.root.get("prop").text, Tier: Tiers[b.tier], Milestone: m, catalogue: b.c, origins: b.origins,
		Conventions: defaultConventions(), View: defaultView(b.tier),
	}
	setText(&s.Title, b.root.get("title"))
	if v := b.root.get("size_mm"); v != nil {
		s.SizeMM = triple(v)
	}
	for _, k := range b.root.keys {
		b.origins[k] = b.root.fields[k].origin
	}
	b.conventions(&s.Conventions)
	b.view(&s.View)
	s.Parts = b.parts()
	s.Sets = b.sets()
	b.files(s)
	b.annotations(s)
	s.rules = map[string]Rule{}
	for _, check := range b.c {
		rule := b.preset(check)
		overlay(&rule, b.ruleOf(check, b.root.get("checks").get(check.Name)))
		s.rules[check.Name] = rule
	}
	return s
}

func (b *builder) conventions(c *Conventions) {
	v := b.root.get("conventions")
	b.note("conventions", v)
	setText(&c.Unit, v.get("unit"))
	setText(&c.Up, v.get("up"))
	setText(&c.Forward, v.get("forward"))
	setText(&c.Green, v.get("green"))
	setText(&c.Hug, v.get("hug"))
	setText(&c.Look, v.get("look"))
	setText(&c.Mirror, v.get("mirror"))
	setText(&c.Cage, v.get("cage"))
	setText(&c.OriginAt, v.get("origin_at"))
	if p := v.get("packing"); p != nil {
		for k, texts := range packing(p) {
			c.Packing[k] = texts
		}
	}
	if w := v.get("weld_mm"); w != nil {
		c.WeldMM = w.num
	}
	c.ReachMM = reach(v.get("reach_mm"))
	if o := v.get("origin_mm"); o != nil {
		c.OriginMM = triple(o)
		if v.get("origin_at") == nil {
			c.OriginAt = "point"
		}
	}
}

func (b *builder) view(w *View) {
	v := b.root.get("view")
	b.note("view", v)
	setText(&w.Placed, v.get("placed"))
	if n := v.get("distance_m"); n != nil {
		w.DistanceM = n.num
	}
	if n := v.get("fov_deg"); n != nil {
		w.FOVDeg = n.num
	}
	if n := v.get("screen_lines"); n != nil {
		w.ScreenLines = int(n.num)
	}
}

// note keeps where each key of an object was said.
func (b *builder) note(path string, v *value) {
	if v == nil {
		return
	}
	for _, k := range v.keys {
		b.origins[path+"."+k] = v.fields[k].origin
	}
}

func (b *builder) parts() []Part {
	var out []Part
	for _, v := range items(b.root.get("parts")) {
		p := Part{Name: v.get("name").text, Kind: Solid, TwoSided: "no", Density: 1, Mirror: "", Pivot: "none", By: "spec"}
		p.Match = texts(v.get("match"))
		if v.get("match") == nil {
			p.Match = []string{p.Name, p.Name + "_*", "*_" + p.Name, "*_" + p.Name + "_*"}
		}
		partKeysInto(&p, v)
		p.Rules = b.overlays(v.get("checks"))
		b.origins["parts."+p.Name] = v.origin
		out = append(out, p)
	}
	return out
}

// partKeysInto sets what v says and leaves the rest.
func partKeysInto(p *Part, v *value) {
	setText((*string)(&p.Kind), v.get("kind"))
	setText(&p.TwoSided, v.get("two_sided"))
	setText(&p.Mirror, v.get("mirror"))
	setText(&p.Pivot, v.get("pivot"))
	for _, o := range items(v.get("open")) {
		if o.fields == nil {
			p.Open = append(p.Open, o.text)
			continue
		}
		n := o.get("plane").items
		plane := Plane{Normal: [3]float64{n[0].num, n[1].num, n[2].num}, OffsetMM: n[3].num, TolMM: 1}
		if t := o.get("tol_mm"); t != nil {
			plane.TolMM = t.num
		}
		p.OpenAt = append(p.OpenAt, plane)
	}
	if s := v.get("sculpt"); s != nil {
		p.Sculpt = texts(s)
		if !s.isList {
			p.Sculpt = []string{s.text}
		}
	}
	if r := reach(v.get("reach_mm")); r != nil {
		p.ReachMM = r
	}
	if d := v.get("density"); d != nil {
		p.Density = d.num
	}
	if m := v.get("may_cross"); m != nil {
		p.MayCross = texts(m)
	}
	if m := v.get("poses"); m != nil {
		p.Poses = texts(m)
	}
}

func (b *builder) sets() []Set {
	var out []Set
	for _, v := range items(b.root.get("sets")) {
		s := Set{Name: v.get("name").text, Kind: Baked, Match: texts(v.get("match")), Stack: "any", Alpha: "none"}
		if v.get("match") == nil {
			s.Match = []string{s.Name, s.Name + "_*", "*_" + s.Name, "*_" + s.Name + "_*"}
			if len(items(b.root.get("sets"))) == 1 {
				s.Match = []string{"*"} // the only set takes every material
			}
		}
		setText((*string)(&s.Kind), v.get("kind"))
		setText(&s.ReferenceMap, v.get("reference_map"))
		setText(&s.Green, v.get("green"))
		setText(&s.Stack, v.get("stack"))
		setText(&s.Alpha, v.get("alpha"))
		if n := v.get("author_px"); n != nil {
			s.AuthorPx = int(n.num)
		}
		if n := v.get("ship_px"); n != nil {
			s.ShipPx = int(n.num)
		}
		if c := v.get("channels"); c != nil {
			s.Channels = packing(c)
		}
		for _, t := range items(v.get("tiles")) {
			n := t
			if px := t.get("ship_px"); px != nil {
				n = t.get("tile")
				if s.TilePx == nil {
					s.TilePx = map[int]int{}
				}
				s.TilePx[int(n.num)] = int(px.num)
			}
			s.Tiles = append(s.Tiles, int(n.num))
		}
		s.Rules = b.overlays(v.get("checks"))
		b.origins["sets."+s.Name] = v.origin
		out = append(out, s)
	}
	return out
}

// files reads the spec's own patterns and puts the defaults after them. Roles are needed as the spec says; one that
// names no files of its own needs the game mesh.
func (b *builder) files(s *Spec) {
	needed := map[string]Milestone{}
	own := items(b.root.get("files"))
	for _, v := range own {
		rule := FileRule{Role: v.get("role").text, From: BlockOut, Origin: v.origin}
		if n := v.get("node"); n != nil {
			rule.Node = n.flag
		}
		if n := v.get("needed"); n != nil {
			rule.Needed = n.flag
		}
		setText((*string)(&rule.From), v.get("from"))
		if _, there := needed[rule.Role]; rule.Needed && !there {
			needed[rule.Role] = rule.From
		}
		patterns := texts(v.get("pattern"))
		if p := v.get("pattern"); p != nil && !p.isList {
			patterns = []string{p.text}
		}
		for _, p := range patterns {
			one := rule
			one.Pattern = p
			s.Files = append(s.Files, one)
		}
	}
	s.Files = append(s.Files, defaultFiles()...)
	if len(own) == 0 {
		for _, n := range defaultNeeded {
			needed[n.role] = n.from
		}
	}
	s.needed = needed
	s.Requires = s.requiredAt(s.Milestone)
}

// requiredAt lists the roles that a delivery of a milestone must hold, in order of name.
func (s *Spec) requiredAt(m Milestone) []string {
	var out []string
	for _, role := range sortedKeys(s.needed) {
		if slices.Index(Milestones[:], s.needed[role]) <= slices.Index(Milestones[:], m) {
			out = append(out, role)
		}
	}
	return out
}

// At is the same spec for a delivery of another milestone. The digest stays: a spec is one for all its milestones.
func (s *Spec) At(m Milestone) *Spec {
	if m == s.Milestone {
		return s
	}
	at := *s
	at.Milestone, at.Requires = m, s.requiredAt(m)
	return &at
}

// annotations are the defaults with the spec's own laid over them by suffix.
func (b *builder) annotations(s *Spec) {
	s.Annotations = defaultAnnotations()
	for i := range s.Annotations {
		b.origins["annotations."+s.Annotations[i].Suffix] = "default"
	}
	for _, v := range items(b.root.get("annotations")) {
		a := Annotation{Suffix: v.get("suffix").text, Who: Free, Confirmed: texts(v.get("confirmed"))}
		setText((*string)(&a.Who), v.get("who"))
		b.origins["annotations."+a.Suffix] = v.origin
		i := slices.IndexFunc(s.Annotations, func(old Annotation) bool { return old.Suffix == a.Suffix })
		if i >= 0 && v.get("kind") == nil && v.get("open") == nil && v.get("sculpt") == nil {
			a.Keys = s.Annotations[i].Keys // what the suffix means stays, and more may be said of it
		}
		partKeysInto(&a.Keys, v)
		a.Keys.NoDensity = v.get("density") != nil && a.Keys.Density == 0
		if i < 0 {
			s.Annotations = append(s.Annotations, a)
			continue
		}
		s.Annotations[i] = a
	}
}

// closing finds what only the whole shows.
func (b *builder) closing(file string, s *Spec) Faults {
	var fs Faults
	if s.Conventions.Up[1] == s.Conventions.Forward[1] {
		fs.add(Fault{File: file, Path: "conventions", Message: fmt.Sprintf("up %s and forward %s lie on one axis", s.Conventions.Up, s.Conventions.Forward)})
	}
	if s.Conventions.OriginAt == "point" && s.Conventions.OriginMM == nil {
		fs.add(Fault{File: file, Path: "conventions", Message: "origin_at: point needs origin_mm"})
	}
	for _, f := range s.Files {
		for _, token := range tokenNames {
			written := strings.Contains(f.Pattern, "{"+token+"}") || strings.Contains(f.Pattern, "(?P<"+token+">")
			if strings.Contains(f.Role, "{"+token+"}") && !written && f.Pattern != "" {
				fs.add(Fault{File: file, Path: "files", Message: fmt.Sprintf("the role %s is filled in from {%s}, which its pattern %s does not hold", f.Role, token, f.Pattern)})
			}
		}
	}
	for _, p := range s.Parts {
		for _, other := range p.MayCross {
			known := other == "any" || slices.ContainsFunc(s.Parts, func(q Part) bool { return q.Name == other })
			if !known {
				fs.add(Fault{File: file, Path: "parts." + p.Name + ".may_cross", Message: fmt.Sprintf("there is no part %q", other)})
			}
		}
	}
	return fs
}

func (s *Spec) digest() (string, error) {
	rules := map[string]any{}
	for name, r := range s.rules {
		rules[name] = digestRule(r)
	}
	parts := make([]any, len(s.Parts))
	for i, p := range s.Parts {
		parts[i] = map[string]any{"keys": p, "rules": digestRules(p.Rules)}
	}
	sets := make([]any, len(s.Sets))
	for i, t := range s.Sets {
		sets[i] = map[string]any{"keys": t, "rules": digestRules(t.Rules)}
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
		"prop": s.Prop, "title": s.Title, "tier": s.Tier, "size_mm": s.SizeMM, "conventions": s.Conventions, "view": s.View,
		"parts": parts, "sets": sets, "files": files, "needed": needed, "annotations": s.Annotations, "rules": rules,
	})
	if err != nil {
		return "", err
	}
	return canon.Digest(canonical), nil
}

func digestRules(rules map[string]Rule) map[string]any {
	out := map[string]any{}
	for name, r := range rules {
		out[name] = digestRule(r)
	}
	return out
}

// digestRule is a rule without where it came from: the same limits have the same digest wherever they were written.
func digestRule(r Rule) map[string]any {
	return map[string]any{"mode": r.Mode, "reason": r.Reason, "numbers": r.Numbers, "words": r.Words, "lists": r.Lists, "from": r.From}
}

func setText(to *string, v *value) {
	if v != nil {
		*to = v.text
	}
}

func items(v *value) []*value {
	if v == nil {
		return nil
	}
	return v.items
}

func texts(v *value) []string {
	var out []string
	for _, item := range items(v) {
		out = append(out, item.text)
	}
	return out
}

func triple(v *value) *[3]float64 {
	return &[3]float64{v.items[0].num, v.items[1].num, v.items[2].num}
}

func reach(v *value) *Reach {
	switch {
	case v == nil:
		return nil
	case v.isNum:
		return &Reach{FrontMM: v.num, BackMM: v.num}
	}
	return &Reach{FrontMM: v.get("front").num, BackMM: v.get("back").num}
}

func packing(v *value) map[string][]string {
	out := map[string][]string{}
	for k, list := range v.fields {
		out[k] = texts(list)
	}
	return out
}

func tierWords() []string {
	var out []string
	for _, t := range Tiers {
		out = append(out, string(t))
	}
	return out
}

func milestoneWords() []string {
	var out []string
	for _, m := range Milestones {
		out = append(out, string(m))
	}
	return out
}
