package acceptance

import (
	"reflect"
	"slices"
	"strconv"
	"strings"

	"proofhouse/internal/acceptance/spec"
)

func itoa(i int) string { return strconv.Itoa(i) }

// partTable gathers the parts of a prop while its pieces are sorted into them.
type partTable struct {
	bases []basePart
	sp    *spec.Spec
}

// basePart is a part of the spec, or the rest, with what name suffixes split off it.
type basePart struct {
	def      spec.Part
	match    spec.Patterns
	sculpt   spec.Patterns // own patterns over sculpt nodes; nil where pairing is by name
	variants []*variant
}

// variant is a part as it will be: a base, with annotations or without.
type variant struct {
	name     string
	def      spec.Part
	game     []*piece
	sculpt   []*piece
	floaters []*piece
	cage     []*piece
}

// newPartTable has one base for each part of the spec and one for the rest: the whole prop where the spec has no parts.
func newPartTable(sp *spec.Spec) (*partTable, error) {
	tokens := sp.Tokens()
	tokens.Fold = true
	t := &partTable{sp: sp}
	for _, def := range sp.Parts {
		b := basePart{def: def}
		var err error
		if b.match, err = spec.CompilePatterns(def.Match, tokens); err != nil {
			return nil, err
		}
		if len(def.Sculpt) > 0 && def.Sculpt[0] != "none" && def.Sculpt[0] != "shared" {
			if b.sculpt, err = spec.CompilePatterns(def.Sculpt, tokens); err != nil {
				return nil, err
			}
		}
		b.variants = []*variant{{name: def.Name, def: def}}
		t.bases = append(t.bases, b)
	}
	rest := spec.Part{Kind: spec.Solid, TwoSided: "no", Density: 1, Pivot: "none", By: "spec"}
	if len(sp.Parts) > 0 {
		rest.Name = "rest"
		for slices.ContainsFunc(sp.Parts, func(p spec.Part) bool { return p.Name == rest.Name }) {
			rest.Name += "_"
		}
	}
	t.bases = append(t.bases, basePart{def: rest, variants: []*variant{{name: rest.Name, def: rest}}})
	return t, nil
}

// base finds the base that a piece belongs to: the part that its file's name gives, else the first whose patterns fit
// a name, else the rest.
func (t *partTable) base(p *piece) *basePart {
	last := len(t.bases) - 1
	for i := range t.bases[:last] {
		if p.file.Part != "" && strings.EqualFold(p.file.Part, t.bases[i].def.Name) {
			return &t.bases[i]
		}
	}
	for i := range t.bases[:last] {
		if p.fits(t.bases[i].match) {
			return &t.bases[i]
		}
	}
	return &t.bases[last]
}

// variant returns the base as the annotations have it.
func (b *basePart) variant(says []spec.Annotation) *variant {
	name, def := b.def.Name, b.def
	for _, a := range says {
		changed := overlayPart(def, a)
		changed.By = def.By
		if reflect.DeepEqual(changed, def) {
			continue // the spec says the same of the part already
		}
		name += a.Suffix
		def = overlayPart(def, a)
	}
	name = strings.TrimLeft(name, "._-")
	for _, v := range b.variants {
		if v.name == name {
			return v
		}
	}
	def.Name = name
	v := &variant{name: name, def: def}
	b.variants = append(b.variants, v)
	return v
}

func (t *partTable) addGame(pieces []*piece) {
	for _, p := range pieces {
		v := t.base(p).variant(p.says)
		v.game = append(v.game, p)
	}
}

// all are the parts in order: the spec's, each with its variants behind it, then the rest where there is any.
func (t *partTable) all() []*variant {
	var out []*variant
	last := len(t.bases) - 1
	for i, b := range t.bases {
		for j, v := range b.variants {
			empty := len(v.game)+len(v.sculpt)+len(v.floaters)+len(v.cage) == 0
			if i == last && j == 0 && empty && (last > 0 || len(b.variants) > 1) {
				continue // nothing is left for the rest
			}
			out = append(out, v)
		}
	}
	return out
}

// wantsOwnSculpt says whether a part takes sculpt pieces by name.
func (v *variant) wantsOwnSculpt() bool {
	switch v.def.Kind {
	case spec.Helper, spec.Collision, spec.CagePart:
		return false
	}
	return len(v.def.Sculpt) == 0 || v.def.Sculpt[0] != "none" && v.def.Sculpt[0] != "shared"
}

// pair sorts the pieces of sculpt and cage into the parts: many to one, by the part's own patterns first, then by the
// part that a file's name gave, then by the part's patterns over names, then by the name of a game piece that the
// sculpt's name begins with. Where only one part can take it, a nameless piece goes there.
func (t *partTable) pair(sculpt, cage []*piece) {
	for _, p := range sculpt {
		v := t.partner(p, true)
		switch {
		case v == nil:
		case hovers(p, v):
			v.floaters = append(v.floaters, p)
		default:
			v.sculpt = append(v.sculpt, p)
		}
	}
	for _, p := range cage {
		if v := t.partner(p, false); v != nil {
			v.cage = append(v.cage, p)
		}
	}
	t.share(sculpt)
}

// hovers says whether a sculpt piece floats over the surface on purpose. What a floater of the game mesh was sculpted
// from is that floater's sculpt and no floater on it.
func hovers(p *piece, v *variant) bool {
	return v.def.Kind != spec.Floater && slices.ContainsFunc(p.says, func(a spec.Annotation) bool { return a.Keys.Kind == spec.Floater })
}

func (t *partTable) partner(p *piece, sculpt bool) *variant {
	var takers []*variant
	for i := range t.bases {
		b := &t.bases[i]
		if sculpt && b.sculpt != nil && (p.fits(b.sculpt) || b.sculpt.Fits(fileStem(p.file))) {
			return b.nearest(p)
		}
		for _, v := range b.variants {
			if (!sculpt || v.wantsOwnSculpt()) && len(v.game) > 0 {
				takers = append(takers, v)
			}
		}
	}
	if len(takers) == 0 && len(t.bases) == 1 {
		return t.bases[0].variants[0] // no game mesh yet: a sculpt alone is the whole prop
	}
	last := len(t.bases) - 1
	for i := range t.bases[:last] {
		b := &t.bases[i]
		if strings.EqualFold(p.file.Part, b.def.Name) || p.fits(b.match) {
			return b.nearest(p)
		}
	}
	if v := byStem(p, takers); v != nil {
		return v
	}
	rest := t.bases[last].variants[0]
	if last == 0 && len(rest.game) > 0 {
		return rest // a prop without parts: everything is its own
	}
	if len(takers) == 1 {
		return takers[0]
	}
	return nil
}

// nearest is the variant of a base whose game pieces share the piece's name, else the base itself.
func (b *basePart) nearest(p *piece) *variant {
	if v := byStem(p, b.variants); v != nil {
		return v
	}
	return b.variants[0]
}

// byStem finds the game piece whose name the piece's own begins with; the longest such name wins.
func byStem(p *piece, among []*variant) *variant {
	var best *variant
	longest := 0
	for _, v := range among {
		for _, g := range v.game {
			stem := strings.ToLower(g.stem)
			if len(stem) > longest && beginsWith(strings.ToLower(p.stem), stem) {
				best, longest = v, len(stem)
			}
		}
	}
	return best
}

// beginsWith is true where name is stem or goes on after it with a separator.
func beginsWith(name, stem string) bool {
	return name == stem || strings.HasPrefix(name, stem) && strings.ContainsRune("._-", rune(name[len(stem)]))
}

// share gives parts that share a sculpt what no part has taken, or where nothing is left, all of it.
func (t *partTable) share(sculpt []*piece) {
	taken := map[*piece]bool{}
	var sharers []*variant
	for _, v := range t.all() {
		for _, p := range append(slices.Clone(v.sculpt), v.floaters...) {
			taken[p] = true
		}
		if len(v.def.Sculpt) > 0 && v.def.Sculpt[0] == "shared" {
			sharers = append(sharers, v)
		}
	}
	if len(sharers) == 0 {
		return
	}
	var left []*piece
	for _, p := range sculpt {
		if !taken[p] {
			left = append(left, p)
		}
	}
	if len(left) == 0 {
		left = sculpt
	}
	for _, v := range sharers {
		v.sculpt = append(v.sculpt, left...)
	}
}
