package acceptance

import (
	"path"
	"regexp"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// piece is one draw of one delivered file and what its names say of it.
type piece struct {
	file  *File
	draw  mesh.Draw
	role  string
	names []string // own node, its mesh, its ancestors, its material: what patterns are held against
	node  string   // name of the node, with annotations and numbers still on
	stem  string   // the same without annotations and role words
	says  []spec.Annotation
	asks  []spec.Annotation // said by the vendor, not confirmed by the studio
}

func (p *piece) prim() *mesh.Primitive { return &p.file.Scene.Prims[p.draw.Prim] }

// piecesOf lists the draws of a file that have triangles. In a game mesh a node's name may give it another role: LODs,
// cage and collision usually sit in one file.
func piecesOf(f *File, roles *roleTable, annotations []spec.Annotation, confirmed map[string]spec.Patterns) []*piece {
	var out []*piece
	_, isGame := lodOf(f.Role)
	for _, d := range f.Scene.Draws {
		p := &piece{file: f, draw: d, role: f.Role}
		if len(p.prim().Tri) == 0 {
			continue
		}
		lineage := lineageOf(f.Scene, d.Node)
		if isGame {
			for _, name := range lineage {
				if r := roles.node(name); r.Role != "" {
					p.role = r.Role
					break
				}
			}
		}
		p.node = lineage[0]
		p.names = append(p.names, lineage[0])
		if g := f.Scene.Nodes[d.Node].Mesh; g >= 0 && f.Scene.Meshes[g].Name != "" {
			p.names = append(p.names, f.Scene.Meshes[g].Name)
		}
		p.names = append(p.names, lineage[1:]...)
		if name := materialName(f.Scene, p.prim().Material); p.prim().Material >= 0 {
			p.names = append(p.names, name)
		}
		p.annotate(lineage, annotations, confirmed)
		out = append(out, p)
	}
	return out
}

// lineageOf is a node's name and those of its ancestors, the nearest first. Nameless ones are left out, except that
// the first entry is always the node's own.
func lineageOf(s *mesh.Scene, node int) []string {
	names := []string{s.Nodes[node].Name}
	for i, hops := s.Nodes[node].Parent, 0; i >= 0 && hops < len(s.Nodes); i, hops = s.Nodes[i].Parent, hops+1 {
		if s.Nodes[i].Name != "" {
			names = append(names, s.Nodes[i].Name)
		}
	}
	return names
}

func materialName(s *mesh.Scene, i int) string {
	if i < 0 || i >= len(s.Materials) {
		return "default"
	}
	if s.Materials[i].Name != "" {
		return s.Materials[i].Name
	}
	return "material " + itoa(i)
}

// numberTail is what copies and LODs add to a name: "_lod1", ".001", "_03".
var numberTail = regexp.MustCompile(`(?i)(?:[._-](?:lod)?[0-9]+)+$`)

// roleTail is what tells sculpt, cage and collision nodes from the game's by name.
var roleTail = regexp.MustCompile(`(?i)[._-](?:sculpt|cage|collision|game)$`)

// annotate reads what the end of the node's name says; where it says nothing, the nearest ancestor that does speaks for it.
func (p *piece) annotate(lineage []string, annotations []spec.Annotation, confirmed map[string]spec.Patterns) {
	var found []spec.Annotation
	p.stem, found = readSuffixes(lineage[0], annotations)
	for i := 1; len(found) == 0 && i < len(lineage); i++ {
		_, found = readSuffixes(lineage[i], annotations)
	}
	for _, a := range found {
		switch a.Who {
		case spec.Free:
			p.says = append(p.says, a)
		case spec.Ask:
			if slices.ContainsFunc(lineage, confirmed[a.Suffix].Fits) {
				p.says = append(p.says, a)
			} else {
				p.asks = append(p.asks, a)
			}
		}
	}
}

// readSuffixes takes annotations, role words and numbers off the end of a name, in the order of the name.
func readSuffixes(name string, annotations []spec.Annotation) (stem string, found []spec.Annotation) {
	stem = name
	for {
		bare := numberTail.ReplaceAllString(stem, "")
		bare = roleTail.ReplaceAllString(bare, "")
		i := slices.IndexFunc(annotations, func(a spec.Annotation) bool {
			return len(bare) > len(a.Suffix) && strings.EqualFold(bare[len(bare)-len(a.Suffix):], a.Suffix)
		})
		if i < 0 {
			if len(found) > 0 || roleTail.MatchString(numberTail.ReplaceAllString(stem, "")) {
				stem = bare
			}
			return stem, found
		}
		found = append([]spec.Annotation{annotations[i]}, found...)
		stem = bare[:len(bare)-len(annotations[i].Suffix)]
	}
}

// overlayPart lays what a suffix says over a part's own keys.
func overlayPart(p spec.Part, a spec.Annotation) spec.Part {
	k := a.Keys
	if k.Kind != "" {
		p.Kind = k.Kind
	}
	if k.Open != nil || k.OpenAt != nil {
		p.Open, p.OpenAt = k.Open, k.OpenAt
	}
	if k.TwoSided != "" {
		p.TwoSided = k.TwoSided
	}
	if k.Sculpt != nil {
		p.Sculpt = k.Sculpt
	}
	if k.ReachMM != nil {
		p.ReachMM = k.ReachMM
	}
	if k.Density != 0 || k.NoDensity {
		p.Density = k.Density
	}
	if k.MayCross != nil {
		p.MayCross = k.MayCross
	}
	if k.Mirror != "" {
		p.Mirror = k.Mirror
	}
	if k.Pivot != "" {
		p.Pivot = k.Pivot
	}
	if k.Poses != nil {
		p.Poses = k.Poses
	}
	p.By = "name suffix"
	return p
}

// fits says whether any of a piece's names matches.
func (p *piece) fits(ps spec.Patterns) bool {
	return ps.Fits(p.stem) || slices.ContainsFunc(p.names, ps.Fits)
}

// fileStem is a file's name without folder and ending: all that a nameless mesh has.
func fileStem(f *File) string {
	base := path.Base(f.Path)
	return strings.TrimSuffix(base, path.Ext(base))
}
