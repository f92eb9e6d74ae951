package acceptance

import (
	"slices"
	"strings"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// fillSets sorts the materials of what ships into texture sets and binds maps to them: those of the spec first, then
// one for each material that none of them takes.
func fillSets(s *Subject, game []*piece, variants []*variant) ([]Question, error) {
	tokens := s.Spec.Tokens()
	tokens.Fold = true
	ships := map[*piece]bool{}
	for _, v := range variants {
		for _, p := range v.game {
			ships[p] = !notShipped(v.def.Kind)
		}
	}
	var match []spec.Patterns
	for _, def := range s.Spec.Sets {
		ps, err := spec.CompilePatterns(def.Match, tokens)
		if err != nil {
			return nil, err
		}
		match = append(match, ps)
		s.Sets = append(s.Sets, &Set{Name: def.Name, Def: def})
	}
	setOf := map[drawKey]*Set{}
	for _, p := range game {
		if !ships[p] {
			continue
		}
		name := materialName(p.file.Scene, p.prim().Material)
		set := findSet(s, match, name)
		if !slices.Contains(set.Materials, name) {
			set.Materials = append(set.Materials, name)
		}
		setOf[drawKey{p.file.Scene, p.draw}] = set
	}
	for _, set := range s.Sets {
		set.Maps, set.maps = map[string]*File{}, &mapsMeasure{}
		set.memo = &uvMemo{}
		set.bakes = &bakeMeasure{}
		if len(s.LODs) > 0 {
			set.Game = subset(&s.LODs[0].Surface, func(r mesh.Range) bool { return setOf[keyOf(r)] == set })
		}
	}
	questions := bindNamed(s)
	for _, p := range game {
		if set := setOf[drawKey{p.file.Scene, p.draw}]; set != nil {
			bindReferenced(s, set, p)
		}
	}
	for _, set := range s.Sets {
		sizeSet(s, set, game, setOf)
	}
	return questions, nil
}

// findSet is the set that a material belongs to; a material of no set of the spec has one of its own.
func findSet(s *Subject, match []spec.Patterns, material string) *Set {
	for i, ps := range match {
		if ps.Fits(material) {
			return s.Sets[i]
		}
	}
	for _, set := range s.Sets[len(match):] {
		if set.Name == material {
			return set
		}
	}
	set := &Set{Name: material, Def: spec.Set{Name: material, Kind: spec.Baked, Stack: "any", Alpha: "none"}}
	s.Sets = append(s.Sets, set)
	return set
}

// bindNamed binds map files by the set in their role; without one, to the only set there is.
func bindNamed(s *Subject) []Question {
	var questions []Question
	for _, f := range s.Files {
		name, setName, ok := mapRole(f.Role)
		if !ok {
			continue
		}
		if setName == "" {
			setName = f.Set
		}
		set := setNamed(s, setName)
		if set == nil {
			if len(s.Sets) > 0 && !referenced(s, f.Path) {
				questions = append(questions, setQuestion(s, f, setName))
			}
			continue
		}
		f.Set = set.Name
		if set.Maps[name] == nil {
			set.Maps[name] = f
		}
	}
	return questions
}

func setQuestion(s *Subject, f *File, setName string) Question {
	q := question(f.Path, "question.no_set")
	if setName != "" {
		q = question(f.Path, "question.unknown_set", words.Name(setName))
	}
	name, _, _ := mapRole(f.Role)
	for _, set := range s.Sets {
		q.Candidates = append(q.Candidates, "map."+name+"@"+set.Name)
	}
	return q
}

// setNamed finds a set by its name, or by the word that only one set's materials hold.
func setNamed(s *Subject, name string) *Set {
	if name == "" {
		if len(s.Sets) == 1 {
			return s.Sets[0]
		}
		return nil
	}
	for _, set := range s.Sets {
		if strings.EqualFold(set.Name, name) {
			return set
		}
	}
	var found *Set
	for _, set := range s.Sets {
		holds := slices.ContainsFunc(set.Materials, func(m string) bool {
			return slices.ContainsFunc(strings.FieldsFunc(m, func(r rune) bool { return strings.ContainsRune("._- ", r) }),
				func(w string) bool { return strings.EqualFold(w, name) })
		})
		if holds && found != nil {
			return nil
		}
		if holds {
			found = set
		}
	}
	return found
}

func referenced(s *Subject, path string) bool {
	for _, f := range s.Files {
		if f.Scene == nil {
			continue
		}
		for i := range f.Scene.Images {
			if f.Scene.Images[i].Path == path {
				return true
			}
		}
	}
	return false
}

// materialMaps are the maps that a glTF material refers to, by the names that roles use.
func materialMaps(m *mesh.Material) []struct {
	name string
	tex  mesh.TexRef
} {
	type ref = struct {
		name string
		tex  mesh.TexRef
	}
	packed := "metal_rough"
	if m.MetalRough.Image >= 0 && m.MetalRough.Image == m.Occlusion.Image {
		packed = "orm"
	}
	return []ref{
		{"base_color", m.BaseTex}, {"normal", m.Normal}, {packed, m.MetalRough}, {"occlusion", m.Occlusion}, {"emissive", m.Emissive},
	}
}

// bindReferenced binds map files that a material refers to and that no role has bound.
func bindReferenced(s *Subject, set *Set, p *piece) {
	i := p.prim().Material
	if i < 0 || i >= len(p.file.Scene.Materials) {
		return
	}
	for _, ref := range materialMaps(&p.file.Scene.Materials[i]) {
		if ref.tex.Image < 0 || ref.tex.Image >= len(p.file.Scene.Images) || set.Maps[ref.name] != nil {
			continue
		}
		path := p.file.Scene.Images[ref.tex.Image].Path
		for _, f := range s.Files {
			if path != "" && f.Path == path {
				set.Maps[ref.name] = f
				if f.Set == "" {
					f.Set = set.Name
				}
			}
		}
	}
}

// sizeSet finds the size that density and padding are measured at: the size that the spec says ships, in the shape of
// the delivered map, else the delivered map's own.
func sizeSet(s *Subject, set *Set, game []*piece, setOf map[drawKey]*Set) {
	deliveredSize(s, set, game, setOf)
	if ship := set.Def.ShipPx; ship > 0 {
		w, h := max(1, set.WidthPx), max(1, set.HeightPx)
		longer := max(w, h)
		set.WidthPx, set.HeightPx, set.SizeFrom = max(1, ship*w/longer), max(1, ship*h/longer), words.P("uv.size_from.ship_px")
	}
}

// deliveredSize finds the size of the reference map as delivered, else of the first map that has one, else of an image
// inside the game mesh's own file.
func deliveredSize(s *Subject, set *Set, game []*piece, setOf map[drawKey]*Set) {
	order := append([]string{"base_color", "normal", "orm"}, sortedKeys(set.Maps)...)
	if set.Def.ReferenceMap != "" {
		order = []string{set.Def.ReferenceMap}
	}
	for _, name := range order {
		if f := set.Maps[name]; f != nil && f.WidthPx > 0 {
			set.WidthPx, set.HeightPx = f.WidthPx, f.HeightPx
			set.SizeFrom = words.P("uv.size_from.map", words.Name(name), words.Name(f.Path))
			return
		}
	}
	for _, p := range game {
		if setOf[drawKey{p.file.Scene, p.draw}] != set {
			continue
		}
		i := p.prim().Material
		if i < 0 || i >= len(p.file.Scene.Materials) {
			continue
		}
		for _, ref := range materialMaps(&p.file.Scene.Materials[i]) {
			if ref.tex.Image < 0 || ref.tex.Image >= len(p.file.Scene.Images) || set.Def.ReferenceMap != "" && ref.name != set.Def.ReferenceMap {
				continue
			}
			if img := &p.file.Scene.Images[ref.tex.Image]; img.Width > 0 {
				set.WidthPx, set.HeightPx = img.Width, img.Height
				set.SizeFrom = words.P("uv.size_from.material", words.Name(materialName(p.file.Scene, i)), words.Name(strings.ReplaceAll(ref.name, "_", " ")), words.Name(p.file.Path))
				return
			}
		}
	}
}
