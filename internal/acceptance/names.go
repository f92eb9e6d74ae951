package acceptance

import (
	"context"
	"fmt"
	"path"
	"strings"
	"unicode"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

func nameChecks() []Check {
	return []Check{
		{Def: namePatternDef, Run: namesPattern},
		{Def: nameUniqueDef, Run: namesUnique},
		{Def: nameDefaultDef, Run: namesDefault},
		{Def: namePairingDef, Run: namesPairing},
	}
}

// nameKinds are the kinds of things that have names, in the order of reports.
var nameKinds = []struct{ key, one string }{
	{"files", "file"}, {"nodes", "node"}, {"meshes", "mesh"}, {"materials", "material"}, {"images", "image"},
}

// named is one name of the delivery.
type named struct {
	kind    int // index into nameKinds
	name    string
	file    string
	pointer string
}

func (n named) place() Place {
	p := Place{Pointer: n.pointer}
	if nameKinds[n.kind].key == "nodes" {
		p.Node = n.name
	}
	return p
}

// term is the word for what bears the name.
func (n named) term() words.Arg { return words.Term(nameKinds[n.kind].one) }

// shippedNames lists the names that ship: delivered files, and the nodes, meshes, materials and images that the drawn
// primitives of any LOD use. Helpers, collision and cage pieces are left out. Empty names are listed too.
func shippedNames(s *Subject) []named {
	var out []named
	for _, f := range s.Files {
		out = append(out, named{kind: 0, name: f.Path, file: f.Path})
	}
	var ranges []mesh.Range
	for lod := range s.LODs {
		ranges = append(ranges, shipped(s, lod)...)
	}
	for _, sc := range shippedScenes(ranges) {
		out = append(out, sceneNames(sc, ranges)...)
	}
	return out
}

func sceneNames(sc *mesh.Scene, ranges []mesh.Range) []named {
	var out []named
	add := func(kind int, name, pointer string) {
		out = append(out, named{kind: kind, name: name, file: sc.Path, pointer: pointer})
	}
	nodes, meshes := map[int]bool{}, map[int]bool{}
	materials, images := map[int]bool{}, map[int]bool{}
	for _, r := range ranges {
		if r.Scene != sc {
			continue
		}
		nodes[r.Draw.Node] = true
		p := &sc.Prims[r.Draw.Prim]
		if p.Mesh >= 0 {
			meshes[p.Mesh] = true
		}
		if p.Material < 0 {
			continue
		}
		materials[p.Material] = true
		for _, name := range mapNames {
			if ref, ok := textureOf(&sc.Materials[p.Material], name); ok {
				images[ref.Image] = true
			}
		}
	}
	for i := range sc.Nodes {
		if nodes[i] {
			add(1, sc.Nodes[i].Name, sc.Nodes[i].Pointer)
		}
	}
	for i := range sc.Meshes {
		if meshes[i] {
			add(2, sc.Meshes[i].Name, fmt.Sprintf("/meshes/%d", i))
		}
	}
	for i := range sc.Materials {
		if materials[i] {
			add(3, sc.Materials[i].Name, sc.Materials[i].Pointer)
		}
	}
	for i := range sc.Images {
		if images[i] {
			add(4, sc.Images[i].Name, sc.Images[i].Pointer)
		}
	}
	return out
}

// portableName is the portable filename character set; a name of other characters may not survive another system.
const portableName = `/[A-Za-z0-9._-]+/`

var namePatternDef = spec.Check{
	Name: "names.pattern", Scope: spec.PerDelivery, Title: "names by pattern",
	What:   "Names of files and of the nodes, meshes, materials and images that ship, against the spec's patterns: tokens such as {prop} {part} {lod} {map}, or an RE2 expression between slashes.",
	Why:    "Tools find parts, maps and LODs by their names; a name off the pattern is sorted out by hand, each time.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Names that fit none of their patterns.", Origin: spec.CommonPractice},
		{Key: "files", Kind: spec.Option, List: true, Pattern: true, DefaultList: []string{portableName},
			What:   "Patterns of file names without their folders.",
			Origin: "IEEE Std 1003.1 (POSIX), 3.282 Portable Filename Character Set"},
		{Key: "nodes", Kind: spec.Option, List: true, Pattern: true, Optional: true, What: "Patterns of node names.", Origin: spec.CommonPractice},
		{Key: "meshes", Kind: spec.Option, List: true, Pattern: true, Optional: true, What: "Patterns of mesh names.", Origin: spec.CommonPractice},
		{Key: "materials", Kind: spec.Option, List: true, Pattern: true, Optional: true, What: "Patterns of material names.", Origin: spec.CommonPractice},
		{Key: "images", Kind: spec.Option, List: true, Pattern: true, Optional: true, What: "Patterns of image names.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh, Metrics: []string{"count"},
}

func namesPattern(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	patterns := map[int]spec.Patterns{}
	for kind, k := range nameKinds {
		compiled, err := spec.CompilePatterns(r.Lists[k.key], s.Spec.Tokens())
		if err != nil {
			return unable("names.bad_pattern", words.Name(err.Error()))
		}
		if len(compiled) > 0 {
			patterns[kind] = compiled
		}
	}
	var off []named
	held := 0
	for _, n := range shippedNames(s) {
		ps, asked := patterns[n.kind]
		if !asked {
			continue
		}
		held++
		name := n.name
		if n.kind == 0 {
			name = path.Base(name)
		}
		if !ps.Fits(name) {
			off = append(off, n)
		}
	}
	f := judge(r, map[string]float64{"count": float64(len(off))}, atMost("count", "max_count"))
	f.say("names.pattern.all_fit", words.Count(held))
	if len(off) > 0 {
		n := off[0]
		f.say("names.pattern.off", words.Count(len(off)), n.term(), words.Name(n.name))
		f.Where = namePlaces(off, func(p *Place, n named) {
			p.note("names.pattern.expected", n.term(), words.Name(n.name), words.Names(r.Lists[nameKinds[n.kind].key]...))
		})
		f.remedy("names.pattern.rename")
	}
	return f
}

func namePlaces(list []named, note func(*Place, named)) []Place {
	var out []Place
	for _, n := range list[:min(len(list), maxPlaces)] {
		p := n.place()
		note(&p, n)
		out = append(out, p)
	}
	return out
}

var nameUniqueDef = spec.Check{
	Name: "names.unique", Scope: spec.PerDelivery, Title: "names unique",
	What:   "Names that two things of one kind share, letter case aside: files in the delivery; nodes, meshes, materials and images within one file.",
	Why:    "Two things with one name overwrite each other on import, and names that differ by case do so on half of all systems.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0),
		What: "Names beyond the first of each.", Origin: spec.CommonPractice}},
	Mode: warnsAll, From: fromGameMesh, Metrics: []string{"count"},
}

func namesUnique(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	type key struct {
		kind       int
		file, name string
	}
	first := map[key]named{}
	var again []named
	for _, n := range shippedNames(s) {
		if n.name == "" {
			continue
		}
		k := key{n.kind, n.file, foldCase(n.name)}
		if n.kind == 0 {
			k.file = ""
		}
		if _, taken := first[k]; taken {
			again = append(again, n)
		} else {
			first[k] = n
		}
	}
	f := judge(r, map[string]float64{"count": float64(len(again))}, atMost("count", "max_count"))
	f.say("names.unique.all")
	if len(again) > 0 {
		n := again[0]
		f.say("names.unique.taken", words.Count(len(again)), n.term(), words.Name(n.name))
		f.Where = namePlaces(again, func(p *Place, n named) { p.note("names.unique.again", n.term(), words.Name(n.name)) })
		f.remedy("names.unique.rename")
	}
	return f
}

// foldCase maps letters that differ by case only to one: the smallest of each orbit of Unicode's simple case folding.
func foldCase(s string) string {
	return strings.Map(func(r rune) rune {
		least := r
		for o := unicode.SimpleFold(r); o != r; o = unicode.SimpleFold(o) {
			least = min(least, o)
		}
		return least
	}, s)
}
