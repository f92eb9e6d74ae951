package acceptance

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spatial"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/topo"
	"proofhouse/internal/acceptance/words"
)

func topologyChecks() []Check {
	return []Check{
		{Def: degenerateDef, Run: topologyDegenerate},
		{Def: duplicateDef, Run: topologyDuplicate},
		{Def: nonmanifoldDef, Run: topologyNonmanifold},
		{Def: openEdgesDef, Run: topologyOpenEdges},
		{Def: seeThroughDef, Run: topologySeeThrough},
		{Def: zFightingDef, Run: topologyZFighting},
		{Def: windingDef, Run: topologyWinding},
		{Def: selfIntersectionDef, Run: topologySelfIntersection},
		{Def: looseDef, Run: topologyLoose},
		{Def: hiddenDef, Run: topologyHidden},
		{Def: sliversDef, Run: topologySlivers},
		{Def: evennessDef, Run: topologyEvenness},
		{Def: quadsDef, Run: topologyQuads},
	}
}

// topoMeasure is what the topology checks of one LOD share: made when the first of them asks for it.
type topoMeasure struct {
	of   *Body // a copy of a body, as a mended one is, is measured anew
	once sync.Once
	made *topoBody
	err  error
}

// topoBody is one LOD as the topology checks look at it: all its parts welded together, since parts meet, with every
// triangle knowing its part.
type topoBody struct {
	*topo.Surface
	sf    *mesh.Surface
	lod   int
	part  []int16 // by triangle: index in Subject.Parts, noPart, or notDrawn
	look  []look  // by triangle
	strip []bool  // by triangle: drawn as a strip; nil where none is

	unwelded bool // an .obj whose triangles share no vertices: its indices say nothing

	loops   func() []topo.Loop
	box     func() bounds64   // of the LOD, metres; of no size where it is empty
	sizeM   func() float64    // its diagonal
	members func() [][]uint32 // by shell: its triangles
	tree    func() *spatial.Tree
	near    nearPairs
	sight   sightMeasure
}

// look says how a triangle's material and part let it be seen.
type look uint8

const (
	twoSided look = 1 << iota // by its material, or by the spec's word
	passes                    // light and eyes pass: blend, mask, glass, card
	paired                    // its other side is a face of its own, by the spec's word
	unseen                    // its back is nobody's business: floaters, decals, cards
)

const (
	noPart   = -1 // a piece of a LOD whose part is not known
	notDrawn = -2 // helper, collision, cage
)

// topoOf is the measure of one LOD.
func topoOf(ctx context.Context, s *Subject, lod int) (*topoBody, error) {
	body := s.LODs[lod]
	if body.topo == nil || body.topo.of != body { // checks run one after the other
		body.topo = &topoMeasure{of: body}
	}
	m := body.topo
	m.once.Do(func() { m.made, m.err = newTopoBody(ctx, s, lod) })
	return m.made, m.err
}

func newTopoBody(ctx context.Context, s *Subject, lod int) (*topoBody, error) {
	b := &topoBody{sf: &s.LODs[lod].Surface, lod: lod}
	n := b.sf.Triangles()
	in := topo.Input{Pos: b.sf.Pos, Tri: b.sf.Tri, Node: make([]uint32, n), Draw: make([]uint32, n), Skip: make([]bool, n)}
	b.part, b.look = make([]int16, n), make([]look, n)
	find := partFinder(s, lod)
	nodes := map[drawKey]uint32{}
	for i, r := range b.sf.Of {
		node := drawKey{r.Scene, mesh.Draw{Node: r.Draw.Node}}
		if _, ok := nodes[node]; !ok {
			nodes[node] = uint32(len(nodes))
		}
		p := find(r)
		l := lookOf(s, r, p)
		for t := r.First; t < r.End; t++ {
			in.Node[t], in.Draw[t], b.part[t], b.look[t] = nodes[node], uint32(i), int16(p), l
			in.Skip[t] = p == notDrawn
		}
		if r.Scene.Prims[r.Draw.Prim].Mode == triangleStrip {
			if b.strip == nil {
				b.strip = make([]bool, n)
			}
			for t := r.First; t < r.End; t++ {
				b.strip[t] = true
			}
		}
	}
	b.placesOf(&in, s.Spec.Conventions.WeldMM)
	var err error
	if b.Surface, err = topo.New(ctx, in); err != nil {
		return nil, err
	}
	b.loops = sync.OnceValue(b.Surface.Loops)
	b.box = sync.OnceValue(b.measureBox)
	b.sizeM = sync.OnceValue(func() float64 { return math.Sqrt(lenSq(sub(b.box().hi, b.box().lo))) })
	b.members = sync.OnceValue(b.shellMembers)
	threads := s.Threads
	b.tree = sync.OnceValue(func() *spatial.Tree { return spatial.Build(b.Pos, b.drawnTri(), threads) })
	return b, nil
}

// triangleStrip is glTF's mode of strips (glTF 2.0, 5.24.4): their joints are triangles without an area.
const triangleStrip = 5

// drawnTri is the triangle list with what is not drawn left without an area, so that numbers stay.
func (b *topoBody) drawnTri() []uint32 {
	if !slices.Contains(b.part, notDrawn) {
		return b.Tri
	}
	tri := slices.Clone(b.Tri)
	for t, p := range b.part {
		if p == notDrawn {
			tri[3*t+1], tri[3*t+2] = tri[3*t], tri[3*t]
		}
	}
	return tri
}

func (b *topoBody) shellMembers() [][]uint32 {
	all := make([][]uint32, len(b.Shells))
	for i, sh := range b.Shells {
		all[i] = make([]uint32, 0, sh.Triangles)
	}
	for t, i := range b.Shell {
		if i >= 0 {
			all[i] = append(all[i], uint32(t))
		}
	}
	return all
}

// partFinder tells the part of each draw: at LOD 0 as it was sorted, at further LODs by the stem of the node's name.
func partFinder(s *Subject, lod int) func(mesh.Range) int {
	byDraw, byStem := map[drawKey]int{}, map[string]int{}
	stem := func(r mesh.Range) string {
		return strings.ToLower(numberTail.ReplaceAllString(r.Scene.Nodes[r.Draw.Node].Name, ""))
	}
	for i, p := range s.Parts {
		for _, r := range p.Game.Of {
			byDraw[keyOf(r)] = i
			if _, known := byStem[stem(r)]; !known {
				byStem[stem(r)] = i
			}
		}
	}
	return func(r mesh.Range) int {
		i, ok := byDraw[keyOf(r)]
		if !ok && lod > 0 {
			i, ok = byStem[stem(r)]
		}
		switch {
		case !ok:
			return noPart
		case notShipped(s.Parts[i].Def.Kind):
			return notDrawn
		}
		return i
	}
}

func lookOf(s *Subject, r mesh.Range, part int) (l look) {
	if m := r.Scene.Prims[r.Draw.Prim].Material; m >= 0 && m < len(r.Scene.Materials) {
		if r.Scene.Materials[m].DoubleSided {
			l |= twoSided
		}
		if a := r.Scene.Materials[m].AlphaMode; a == "BLEND" || a == "MASK" {
			l |= passes
		}
	}
	if part < 0 {
		return l
	}
	def := s.Parts[part].Def
	switch def.Kind {
	case spec.Glass:
		l |= passes | unseen
	case spec.Card:
		l |= passes | unseen
	case spec.Floater, spec.Decal:
		l |= unseen
	}
	switch def.TwoSided {
	case "material":
		l |= twoSided
	case "geometry":
		l |= paired
	}
	return l
}

// weldShare of the prop's diagonal is the most that a spec's weld_mm welds over: fixed millimetres destroy coins. Common
// practice, no source; doubling it welds details of 0.02 mm on a prop of a metre.
const weldShare = 1e-5

// placesOf gives vertices their places: those at exactly the same point share one, or within weld_mm where the spec asks for
// it; except that an .obj file says by its own numbers what is joined, but not one in which nothing is.
func (b *topoBody) placesOf(in *topo.Input, weldMM float64) {
	tolerance := 0.0
	if lo, hi, ok := boundsOf(b.sf, []mesh.Range{{First: 0, End: b.sf.Triangles()}}); ok && weldMM > 0 {
		tolerance = min(weldMM/1000, weldShare*math.Sqrt(lenSq(sub(hi, lo))))
	}
	in.Place, in.Places = spatial.Weld(in.Pos, float32(tolerance))
	files := map[*mesh.Scene]int{} // offset of its numbers
	welded := in.Places
	own := 0
	for _, r := range b.sf.Of {
		if r.Scene.Format != "obj" {
			continue
		}
		if _, ok := files[r.Scene]; !ok {
			files[r.Scene] = own
			own += 1 + int(maxPlace(r.Scene))
		}
	}
	if own == 0 {
		return
	}
	if b.unwelded = exportedUnwelded(b.sf, in.Place, in.Places, own, files); b.unwelded {
		return
	}
	in.Index = make([]uint32, len(in.Place))
	for v := range in.Index {
		in.Index[v] = uint32(own + v)
	}
	for _, r := range b.sf.Of {
		first, ok := files[r.Scene]
		for v := r.VFirst; ok && v < r.VEnd; v++ {
			n := uint32(first) + placeInFile(r, v)
			in.Index[v], in.Place[v] = n, uint32(welded)+n
		}
	}
	in.Places = welded + own
}

func maxPlace(s *mesh.Scene) (top uint32) {
	for i := range s.Prims {
		top = max(top, uint32(len(s.Prims[i].Pos)/3))
		for _, p := range s.Prims[i].Place {
			top = max(top, p)
		}
	}
	return top
}

// placeInFile is the number under which an .obj file knows the position of vertex v.
func placeInFile(r mesh.Range, v int) uint32 {
	if of := r.Scene.Prims[r.Draw.Prim].Place; len(of) == r.VEnd-r.VFirst {
		return of[v-r.VFirst]
	}
	return uint32(v - r.VFirst)
}

// unweldedShare of a file's points lying on others means that the export joined nothing: kit pieces that touch come to a
// few per cent, and a box with every side for itself to two thirds.
const unweldedShare = 1.0 / 3

// exportedUnwelded says whether most points of the .obj files lie on other points of theirs.
func exportedUnwelded(sf *mesh.Surface, place []uint32, places, own int, files map[*mesh.Scene]int) bool {
	used := make([]bool, own)
	at := make([]bool, places)
	points, distinct := 0, 0
	for _, r := range sf.Of {
		first, ok := files[r.Scene]
		for v := r.VFirst; ok && v < r.VEnd; v++ {
			if n := first + int(placeInFile(r, v)); !used[n] {
				used[n] = true
				points++
				if w := place[v]; !at[w] {
					at[w] = true
					distinct++
				}
			}
		}
	}
	return float64(points-distinct) > unweldedShare*float64(points)
}

// topoTarget is what one finding is about: the triangles of a part at LOD 0, or of all parts that count at a further LOD.
type topoTarget struct {
	*topoBody
	s      *Subject
	p      *Part // nil for a whole LOD
	accept []bool
	other  bool // triangles of no known part count
	no     int  // triangles of the target, drawn
}

// topoFor readies a target. ok is false where the finding is settled already.
func topoFor(ctx context.Context, s *Subject, t Target, def spec.Check) (x *topoTarget, f Finding, ok bool) {
	lod := max(t.LOD, 0)
	if t.Part != nil {
		lod = 0
	}
	b, err := topoOf(ctx, s, lod)
	if err != nil {
		return nil, unable("topology.stopped", words.Name(err.Error())), false
	}
	x = &topoTarget{topoBody: b, s: s, p: t.Part, accept: make([]bool, len(s.Parts)), other: t.Part == nil}
	for i, p := range s.Parts {
		x.accept[i] = p == t.Part || t.Part == nil && s.Spec.Rule(def.Name, &p.Def, nil).Mode != spec.NotAppl
	}
	for i := range b.part {
		if x.has(i) {
			x.no++
		}
	}
	if x.no == 0 && t.Part == nil {
		return nil, Finding{}, false // nothing of this LOD counts, and the parts have said why at LOD 0
	}
	return x, Finding{}, true
}

// has says whether a triangle belongs to the target.
func (x *topoTarget) has(t int) bool {
	p := x.part[t]
	return p >= 0 && x.accept[p] || p == noPart && x.other
}

// live says whether a triangle belongs to the target and takes part.
func (x *topoTarget) live(t int) bool { return x.State[t] == topo.Live && x.has(t) }

// diagonalMM is that of the part's box, or of the LOD's.
func (x *topoTarget) diagonalMM() float64 {
	lo, hi, ok := x.bounds()
	if !ok {
		return 0
	}
	return 1000 * math.Sqrt(lenSq(sub(hi, lo)))
}

func (x *topoTarget) bounds() (lo, hi [3]float64, ok bool) {
	lo = [3]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
	hi = [3]float64{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
	for t := range x.part {
		if x.State[t] != topo.Live && x.State[t] != topo.Again || !x.has(t) {
			continue
		}
		for _, v := range x.Tri[3*t : 3*t+3] {
			p := point(x.Pos, v)
			for k := range 3 {
				lo[k], hi[k] = min(lo[k], p[k]), max(hi[k], p[k])
			}
		}
		ok = true
	}
	return lo, hi, ok
}

// place is where a triangle is, with a value.
func (x *topoTarget) place(t int, value float64, unit string) Place {
	p := trianglePlace(x.sf, nil, t)
	p.Side = x.side(*p.PointMM)
	p.Value = &Value{Value: value, Unit: unit}
	return p
}

// at is place with a point of its own, metres.
func (x *topoTarget) at(t int, point [3]float64, value float64, unit string) Place {
	p := trianglePlace(x.sf, nil, t)
	p.PointMM = &[3]float64{roundMM(1000 * point[0]), roundMM(1000 * point[1]), roundMM(1000 * point[2])}
	p.Side = x.side(*p.PointMM)
	p.Value = &Value{Value: value, Unit: unit}
	return p
}

// side names the side of the LOD on which a point lies.
func (x *topoTarget) side(pointMM [3]float64) string {
	b := x.box()
	return sideWithin(b.lo, b.hi, pointMM)
}

// patches groups triangles, given in ascending order, that hang together over edges; each patch keeps the order, and patches
// come in the order of their first.
func (b *topoBody) patches(tris []int32) [][]int32 {
	at := make(map[int32]uint32, len(tris))
	for i, t := range tris {
		at[t] = uint32(i)
	}
	u := topo.NewUnion(len(tris))
	for i, t := range tris {
		for h := 3 * t; h < 3*t+3; h++ {
			if m := b.Mate[h]; m >= 0 {
				if j, ok := at[m/3]; ok {
					u.Join(uint32(i), j)
				}
			}
		}
	}
	number := make([]int, len(tris))
	var out [][]int32
	for i, t := range tris {
		root := u.Find(uint32(i))
		if root == uint32(i) {
			number[i] = len(out)
			out = append(out, nil)
		}
		out[number[root]] = append(out[number[root]], t)
	}
	return out
}

// maxNamed triangles of a patch are named in a place; more help nobody.
const maxNamed = 64

// patchPlace is a patch's place: at its largest triangle, with the triangles of that one's node.
func (x *topoTarget) patchPlace(patch []int32, value float64, unit string) Place {
	largest, area := patch[0], -1.0
	for _, t := range patch {
		if a := worldArea(corners(x.sf, int(t))); a > area {
			largest, area = t, a
		}
	}
	p := x.place(int(largest), value, unit)
	r := rangeOf(x.sf, int(largest))
	for _, t := range patch {
		if int(t) >= r.First && int(t) < r.End && t != largest && len(p.Triangles) < maxNamed {
			p.Triangles = append(p.Triangles, int(t)-r.First)
		}
	}
	return p
}

// close ends a finding: which LOD it is of, where it is of no part.
func (x *topoTarget) close(f Finding) Finding {
	if x.p == nil {
		lod := x.lod
		f.LOD = &lod
	}
	return f
}

// openByKind are the kinds of part that are meant to be open: what they are seen through by is topology.see_through's.
func openByKind(what string) map[spec.PartKind]string {
	m := map[spec.PartKind]string{}
	for _, k := range []spec.PartKind{spec.Sheet, spec.Card, spec.Floater, spec.Decal, spec.Glass, spec.Rope, spec.Interior} {
		m[k] = fmt.Sprintf(what, k)
	}
	return m
}
