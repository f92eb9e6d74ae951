package acceptance

import (
	"fmt"
	"math"
	"slices"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// drawKey names one draw of one file.
type drawKey struct {
	scene *mesh.Scene
	draw  mesh.Draw
}

func keyOf(r mesh.Range) drawKey { return drawKey{r.Scene, r.Draw} }

// partsByDraw tells which part each draw of LOD 0 belongs to.
func partsByDraw(s *Subject) map[drawKey]*Part {
	m := map[drawKey]*Part{}
	for _, p := range s.Parts {
		for _, r := range p.Game.Of {
			m[keyOf(r)] = p
		}
	}
	return m
}

// notShipped are the part kinds that a renderer never draws: names, budgets and UVs are not held against them.
func notShipped(k spec.PartKind) bool {
	return k == spec.Helper || k == spec.Collision || k == spec.CagePart
}

// shipped lists the draws of one LOD that a renderer draws. Parts are known by draw at LOD 0 and by the name of their
// node at the others.
func shipped(s *Subject, lod int) []mesh.Range {
	if lod >= len(s.LODs) || s.LODs[lod] == nil {
		return nil
	}
	byDraw := partsByDraw(s)
	hidden := map[string]bool{}
	for k, p := range byDraw {
		if notShipped(p.Def.Kind) {
			hidden[k.scene.Nodes[k.draw.Node].Name] = true
		}
	}
	var out []mesh.Range
	for _, r := range s.LODs[lod].Of {
		p := byDraw[keyOf(r)]
		if p != nil && notShipped(p.Def.Kind) || p == nil && hidden[r.Scene.Nodes[r.Draw.Node].Name] {
			continue
		}
		out = append(out, r)
	}
	return out
}

// shippedScenes lists the files that the draws come from, in order, each once.
func shippedScenes(ranges []mesh.Range) []*mesh.Scene {
	var out []*mesh.Scene
	for _, r := range ranges {
		if !slices.Contains(out, r.Scene) {
			out = append(out, r.Scene)
		}
	}
	return out
}

// boundsOf returns the bounding box of the vertices that the ranges' triangles use, in metres. ok is false where
// there are none.
func boundsOf(sf *mesh.Surface, ranges []mesh.Range) (lo, hi [3]float64, ok bool) {
	for k := range lo {
		lo[k], hi[k] = math.Inf(1), math.Inf(-1)
	}
	for _, r := range ranges {
		for _, v := range sf.Tri[3*r.First : 3*r.End] {
			p := sf.Pos[3*v : 3*v+3]
			for k := range lo {
				x := float64(p[k])
				lo[k], hi[k] = min(lo[k], x), max(hi[k], x)
			}
			ok = true
		}
	}
	return lo, hi, ok && lo[0] <= hi[0] && lo[1] <= hi[1] && lo[2] <= hi[2]
}

// corners returns a triangle's positions in metres.
func corners(sf *mesh.Surface, t int) (a, b, c [3]float64) {
	return point(sf.Pos, sf.Tri[3*t]), point(sf.Pos, sf.Tri[3*t+1]), point(sf.Pos, sf.Tri[3*t+2])
}

func point(pos []float32, v uint32) [3]float64 {
	p := pos[3*v : 3*v+3]
	return [3]float64{float64(p[0]), float64(p[1]), float64(p[2])}
}

// worldArea is a triangle's area in square metres; 0 where it is flat. A triangle is flat where its height over its
// longest edge is within the rounding of its own coordinates: a float32 coordinate of size m is known to m·2⁻²⁴, each
// of the two edge vectors of the cross product carries two such errors, so heights under m·2⁻²² are noise. Doubling
// the tolerance would call triangles of up to 0.5 µm height at one metre from the origin flat instead of 0.24 µm.
func worldArea(a, b, c [3]float64) float64 {
	u, v, w := sub(b, a), sub(c, a), sub(c, b)
	area2Sq := lenSq(cross(u, v)) // (2 · area)²
	longestSq := max(lenSq(u), lenSq(v), lenSq(w))
	m := max(math.Abs(a[0]), math.Abs(a[1]), math.Abs(a[2]), math.Abs(b[0]), math.Abs(b[1]), math.Abs(b[2]),
		math.Abs(c[0]), math.Abs(c[1]), math.Abs(c[2]))
	const noise = 1.0 / (1 << 22)
	heightMin := m * noise
	// height = 2·area / longest edge; NaN compares false and counts as flat.
	if !(area2Sq > float64(heightMin*heightMin)*longestSq) {
		return 0
	}
	return 0.5 * math.Sqrt(area2Sq)
}

func sub(a, b [3]float64) [3]float64 { return [3]float64{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func lenSq(v [3]float64) float64 {
	return float64(v[0]*v[0]) + float64(v[1]*v[1]) + float64(v[2]*v[2])
}

func cross(u, v [3]float64) [3]float64 {
	return [3]float64{
		float64(u[1]*v[2]) - float64(u[2]*v[1]),
		float64(u[2]*v[0]) - float64(u[0]*v[2]),
		float64(u[0]*v[1]) - float64(u[1]*v[0]),
	}
}

// middleMM is a triangle's centre in millimetres, to a micrometre.
func middleMM(a, b, c [3]float64) *[3]float64 {
	var m [3]float64
	for k := range m {
		m[k] = roundMM((a[k] + b[k] + c[k]) * (1000.0 / 3))
	}
	return &m
}

// facing names the side of the prop that a triangle looks to, as people name it standing before its front: glTF's front
// looks along +Z, so +X is the prop's left. "" where the triangle has no area.
func facing(a, b, c [3]float64) string {
	n := cross(sub(b, a), sub(c, a))
	side, most := "", 0.0
	for k, names := range [3][2]string{{"right", "left"}, {"below", "top"}, {"back", "front"}} {
		if v := math.Abs(n[k]); v > most {
			most = v
			side = names[0]
			if n[k] > 0 {
				side = names[1]
			}
		}
	}
	return side
}

// roundMM rounds millimetres to a micrometre: float32 metres hold no more at the size of a prop, and a limit of
// 1010 mm must not be broken by a coordinate stored as 1.0100000000000000888.
func roundMM(mm float64) float64 { return math.Round(mm*1000) / 1000 }

// withNumbers returns the rule with limits added that follow from others, so that the finding shows them.
func withNumbers(r spec.Rule, more map[string]float64) spec.Rule {
	numbers := make(map[string]float64, len(r.Numbers)+len(more))
	for k, v := range r.Numbers {
		numbers[k] = v
	}
	for k, v := range more {
		numbers[k] = v
	}
	r.Numbers = numbers
	return r
}

// plural writes "1 name" or "3 names".
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

var (
	blocksAll = [4]spec.Mode{spec.Blocks, spec.Blocks, spec.Blocks, spec.Blocks}
	warnsAll  = [4]spec.Mode{spec.Warns, spec.Warns, spec.Warns, spec.Warns}

	fromBlockOut = []spec.Milestone{spec.BlockOut, spec.Sculpt, spec.GameMesh, spec.Maps, spec.Final}
	fromSculpt   = []spec.Milestone{spec.Sculpt, spec.GameMesh, spec.Maps, spec.Final}
	fromGameMesh = []spec.Milestone{spec.GameMesh, spec.Maps, spec.Final}
	fromMaps     = []spec.Milestone{spec.Maps, spec.Final}
)

func same(v float64) spec.ByTier { return spec.ByTier{v, v, v, v} }
