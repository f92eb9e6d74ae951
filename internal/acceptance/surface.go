package acceptance

import (
	"context"
	"fmt"
	"math"
	"sync"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/surface"
	"proofhouse/internal/acceptance/words"
)

// surfaceMeasure is what the surface checks of one part share: one comparison, made when the first check asks for it.
type surfaceMeasure struct {
	once sync.Once
	pair *surface.Pair
}

func surfaceChecks() []Check {
	return []Check{
		{Def: pokeDef, Run: surfacePokeThrough},
		{Def: deviationDef, Run: surfaceDeviation},
		{Def: reachDef, Run: surfaceCageReach},
		{Def: cageMeshDef, Run: surfaceCageMesh},
		{Def: symmetryDef, Run: surfaceSymmetry},
		{Def: silhouetteDef, Run: surfaceSilhouette},
	}
}

// notCompared are the part kinds that no check holds against a sculpt.
var notCompared = map[spec.PartKind]string{
	spec.Floater: "The part is a floater: it hovers over its host and has no surface of its own to compare.",
	spec.Decal:   "The part is a decal: it carries no sculpt.",
	spec.Card:    "The part is a card: its shape is in its mask, not in its surface.",
}

// with adds kinds to those that are never compared.
func with(more map[spec.PartKind]string) map[spec.PartKind]string {
	all := map[spec.PartKind]string{}
	for _, m := range []map[spec.PartKind]string{notCompared, more} {
		for k, why := range m {
			all[k] = why
		}
	}
	return all
}

// pair returns the comparison of a part with its sculpt.
func (p *Part) pair(s *Subject) *surface.Pair {
	p.surface.once.Do(func() {
		game := gameMesh(p)
		opt := surface.Options{
			Threads: s.Threads, Open: openSides(p, game), MirrorX: mirrorPlane(s, p), SetOf: bakedSets(s, p),
			Share: p.AreaShare, PixelMM: s.Spec.View.PixelMM(),
		}
		p.surface.pair = surface.NewPair(game, surface.Mesh{Pos: p.Sculpt.Pos, Tri: p.Sculpt.Tri}, opt)
	})
	return p.surface.pair
}

// openSides are the places where the part says that its open edges are meant.
func openSides(p *Part, game surface.Mesh) []surface.OpenSide {
	var sides []surface.OpenSide
	for _, word := range p.Def.Open {
		switch word {
		case "below":
			sides = append(sides, surface.OpenTo(game, [3]float64{0, -1, 0}))
		case "back":
			sides = append(sides, surface.OpenTo(game, [3]float64{0, 0, -1}))
		case "ends": // of the longer level axis: kit pieces snap there
			end := [3]float64{1, 0, 0}
			if lo, hi, ok := boundsOf(&p.Game, []mesh.Range{{First: 0, End: p.Game.Triangles()}}); ok && hi[2]-lo[2] > hi[0]-lo[0] {
				end = [3]float64{0, 0, 1}
			}
			sides = append(sides, surface.OpenTo(game, end), surface.OpenTo(game, [3]float64{-end[0], 0, -end[2]}))
		}
	}
	for _, o := range p.Def.OpenAt {
		sides = append(sides, surface.OpenSide{Normal: o.Normal, Offset: o.OffsetMM / 1000, Tol: max(o.TolMM, 0) / 1000})
	}
	return sides
}

// mirrorPlane is the X at which the prop is mirrored, metres: the origin, or the middle of the prop's box where that is
// more than a fiftieth of the width away from it.
func mirrorPlane(s *Subject, p *Part) float64 {
	game := &p.Game
	if len(s.LODs) > 0 && s.LODs[0] != nil {
		game = &s.LODs[0].Surface
	}
	lo, hi, ok := boundsOf(game, []mesh.Range{{First: 0, End: game.Triangles()}})
	if !ok {
		return 0
	}
	if middle := (lo[0] + hi[0]) / 2; math.Abs(middle) > 0.02*(hi[0]-lo[0]) {
		return middle
	}
	return 0
}

// bakedSets numbers the texture set of every triangle of a part; -1 where its set is not baked from a sculpt.
func bakedSets(s *Subject, p *Part) func(int) int {
	if len(s.Sets) == 0 {
		return nil
	}
	number := map[drawKey]int{}
	for i, t := range s.Sets {
		baked := t.Def.Kind == spec.Baked || t.Def.Kind == spec.UDIM || t.Def.Kind == spec.Shared || t.Def.Kind == ""
		for _, r := range t.Game.Of {
			if !baked {
				number[keyOf(r)] = -1
			} else {
				number[keyOf(r)] = i
			}
		}
	}
	of := make([]int, p.Game.Triangles())
	for _, r := range p.Game.Of {
		n := number[keyOf(r)]
		for t := r.First; t < r.End && t < len(of); t++ {
			of[t] = n
		}
	}
	return func(t int) int { return of[t] }
}

// noSculpt says what a surface check has to answer where a part has no sculpt to be held against; ok means it has.
func noSculpt(s *Subject, p *Part) (f Finding, ok bool) {
	switch {
	case p.Sculpt.Triangles() > 0:
		if !p.pair(s).Measurable() {
			return unable("surface.no_area"), false
		}
		return Finding{}, true
	case len(p.Def.Sculpt) == 1 && p.Def.Sculpt[0] == "none":
		return exempt("surface.no_sculpt_by_spec"), false
	case !wantsSculpt(s, p):
		return exempt("surface.no_sculpt_of_its_own"), false
	case !bodyThere(s.Sculpt) && !asksFor(s.Spec, "sculpt"):
		return exempt("surface.no_sculpt_asked"), false
	case !bodyThere(s.Sculpt):
		return unable("surface.no_sculpt"), false
	}
	return unable("surface.no_piece"), false
}

// measuredSurface gives pictures what was measured of a part. Heat is made here if no check has asked for it.
func measuredSurface(ctx context.Context, s *Subject, p *Part) (*surface.Heat, []surface.Patch, []surface.View) {
	if p.Sculpt.Triangles() == 0 || !p.pair(s).Measurable() {
		return nil, nil, nil
	}
	heat, err := p.pair(s).Heat(ctx)
	if err != nil {
		return nil, nil, nil
	}
	return heat, p.pair(s).Patches(), p.pair(s).Views()
}

// sideOf names the side of the prop on which a point lies, as seen by someone who faces its front: the axis along which the
// point is farthest from the middle, by the prop's half size there.
func sideOf(s *Subject, p *Part, pointMM [3]float64) string {
	game := &p.Game
	if len(s.LODs) > 0 && s.LODs[0] != nil {
		game = &s.LODs[0].Surface
	}
	lo, hi, ok := boundsOf(game, []mesh.Range{{First: 0, End: game.Triangles()}})
	if !ok {
		return ""
	}
	return sideWithin(lo, hi, pointMM)
}

// sideWithin is sideOf for a box in metres.
func sideWithin(lo, hi, pointMM [3]float64) string {
	names := [3][2]string{{"right", "left"}, {"below", "top"}, {"back", "front"}}
	best, side := -1.0, ""
	for k := range 3 {
		half := (hi[k] - lo[k]) / 2
		if !(half > 0) {
			continue
		}
		at := (pointMM[k]/1000 - float64((lo[k]+hi[k])/2)) / half
		if math.Abs(at) > best {
			best, side = math.Abs(at), names[k][0]
			if at > 0 {
				side = names[k][1]
			}
		}
	}
	return side
}

// sideTerm is a side as a word of a sentence; templates say where with its form "at".
func sideTerm(side string) words.Arg {
	if side == "" {
		return words.Term("nowhere")
	}
	return words.Term(side)
}

// surfacePlace is a place on a surface: node, triangle as drawn, point and side.
func surfacePlace(s *Subject, p *Part, on *mesh.Surface, triangle int, pointMM [3]float64, value float64, unit string) Place {
	pl := Place{PointMM: &pointMM, Value: &Value{Value: value, Unit: unit}, Side: sideOf(s, p, pointMM)}
	for _, r := range on.Of {
		if triangle >= r.First && triangle < r.End {
			pl.Node, pl.Triangles = r.NodeName(), []int{triangle - r.First}
		}
	}
	return pl
}

// effective puts a limit in millimetres into a rule: the spec's own where it names one, else the larger of a share of
// the part's diagonal and pixels at the tier's distance.
func effective(r spec.Rule, key string, diagonalMM float64, shareKey string, pixelMM float64, pixelKey string) spec.Rule {
	if _, on := r.Num(key); on {
		return r
	}
	limit, on := 0.0, false
	if share, ok := r.Num(shareKey); ok {
		limit, on = share*diagonalMM, true
	}
	if px, ok := r.Num(pixelKey); ok && px*pixelMM > limit {
		limit, on = px*pixelMM, true
	}
	if on {
		numbers := make(map[string]float64, len(r.Numbers)+1)
		for k, v := range r.Numbers {
			numbers[k] = v
		}
		numbers[key] = limit
		r.Numbers = numbers
	}
	return r
}

// lengthWords writes millimetres for people.
func lengthWords(mm float64) string {
	switch {
	case mm >= 100:
		return fmt.Sprintf("%.0f mm", mm)
	case mm >= 0.095:
		return fmt.Sprintf("%.1f mm", mm)
	case mm > 0:
		return fmt.Sprintf("%.2g mm", mm)
	}
	return "0 mm"
}

func areaWords(mm2 float64) string {
	switch {
	case mm2 >= 1e5:
		return fmt.Sprintf("%.1f dm²", mm2/1e4)
	case mm2 >= 10:
		return fmt.Sprintf("%.0f mm²", mm2)
	}
	return fmt.Sprintf("%.2g mm²", mm2)
}
