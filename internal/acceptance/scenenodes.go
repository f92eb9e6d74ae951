package acceptance

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// matrixTolerance is how far a node's world matrix may be from what it should be and still count as it: lengths of
// axes as a ratio, cosines between axes, and unit scale. A chain of ten nodes with float32 rotations and scales carries
// errors of some 1e-6; 1e-4 is a hundred times that and a tenth of a millimetre on a metre. Free choice between the two.
const matrixTolerance = 1e-4

var transformsDef = spec.Check{
	Name: "scene.transforms", Scope: spec.PerDelivery, Title: "clean transforms",
	What:   "World matrices of the nodes that draw the game mesh: no shear, no uneven, zero or unapplied scale beyond what the spec allows. Mirroring nodes are named; glTF turns their winding round, so they only warn. Nodes of moving parts, and of meshes drawn more than once, may move and turn.",
	Why:    "Uneven scale and shear bend normals and collision, and a scale left on a node is applied twice as often as once.",
	Source: "glTF 2.0, 3.5.3 (transformations); what is allowed is " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Nodes beyond what is allowed.", Origin: spec.CommonPractice},
		{Key: "max_mirrored", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Mirroring nodes; more warns.", Origin: spec.CommonPractice},
		{Key: "allow", Kind: spec.Option, Words: []string{"uniform", "rigid", "identity"},
			What:   "What a node may do: move, turn and scale evenly; move and turn; or nothing.",
			Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromGameMesh, Metrics: []string{"count", "mirrored"},
}

// fault of a world matrix, the worst first.
type matrixFault int

const (
	zeroScale matrixFault = iota
	sheared
	unevenScale
	unappliedScale
	unappliedMove
	mirroredOnly
	cleanMatrix
)

var faultTerms = map[matrixFault]string{
	zeroScale: "zero_scale", sheared: "sheared", unevenScale: "uneven_scale", unappliedScale: "unapplied_scale",
	unappliedMove: "unapplied_move", mirroredOnly: "mirrored",
}

func sceneTransforms(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	if len(s.LODs) == 0 {
		return noBody
	}
	allow := r.Words["allow"]
	byDraw := partsByDraw(s)
	var places, mirrored []Place
	seen := map[*mesh.Node]bool{}
	kinds := map[matrixFault]bool{}
	for lod := range s.LODs {
		ranges := shipped(s, lod)
		copies := drawsByMesh(ranges)
		for _, g := range ranges {
			n := &g.Scene.Nodes[g.Draw.Node]
			if seen[n] {
				continue
			}
			seen[n] = true
			mayMove := len(copies[meshKey{g.Scene, n.Mesh}]) > 1
			if p := byDraw[keyOf(g)]; p != nil && p.Def.Kind == spec.Moving {
				mayMove = true
			}
			fault, note := faultOf(n.World, allow, mayMove)
			place := Place{Node: g.NodeName(), Pointer: n.Pointer}
			place.note(note.Code, note.Args...)
			switch fault {
			case cleanMatrix:
			case mirroredOnly:
				mirrored = append(mirrored, place)
				kinds[fault] = true
			default:
				places = append(places, place)
				kinds[fault] = true
			}
		}
	}
	f := judge(r, map[string]float64{"count": float64(len(places)), "mirrored": float64(len(mirrored))},
		atMost("count", "max_count"), atMost("mirrored", "max_mirrored").warns())
	f.say("scene.transforms.kept")
	if len(places)+len(mirrored) > 0 {
		f.Where = append(places, mirrored...)[:min(len(places)+len(mirrored), maxPlaces)]
		f.Labels = withLabel(f.Labels, "kinds", words.English().Sentence(words.P("scene.transforms.kinds", faultList(kinds))))
		f.say("scene.transforms.beyond", words.Count(len(places)+len(mirrored)), words.Term(allowTerms[allow]), faultList(kinds), words.Name(f.Where[0].Node))
		f.remedy("scene.transforms.apply")
	}
	return f
}

var allowTerms = map[string]string{
	"uniform": "allow_uniform", "rigid": "allow_rigid", "identity": "allow_identity", "": "allow_any",
}

func faultList(kinds map[matrixFault]bool) words.Arg {
	var list []words.Arg
	for k := zeroScale; k < cleanMatrix; k++ {
		if kinds[k] {
			list = append(list, words.Term(faultTerms[k]))
		}
	}
	return words.List(list...)
}

type meshKey struct {
	scene *mesh.Scene
	mesh  int
}

// drawsByMesh lists the nodes that draw each mesh.
func drawsByMesh(ranges []mesh.Range) map[meshKey][]int {
	m := map[meshKey][]int{}
	for _, r := range ranges {
		k := meshKey{r.Scene, r.Scene.Nodes[r.Draw.Node].Mesh}
		if !slices.Contains(m[k], r.Draw.Node) {
			m[k] = append(m[k], r.Draw.Node)
		}
	}
	return m
}

// faultOf names the worst thing a world matrix (column-major) does beyond what is allowed.
func faultOf(m [16]float64, allow string, mayMove bool) (matrixFault, words.Phrase) {
	x, y, z := [3]float64{m[0], m[1], m[2]}, [3]float64{m[4], m[5], m[6]}, [3]float64{m[8], m[9], m[10]}
	length := [3]float64{math.Sqrt(lenSq(x)), math.Sqrt(lenSq(y)), math.Sqrt(lenSq(z))}
	least, most := min(length[0], length[1], length[2]), max(length[0], length[1], length[2])
	if !(least > 1e-9) || !finite(most) {
		return zeroScale, scaledPhrase(length)
	}
	cosine := max(math.Abs(dot(x, y))/(length[0]*length[1]), math.Abs(dot(y, z))/(length[1]*length[2]), math.Abs(dot(z, x))/(length[2]*length[0]))
	mirrors := dot(cross(x, y), z) < 0
	scale := scaledPhrase(length)
	switch {
	case cosine > matrixTolerance:
		return sheared, words.P("scene.transforms.sheared_by", words.Nested(scale))
	case most/least > 1+matrixTolerance:
		return unevenScale, scale
	case allow != "uniform" && math.Abs(most-1) > matrixTolerance:
		return unappliedScale, scale
	}
	if allow == "identity" && !mayMove && !mirrors && !isIdentity(m) {
		return unappliedMove, words.P("scene.transforms.moved_by", words.MMExact(roundMM(m[12]*1000)), words.MMExact(roundMM(m[13]*1000)), words.MMExact(roundMM(m[14]*1000)))
	}
	if mirrors {
		return mirroredOnly, words.P("scene.transforms.mirrors")
	}
	return cleanMatrix, words.Phrase{}
}

func scaledPhrase(length [3]float64) words.Phrase {
	return words.P("scene.transforms.scaled_by", words.Num(length[0]), words.Num(length[1]), words.Num(length[2]))
}

func isIdentity(m [16]float64) bool {
	for i, v := range m {
		want := 0.0
		if i%5 == 0 {
			want = 1
		}
		if !(math.Abs(v-want) <= matrixTolerance) {
			return false
		}
	}
	return true
}

func dot(a, b [3]float64) float64 {
	return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2])
}

var pivotDef = spec.Check{
	Name: "scene.pivot", Scope: spec.PerPart, Title: "pivot",
	What:   "For a moving part, the distance from its pivot (the origin of its node, or of a node above it that carries nothing else) to the hinge that the spec names; where it names none, to the part's bounding box.",
	Why:    "A drawer or door turns about its pivot: off the hinge, it swings through its frame.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_offset_mm", Kind: spec.AtMost, Unit: "mm", Default: spec.ByTier{10, 5, 2, 1},
			What: "Distance of the pivot from the hinge; 0.1 mm for pieces of a kit.", Origin: spec.CommonPractice},
		{Key: "at_mm", Kind: spec.Target, Unit: "mm", List: true, Optional: true,
			What: "The hinge: x, y, z in the file's coordinates.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: []spec.Milestone{spec.BlockOut, spec.GameMesh, spec.Maps, spec.Final}, Metrics: []string{"offset_mm"},
}

func scenePivot(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	if t.Part.Def.Kind != spec.Moving || t.Part.Def.Pivot == "slide" {
		return Finding{} // a part that does not turn has no pivot
	}
	lo, hi, ok := boundsOf(&t.Part.Game, t.Part.Game.Of)
	if !ok {
		return noBody
	}
	hinge := numbers(r.Lists["at_mm"])
	best, place := math.Inf(1), Place{}
	for _, p := range pivots(t.Part.Game.Of) {
		at := s.mended.point([3]float64{p.World[12], p.World[13], p.World[14]})
		off := 0.0
		for k := range at {
			mm := float64(at[k] * 1000)
			d := max(float64(lo[k]*1000)-mm, mm-float64(hi[k]*1000), 0)
			if len(hinge) == 3 {
				d = mm - hinge[k]
			}
			off += float64(d * d)
		}
		if off = roundMM(math.Sqrt(off)); off < best {
			best = off
			place = Place{Node: p.Name, Pointer: p.Pointer, PointMM: &[3]float64{roundMM(at[0] * 1000), roundMM(at[1] * 1000), roundMM(at[2] * 1000)}}
		}
	}
	if !finite(best) {
		return unable("scene.pivot.no_position")
	}
	f := judge(r, map[string]float64{"offset_mm": best}, atMost("offset_mm", "max_offset_mm"))
	against := words.Term("hinge")
	if len(hinge) != 3 {
		against = words.Term("part_without_hinge")
	}
	f.say("scene.pivot.offset", words.MMExact(best), against)
	f.Labels = withLabel(f.Labels, "against", words.English().Say(words.Literal, against))
	if broke(f) {
		f.Where = []Place{place}
		f.remedy("scene.pivot.set")
	}
	return f
}

// point puts a world point of a file where it is once the subject was mended.
func (m mend) point(p [3]float64) [3]float64 {
	if m.factor == 0 {
		return p
	}
	return scaled(m.turn.apply(p), m.factor)
}

// pivots are the nodes that may be a part's pivot: the lowest one that carries all its nodes, and those above it that
// carry nothing else.
func pivots(ranges []mesh.Range) []*mesh.Node {
	if len(ranges) == 0 {
		return nil
	}
	sc := ranges[0].Scene
	own := map[int]bool{}
	for _, r := range ranges {
		if r.Scene == sc {
			own[r.Draw.Node] = true
		}
	}
	var out []*mesh.Node
	for n := ranges[0].Draw.Node; n >= 0; n = sc.Nodes[n].Parent {
		if !coversAll(sc, own, n) {
			continue
		}
		if len(out) > 0 && carriesOthers(sc, own, n) {
			break
		}
		out = append(out, &sc.Nodes[n])
	}
	return out
}

func carriesOthers(sc *mesh.Scene, own map[int]bool, above int) bool {
	for _, d := range sc.Draws {
		if !own[d.Node] && under(sc, d.Node, above) {
			return true
		}
	}
	return false
}

func coversAll(sc *mesh.Scene, own map[int]bool, above int) bool {
	for n := range own {
		if !under(sc, n, above) {
			return false
		}
	}
	return true
}

// under says whether node n is above or below it. The tree is known to be free of cycles.
func under(sc *mesh.Scene, n, above int) bool {
	for ; n >= 0; n = sc.Nodes[n].Parent {
		if n == above {
			return true
		}
	}
	return false
}
