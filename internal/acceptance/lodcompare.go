package acceptance

import (
	"math"
	"slices"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spatial"
)

// boundsFault is how far the box of a LOD is from LOD 0's, at the side that is off most.
type boundsFault struct {
	mm   float64
	side string
	at   [3]float64 // world, mm: the middle of that side of LOD 0's box
}

func (b boundsFault) places() []Place {
	return []Place{{Side: b.side, PointMM: &b.at, Value: &Value{Value: b.mm, Unit: "mm"}}}
}

func lodBounds(s *Subject, lod int) (out boundsFault) {
	lo, hi, ok := boundsOf(&s.LODs[lod].Surface, shipped(s, lod))
	lo0, hi0, ok0 := boundsOf(&s.LODs[0].Surface, shipped(s, 0))
	if !ok || !ok0 {
		return out
	}
	names := [3][2]string{{"right", "left"}, {"below", "top"}, {"back", "front"}}
	for k := range 3 {
		for side, d := range [2]float64{math.Abs(lo[k] - lo0[k]), math.Abs(hi[k] - hi0[k])} {
			if mm := roundMM(d * 1000); mm > out.mm {
				out.mm, out.side = mm, names[k][side]
				for j := range 3 {
					out.at[j] = roundMM((lo0[j] + hi0[j]) * 500)
				}
				out.at[k] = roundMM([2]float64{lo0[k], hi0[k]}[side] * 1000)
			}
		}
	}
	return out
}

// slotFault is how a LOD's material slots differ from LOD 0's.
type slotFault struct {
	count      int
	have, want []string
	places     []Place
}

// slotsOf are the materials in the order in which they are drawn first: what an engine numbers as slots.
func slotsOf(ranges []mesh.Range) (names []string, first []mesh.Range) {
	for _, g := range ranges {
		name := materialName(g.Scene, g.Scene.Prims[g.Draw.Prim].Material)
		if !slices.Contains(names, name) {
			names, first = append(names, name), append(first, g)
		}
	}
	return names, first
}

// inFileOrder puts draws in the order of their files: a body holds them sorted by part.
func inFileOrder(ranges []mesh.Range) []mesh.Range {
	scenes := shippedScenes(ranges)
	at := func(g mesh.Range) [2]int {
		return [2]int{slices.Index(scenes, g.Scene), slices.Index(g.Scene.Draws, g.Draw)}
	}
	out := slices.Clone(ranges)
	slices.SortStableFunc(out, func(a, b mesh.Range) int {
		x, y := at(a), at(b)
		return slices.Compare(x[:], y[:])
	})
	return out
}

func lodSlots(s *Subject, lod int) (out slotFault) {
	out.want, _ = slotsOf(inFileOrder(shipped(s, 0)))
	have, first := slotsOf(inFileOrder(shipped(s, lod)))
	out.have = have
	for i, name := range have {
		if i < len(out.want) && out.want[i] == name {
			continue
		}
		out.count++
		g := first[i]
		out.places = append(out.places, Place{Node: g.NodeName(), Pointer: g.Scene.Prims[g.Draw.Prim].Pointer, Note: name})
	}
	return out
}

// pivotFault is the pivot that is off most.
type pivotFault struct {
	mm     float64
	node   string
	places []Place
}

// lodPivots compares the origins of nodes of one name. A LOD whose nodes were joined into one has no pivot to compare.
func lodPivots(s *Subject, lod int) (out pivotFault) {
	origins := map[string]*mesh.Node{}
	for _, g := range shipped(s, 0) {
		n := &g.Scene.Nodes[g.Draw.Node]
		stem := lodStem(n.Name)
		if before, taken := origins[stem]; taken && before != n {
			n = nil // two of one name tell nothing
		}
		origins[stem] = n
	}
	w := worst{}
	ranges := shipped(s, lod)
	seen := map[*mesh.Node]bool{}
	for i, g := range ranges {
		n := &g.Scene.Nodes[g.Draw.Node]
		at := origins[lodStem(n.Name)]
		if at == nil || n.Name == "" || seen[n] {
			continue
		}
		seen[n] = true
		d := sub([3]float64{n.World[12], n.World[13], n.World[14]}, [3]float64{at.World[12], at.World[13], at.World[14]})
		if mm := roundMM(1000 * math.Sqrt(lenSq(d))); mm > 0 {
			w.add(mm, i)
		}
	}
	for i, e := range w.top() {
		g := ranges[e.at]
		n := &g.Scene.Nodes[g.Draw.Node]
		if i == 0 {
			out.mm, out.node = e.value, g.NodeName()
		}
		p := [3]float64{roundMM(n.World[12] * 1000), roundMM(n.World[13] * 1000), roundMM(n.World[14] * 1000)}
		out.places = append(out.places, Place{Node: g.NodeName(), Pointer: n.Pointer, PointMM: &p, Value: &Value{Value: e.value, Unit: "mm"}})
	}
	return out
}

// hardFault is how much more of a LOD's edges is hard than of LOD 0's.
type hardFault struct {
	mm, lod0MM float64
	extraShare float64
	places     []Place
}

// hardCosine is that of 2 degrees: normals that differ by less are one to the eye, and come out of weighted normals and
// rounding.
const hardCosine = 0.99939082701909573

func lodHardEdges(s *Subject, lod int) hardFault {
	own, first := hardLength(&s.LODs[lod].Surface, shipped(s, lod)), hardLength(&s.LODs[0].Surface, shipped(s, 0))
	out := hardFault{mm: own.hardMM, lod0MM: first.hardMM}
	if own.allMM > 0 {
		out.extraShare = max(0, own.hardMM-first.hardMM) / own.allMM
	}
	for _, e := range own.longest.top() {
		a, b := edgeEnds(&s.LODs[lod].Surface, e.at)
		pl := Place{PointMM: middleMM(a, b, [3]float64{(a[0] + b[0]) / 2, (a[1] + b[1]) / 2, (a[2] + b[2]) / 2}), Value: &Value{Value: roundMM(e.value), Unit: "mm"}}
		for _, g := range s.LODs[lod].Of {
			if t := e.at / 3; t >= g.First && t < g.End {
				pl.Node, pl.Triangles = g.NodeName(), []int{t - g.First}
			}
		}
		out.places = append(out.places, pl)
	}
	return out
}

// edgeEnds are the ends of the edge opposite to a corner, given as 3·triangle + corner.
func edgeEnds(sf *mesh.Surface, edge int) (a, b [3]float64) {
	t, k := edge/3, edge%3
	return point(sf.Pos, sf.Tri[3*t+(k+1)%3]), point(sf.Pos, sf.Tri[3*t+(k+2)%3])
}

type hardEdges struct {
	hardMM, allMM float64
	longest       worst
}

// hardLength measures the edges between two triangles that ship, and those of them whose normals differ on the two sides
// by more than 2 degrees at either end. Where normals are missing the surface is shaded flat.
func hardLength(sf *mesh.Surface, ranges []mesh.Range) (out hardEdges) {
	place, places := spatial.Weld(sf.Pos, 0)
	across := spatial.Across(sf.Tri, place, places)
	ships, flat := make([]bool, sf.Triangles()), make([]bool, sf.Triangles())
	for _, g := range ranges {
		for t := g.First; t < g.End; t++ {
			ships[t], flat[t] = true, g.NoNormals
		}
	}
	for e, other := range across {
		t := e / 3
		if int(other) <= t || !ships[t] || !ships[other] {
			continue
		}
		a, b := edgeEnds(sf, e)
		mm := float64(1000 * math.Sqrt(lenSq(sub(b, a))))
		out.allMM += mm
		k := e % 3
		for _, c := range [2]int{(k + 1) % 3, (k + 2) % 3} {
			v := sf.Tri[3*t+c]
			if dot(shadeNormal(sf, t, v, flat), shadeNormal(sf, int(other), cornerAt(sf, int(other), place, place[v]), flat)) < hardCosine {
				out.hardMM += mm
				out.longest.add(mm, e)
				break
			}
		}
	}
	return out
}

// cornerAt is the vertex of a triangle that lies at a place.
func cornerAt(sf *mesh.Surface, t int, place []uint32, at uint32) uint32 {
	for _, v := range sf.Tri[3*t : 3*t+3] {
		if place[v] == at {
			return v
		}
	}
	return sf.Tri[3*t]
}

func shadeNormal(sf *mesh.Surface, t int, v uint32, flat []bool) [3]float64 {
	n := [3]float64{float64(sf.Nrm[3*v]), float64(sf.Nrm[3*v+1]), float64(sf.Nrm[3*v+2])}
	if flat[t] {
		a, b, c := corners(sf, t)
		n = cross(sub(b, a), sub(c, a))
	}
	if l := math.Sqrt(lenSq(n)); l > 0 {
		return [3]float64{n[0] / l, n[1] / l, n[2] / l}
	}
	return n
}
