package acceptance

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/spec"
)

// roleTable tells roles from names by the patterns of a spec.
type roleTable struct {
	files []rolePattern
	nodes []rolePattern
	sets  []string
}

type rolePattern struct {
	role    string
	pattern *spec.Pattern
}

// named is what a name tells of a file or node.
type roleOf struct {
	Role string // "game", "game.lod1", "map.normal", …; "" where no pattern fits
	Set  string
	Part string
}

func newRoleTable(sp *spec.Spec) (*roleTable, error) {
	tokens := sp.Tokens()
	tokens.Fold = true // a vendor's capital letter is a matter for the name checks, not a reason to lose a file
	t := &roleTable{sets: tokens.Sets}
	for _, f := range sp.Files {
		p, err := spec.CompilePattern(f.Pattern, tokens)
		if err != nil {
			return nil, fmt.Errorf("files of the spec, role %s: %w", f.Role, err)
		}
		if f.Node {
			t.nodes = append(t.nodes, rolePattern{f.Role, p})
		} else {
			t.files = append(t.files, rolePattern{f.Role, p})
		}
	}
	return t, nil
}

// file tells a file's role from its path: the first pattern that fits the whole path or its last element, and whose
// role can hold such a file.
func (t *roleTable) file(name string) roleOf {
	for _, p := range t.files {
		captured, ok := p.pattern.Match(name)
		if !ok {
			captured, ok = p.pattern.Match(path.Base(name))
		}
		if !ok {
			continue
		}
		if r := t.fill(p.role, captured, name); canHold(r.Role, name) {
			return r
		}
	}
	return roleOf{}
}

// node tells the role of a node inside a file.
func (t *roleTable) node(name string) roleOf {
	for _, p := range t.nodes {
		if captured, ok := p.pattern.Match(name); ok {
			return t.fill(p.role, captured, "")
		}
	}
	return roleOf{}
}

// fill puts what the tokens captured into a role.
func (t *roleTable) fill(role string, captured map[string]string, name string) roleOf {
	r := roleOf{Part: captured["part"]}
	role, set, _ := strings.Cut(role, "@")
	set = strings.ReplaceAll(set, "{set}", captured["set"])
	if set == "" {
		set = captured["set"]
	}
	for _, known := range t.sets {
		if strings.EqualFold(known, set) {
			set = known
		}
	}
	r.Set = set
	role = strings.ReplaceAll(role, "{map}", strings.ToLower(captured["map"]))
	role = strings.ReplaceAll(role, "{part}", strings.ToLower(captured["part"]))
	lod := strings.TrimLeft(captured["lod"], "0")
	if lod == "" && strings.Contains(role, "{lod}") {
		role = strings.ReplaceAll(role, ".lod{lod}", "") // LOD 0 is the game mesh itself
	}
	role = strings.ReplaceAll(role, "{lod}", lod)
	if strings.HasSuffix(role, ".*") { // source.*: what it is a source of is its ending
		ext := strings.ToLower(strings.TrimPrefix(path.Ext(name), "."))
		if ext == "" {
			ext = "file"
		}
		role = strings.TrimSuffix(role, "*") + ext
	}
	r.Role = role
	return r
}

var (
	geometryExts = []string{".glb", ".gltf", ".obj", ".ply"} // in the order of preference
	imageExts    = []string{".png", ".tga", ".tif", ".tiff", ".jpg", ".jpeg", ".webp", ".ktx2", ".exr"}
)

func isGeometry(name string) bool {
	return slices.Contains(geometryExts, strings.ToLower(path.Ext(name)))
}

func isImage(name string) bool {
	return slices.Contains(imageExts, strings.ToLower(path.Ext(name)))
}

// geometryRole says whether a role is one of surfaces.
func geometryRole(role string) bool {
	switch role {
	case "game", "sculpt", "cage", "collision", "bake_pose":
		return true
	}
	return strings.HasPrefix(role, "game.lod")
}

// canHold says whether a file of that ending can have a role.
func canHold(role, name string) bool {
	switch {
	case geometryRole(role):
		return isGeometry(name)
	case strings.HasPrefix(role, "map."):
		return isImage(name)
	}
	return true
}

// mapRole splits "map.normal@lid" into map and set.
func mapRole(role string) (name, set string, ok bool) {
	rest, ok := strings.CutPrefix(role, "map.")
	if !ok {
		return "", "", false
	}
	name, set, _ = strings.Cut(rest, "@")
	return name, set, true
}

// lodOf reads the LOD out of a game role: 0 for "game".
func lodOf(role string) (int, bool) {
	if role == "game" {
		return 0, true
	}
	digits, ok := strings.CutPrefix(role, "game.lod")
	if !ok || digits == "" || len(digits) > 2 {
		return 0, false
	}
	n := 0
	for _, c := range digits {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = n*10 + int(c-'0')
	}
	return n, true
}
