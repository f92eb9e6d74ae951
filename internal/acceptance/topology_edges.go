package acceptance

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spatial"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/surface"
	"proofhouse/internal/acceptance/topo"
	"proofhouse/internal/acceptance/words"
)

var nonmanifoldDef = spec.Check{
	Name: "topology.nonmanifold", Scope: spec.PerPartAndLOD, Title: "edges and vertices that tie",
	What: "Edges on which more than two faces meet and vertices at which fans of faces hang together by a point, after shells that only touch have been told apart: by node, by what the file joins by index, by winding, by material.",
	Why:  "Where three faces meet on an edge there is no inside: averaged normals, bake cages, collision and simplification go wrong there.",
	Source: "two-manifold meshes in any text on half-edges, for example Weiler 1988 (radial edges); touching shells are told apart by " +
		spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Edges with more than two faces.", Origin: spec.CommonPractice},
		{Key: "max_bowtie_vertices", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Vertices that hold fans together.", Origin: spec.CommonPractice},
	},
	Mode: warnsThenBlocks, From: fromGameMesh, Metrics: []string{"count", "bowtie_vertices", "touching_edges", "touching_vertices"},
}

// warnsThenBlocks warns for background props and blocks nearer ones.
var warnsThenBlocks = [4]spec.Mode{spec.Warns, spec.Blocks, spec.Blocks, spec.Blocks}

func topologyNonmanifold(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, nonmanifoldDef)
	if !ok {
		return f
	}
	edges, ties := 0, 0
	for _, h := range x.Edges.Tangles {
		if !x.onEdge(h) {
			continue
		}
		edges++
		if len(f.Where) < maxPlaces {
			p := x.edgePlace(h)
			p.note("topology.nonmanifold.faces", words.Count(len(p.Triangles)))
			f.Where = append(f.Where, p)
		}
	}
	for _, b := range x.Bowties {
		if !slices.ContainsFunc(b.Corners, func(c uint32) bool { return x.has(int(c / 3)) }) {
			continue
		}
		ties++
		if len(f.Where) < maxPlaces {
			c := b.Corners[0]
			p := x.at(int(c/3), point(x.Pos, x.Tri[c]), float64(len(b.Corners)), "count")
			p.note("topology.nonmanifold.fans", words.Count(len(b.Corners)))
			f.Where = append(f.Where, p)
		}
	}
	places := f.Where
	touching, touchingAt := 0, 0
	for _, h := range x.Edges.Touching {
		if x.onEdge(h) {
			touching++
		}
	}
	for _, p := range x.TouchAt {
		if slices.ContainsFunc(x.CornersAt(p), func(c uint32) bool { return x.has(int(c / 3)) }) {
			touchingAt++
		}
	}
	f = judge(r, map[string]float64{"count": float64(edges), "bowtie_vertices": float64(ties),
		"touching_edges": float64(touching), "touching_vertices": float64(touchingAt)},
		atMost("count", "max_count"), atMost("bowtie_vertices", "max_bowtie_vertices"))
	f.Where = places
	if edges+ties == 0 {
		f.say("topology.nonmanifold.none")
	} else {
		f.say("topology.nonmanifold.found", words.Count(edges), words.Count(ties))
	}
	if touching+touchingAt > 0 {
		f.also("topology.nonmanifold.touching", words.Count(touching), words.Count(touchingAt))
	}
	if broke(f) {
		f.remedy("topology.nonmanifold.part")
	}
	return x.close(f)
}

// onEdge says whether any face on the edge of h belongs to the target.
func (x *topoTarget) onEdge(h uint32) bool {
	return slices.ContainsFunc(x.facesOn(h), func(t int) bool { return x.has(t) })
}

// facesOn lists the live triangles on the edge of h.
func (b *topoBody) facesOn(h uint32) []int {
	var out []int
	q := b.To(h)
	for _, c := range b.CornersAt(b.From(h)) {
		if b.From(topo.Next(c)) == q || b.From(topo.Next(topo.Next(c))) == q {
			out = append(out, int(c/3))
		}
	}
	return out
}

// edgePlace is the middle of an edge, with its length and the triangles of the first one's node.
func (x *topoTarget) edgePlace(h uint32) Place {
	a, b := x.Ends(h)
	var mid [3]float64
	for k := range 3 {
		mid[k] = (a[k] + b[k]) / 2
	}
	p := x.at(int(h/3), mid, 1000*math.Sqrt(lenSq(sub(b, a))), "mm")
	p.Triangles = nil
	r := rangeOf(x.sf, int(h/3))
	for _, t := range x.facesOn(h) {
		if t >= r.First && t < r.End {
			p.Triangles = append(p.Triangles, t-r.First)
		}
	}
	return p
}

var openEdgesDef = spec.Check{
	Name: "topology.open_edges", Scope: spec.PerPartAndLOD, Title: "open edges",
	What:   "Loops of edges with one face. Loops in the places that the part declares open (below, back, ends, a plane) are meant, and so are those that no eye can see because they end inside another piece.",
	Why:    "A loop that nobody meant is a hole or a face that was forgotten; whether it is seen through is measured by topology.see_through.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "max_unplanned_loops", Kind: spec.AtMost, Unit: "count", Default: same(0),
		What: "Loops outside the places declared open.", Origin: spec.CommonPractice}},
	Mode:       [4]spec.Mode{spec.Reports, spec.Warns, spec.Warns, spec.Warns},
	From:       fromGameMesh,
	NotForPart: openByKind("A part of kind %s is open by nature; topology.see_through tells whether that shows."),
	Metrics:    []string{"count", "loops", "length_mm", "unplanned_loops", "unplanned_length_mm", "buried_loops"},
}

func topologyOpenEdges(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, openEdgesDef)
	if !ok {
		return f
	}
	open := x.openLoops()
	m := map[string]float64{"count": 0, "loops": float64(len(open)), "length_mm": 0, "unplanned_loops": 0, "unplanned_length_mm": 0, "buried_loops": 0}
	w := worst{}
	for i, l := range open {
		m["count"] += float64(len(l.Edges))
		m["length_mm"] += float64(1000 * l.LengthM)
		switch l.fate {
		case buriedLoop:
			m["buried_loops"]++
		case unplannedLoop:
			m["unplanned_loops"]++
			m["unplanned_length_mm"] += float64(1000 * l.LengthM)
			w.add(l.LengthM, i)
		}
	}
	f = judge(r, m, atMost("unplanned_loops", "max_unplanned_loops"))
	meant := len(open) - int(m["unplanned_loops"])
	if len(open) == 0 {
		f.say("topology.open_edges.none")
		return x.close(f)
	}
	if m["unplanned_loops"] > 0 {
		f.say("topology.open_edges.loops", words.Count(int(m["unplanned_loops"])), words.MM(m["unplanned_length_mm"]))
		if meant > 0 {
			f.also("topology.open_edges.more_meant", words.Count(meant))
		}
	} else {
		f.say("topology.open_edges.meant", words.Count(meant))
	}
	if broke(f) {
		f.remedy("topology.open_edges.close")
	}
	for _, e := range w.top() {
		l := open[e.at]
		p := x.at(int(l.Edges[0]/3), l.middle(x.topoBody), 1000*l.LengthM, "mm")
		p.note("topology.open_edges.loop", words.Count(len(l.Edges)))
		f.Where = append(f.Where, p)
	}
	return x.close(f)
}

// openLoop is a border loop and what is to be thought of it.
type openLoop struct {
	topo.Loop
	fate loopFate
}

type loopFate uint8

const (
	unplannedLoop loopFate = iota
	meantLoop              // in a place that is declared open
	buriedLoop             // inside another piece: no eye sees it
)

// middle is the mean of a loop's corners, metres.
func (l *openLoop) middle(b *topoBody) (sum [3]float64) {
	for _, h := range l.Edges {
		a, c := b.Ends(h)
		for k := range 3 {
			sum[k] += float64((a[k] + c[k]) / 2)
		}
	}
	for k := range 3 {
		sum[k] /= float64(len(l.Edges))
	}
	return sum
}

// openLoops are the target's loops. A loop belongs to the part of its first face.
func (x *topoTarget) openLoops() []openLoop {
	var out []openLoop
	places := x.openPlaces()
	for _, l := range x.loops() {
		if !x.has(int(l.Edges[0] / 3)) {
			continue
		}
		o := openLoop{Loop: l}
		switch {
		case slices.ContainsFunc(places, func(p openPlace) bool { return p.holds(x.topoBody, &l) }):
			o.fate = meantLoop
		case x.buried(&l):
			o.fate = buriedLoop
		}
		out = append(out, o)
	}
	return out
}

// openPlace is where a part says that it is open: in a plane, or on a side towards which the opening looks.
type openPlace struct {
	plane  surface.OpenSide
	toward bool    // a side named by a word
	reach  float64 // metres: how far from that side an opening may lie that looks there
}

// sideReach is how far from a side that is declared open, as a share of the part's size across it, an opening may lie
// that looks to that side: rims need not be level.
const sideReach = 0.1

// sideFacing is the cosine of how far aside of it such an opening may look: 45°.
const sideFacing = 0.7071

func (x *topoTarget) openPlaces() []openPlace {
	parts := x.s.Parts
	if x.p != nil {
		parts = []*Part{x.p}
	}
	var out []openPlace
	for _, p := range parts {
		named := len(p.Def.Open)
		if named+len(p.Def.OpenAt) == 0 {
			continue
		}
		of := p
		if x.lod > 0 { // sides lie where this LOD has them
			of = &Part{Def: p.Def, Game: *x.sf}
		}
		game := surface.Mesh{Pos: of.Game.Pos, Tri: of.Game.Tri}
		sides := openSides(of, game)
		lo, hi, _ := boundsOf(&of.Game, []mesh.Range{{First: 0, End: of.Game.Triangles()}})
		for i, sd := range sides {
			o := openPlace{plane: sd, toward: i < len(sides)-len(p.Def.OpenAt)}
			for k := range 3 {
				o.reach += float64(math.Abs(float64((hi[k]-lo[k])*sd.Normal[k])) * sideReach)
			}
			out = append(out, o)
		}
	}
	return out
}

func (o *openPlace) holds(b *topoBody, l *topo.Loop) bool {
	n := o.plane.Normal
	size := math.Sqrt(lenSq(n))
	if !(size > 0) {
		return false
	}
	// Positions are float32: what lies on the plane may be off by its rounding.
	slack := float64(max(maxAbs(l.Lo), maxAbs(l.Hi)) / (1 << 22))
	worst := 0.0
	for _, h := range l.Edges {
		a, c := b.Ends(h)
		for _, p := range [2][3]float64{a, c} {
			worst = max(worst, math.Abs(inner(p, n)-o.plane.Offset)/size)
		}
	}
	if worst <= o.plane.Tol+slack {
		return true
	}
	gap := math.Sqrt(lenSq(l.Gap))
	return o.toward && worst <= o.reach && gap > 0 && inner(l.Gap, n) >= sideFacing*gap*size
}

func maxAbs(v [3]float64) float64 { return max(math.Abs(v[0]), math.Abs(v[1]), math.Abs(v[2])) }

func inner(a, b [3]float64) float64 {
	return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2])
}

// buriedSamples is how many points of a loop are asked, spread along it.
const buriedSamples = 16

// buried says whether no point of a loop can be seen from outside, from whichever side.
func (x *topoTarget) buried(l *topo.Loop) bool {
	tree := x.tree()
	reach := float32(4 * x.sizeM())
	step := max(1, len(l.Edges)/buriedSamples)
	rays, hit := make([]spatial.Ray, len(sphereDirections)), make([]bool, len(sphereDirections))
	for i := 0; i < len(l.Edges); i += step {
		a, c := x.Ends(l.Edges[i])
		mid := [3]float64{(a[0] + c[0]) / 2, (a[1] + c[1]) / 2, (a[2] + c[2]) / 2}
		for k, d := range sphereDirections {
			rays[k] = x.rayFrom(mid, d, reach)
		}
		if tree.Any(rays, hit, 1); slices.Contains(hit, false) {
			return false
		}
	}
	return true
}

type bounds64 struct{ lo, hi [3]float64 }

// measureBox is the box of the triangles that are drawn and have places.
func (b *topoBody) measureBox() (box bounds64) {
	first := true
	for _, sh := range b.Shells {
		if first {
			box, first = bounds64{sh.Lo, sh.Hi}, false
		}
		for k := range 3 {
			box.lo[k], box.hi[k] = min(box.lo[k], sh.Lo[k]), max(box.hi[k], sh.Hi[k])
		}
	}
	return box
}

// rayFrom starts a ray a little off a point.
func (b *topoBody) rayFrom(p, dir [3]float64, reach float32) spatial.Ray {
	lift := b.lift(p)
	var r spatial.Ray
	for k := range 3 {
		r.Org[k], r.Dir[k] = float32(p[k]+float64(lift*dir[k])), float32(dir[k])
	}
	r.Max = reach
	return r
}

// lift is how far off a point a ray starts: more than the rounding of float32 coordinates there.
func (b *topoBody) lift(p [3]float64) float64 { return float64(maxAbs(p)/(1<<20)) + 1e-7 }

var windingDef = spec.Check{
	Name: "topology.winding", Scope: spec.PerPartAndLOD, Title: "faces the wrong way round",
	What:   "Edges whose two faces wind against each other, and closed shells that face inward. A shell inside another may face either way, and a sheet has no inside.",
	Why:    "A face the wrong way round is not drawn from outside, and is lit, baked and collided with from the wrong side.",
	Source: "signed volume by the divergence theorem; mirrored nodes turn winding round: glTF 2.0, 3.7.4",
	Limits: []spec.Limit{
		{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Edges whose faces disagree.", Origin: spec.CommonPractice},
		{Key: "max_inverted_shells", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Closed shells that face inward.", Origin: spec.CommonPractice},
	},
	Mode: warnsThenBlocks, From: fromGameMesh,
	NotForPart: map[spec.PartKind]string{
		spec.Sheet:    "A sheet has no inside; topology.see_through tells whether its back shows.",
		spec.Card:     "A card has no inside.",
		spec.Decal:    "A decal has no inside.",
		spec.Glass:    "Glass shows both its walls.",
		spec.Interior: "An interior faces inward on purpose; topology.see_through tells whether its back shows.",
	},
	Metrics: []string{"count", "inverted_shells"},
}

func topologyWinding(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, windingDef)
	if !ok {
		return f
	}
	count := 0
	var places []Place
	for _, h := range x.Edges.Disagree {
		if !x.has(int(h/3)) && !x.has(int(x.Mate[h]/3)) {
			continue
		}
		count++
		if len(places) < maxPlaces {
			places = append(places, x.edgePlace(h))
		}
	}
	inverted := x.invertedShells()
	f = judge(r, map[string]float64{"count": float64(count), "inverted_shells": float64(len(inverted))},
		atMost("count", "max_count"), atMost("inverted_shells", "max_inverted_shells"))
	if count+len(inverted) == 0 {
		f.say("topology.winding.none")
		return x.close(f)
	}
	f.say("topology.winding.found", words.Count(count), words.Count(len(inverted)))
	if broke(f) {
		f.remedy("topology.winding.turn")
	}
	for _, i := range inverted {
		sh := &x.Shells[i]
		p := x.at(sh.First, centre(sh), float64(sh.Triangles), "count")
		p.note("topology.winding.shell", words.Count(sh.Triangles))
		f.Where = append(f.Where, p)
	}
	f.Where = append(f.Where, places...)
	f.Where = f.Where[:min(len(f.Where), maxPlaces)]
	return x.close(f)
}

func centre(sh *topo.Shell) (c [3]float64) {
	for k := range 3 {
		c[k] = (sh.Lo[k] + sh.Hi[k]) / 2
	}
	return c
}

// flatVolume of a shell, as a share of what its area could hold as a ball, is none: two sides of a sheet.
const flatVolume = 1e-6

// invertedShells lists the closed shells of the target that face inward and that no other shell encloses.
func (x *topoTarget) invertedShells() []int {
	var out []int
	for i := range x.Shells {
		sh := &x.Shells[i]
		if !sh.Closed() || sh.VolumeM3 >= 0 || !x.has(sh.First) {
			continue
		}
		ball := sh.AreaM2 * math.Sqrt(sh.AreaM2) / 10.634723105433096 // 6·√π: the isoperimetric inequality
		if -sh.VolumeM3 > flatVolume*ball && !x.enclosed(i) {
			out = append(out, i)
		}
	}
	return out
}

// enclosed says whether another closed shell has shell i inside: all of its box, and a corner of it by counting.
func (b *topoBody) enclosed(i int) bool {
	sh := &b.Shells[i]
	p := point(b.Pos, b.Tri[3*sh.First])
	for j := range b.Shells {
		o := &b.Shells[j]
		if j == i || !o.Closed() || o.Triangles < 4 {
			continue
		}
		holds := true
		for k := range 3 {
			holds = holds && o.Lo[k] <= sh.Lo[k] && sh.Hi[k] <= o.Hi[k]
		}
		if holds && b.Encloses(b.members()[j], p) {
			return true
		}
	}
	return false
}
