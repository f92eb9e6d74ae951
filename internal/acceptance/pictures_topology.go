package acceptance

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/raster"
	"proofhouse/internal/acceptance/topo"
)

// faultKind is one way of drawing a fault: a pattern on faces, a stroke along edges, or a mark at a point. No two differ by
// colour alone. Colours are those of Okabe and Ito, Color Universal Design, 2008, told apart by the colour-blind.
type faultKind uint8

const (
	noFault faultKind = iota
	faultBack
	faultCrossing
	faultTurned
	faultLayer
	faultTwice
	faultHidden
	faultOpen
	faultMeant
	faultTangle
	faultPoint
	faultKinds
)

// faultStyle is how a kind looks: colour, name in the legend, and the check whose finding it belongs to.
var faultStyles = [faultKinds]struct {
	colour raster.Colour
	name   string
	checks []string
}{
	faultBack:     {raster.Colour{R: 213, G: 94, B: 0}, "A", []string{"topology.see_through"}},
	faultCrossing: {raster.Colour{R: 0, G: 114, B: 178}, "B", []string{"topology.self_intersection"}},
	faultTurned:   {raster.Colour{R: 204, G: 121, B: 167}, "C", []string{"topology.winding"}},
	faultLayer:    {raster.Colour{R: 230, G: 159, B: 0}, "D", []string{"topology.z_fighting"}},
	faultTwice:    {raster.Colour{R: 86, G: 180, B: 233}, "E", []string{"topology.duplicate"}},
	faultHidden:   {raster.Colour{R: 110, G: 110, B: 116}, "F", []string{"topology.hidden"}},
	faultOpen:     {raster.Colour{R: 213, G: 94, B: 0}, "G", []string{"topology.open_edges"}},
	faultMeant:    {raster.Colour{R: 0, G: 158, B: 115}, "H", nil},
	faultTangle:   {raster.Colour{R: 0, G: 60, B: 120}, "I", []string{"topology.nonmanifold"}},
	faultPoint:    {raster.Colour{R: 60, G: 40, B: 30}, "J", []string{"topology.degenerate", "topology.loose"}},
}

// pattern says whether a kind's pattern is set at a pixel.
func (k faultKind) pattern(x, y int) bool {
	up, down := (x+y)%8, (x-y+1<<20)%8
	switch k {
	case faultBack: // chequers
		return (x/4+y/4)%2 == 0
	case faultCrossing: // stripes one way
		return up < 3
	case faultTurned: // stripes the other way
		return down < 3
	case faultLayer: // level lines
		return y%5 < 2
	case faultTwice: // a grid
		return x%7 < 2 || y%7 < 2
	case faultHidden: // dots
		return x%4 < 2 && y%4 < 2
	}
	return false
}

// stroke is an edge to be drawn, metres.
type stroke struct {
	a, b [3]float64
	kind faultKind
}

// numbered is a place to be ringed.
type numbered struct {
	point  [3]float64 // metres
	radius float64    // metres
	normal [3]float64 // of a face there; zero for any
	kind   faultKind
	text   string
}

// faultMap is everything that a topology picture shows.
type faultMap struct {
	pos     []float32 // by triangle, 9 floats
	tri     []uint32
	face    []faultKind
	hidden  []uint32 // corners of hidden triangles
	strokes []stroke
	found   [faultKinds][]numbered
	places  []numbered // of these the ones that are ringed
	used    [faultKinds]bool
	checks  []string
}

// topologyPicture draws the faults of LOD 0 on the prop from six sides; nil where there is none to show.
func topologyPicture(ctx context.Context, s *Subject, findings []Finding) *drawn {
	if len(s.LODs) == 0 || s.LODs[0].Triangles() == 0 {
		return nil
	}
	b, err := topoOf(ctx, s, 0)
	if err != nil {
		return nil
	}
	m := gatherFaults(ctx, s, b, findings)
	if len(m.places) == 0 {
		return nil
	}
	c := raster.NewCanvas(deviationW, deviationH, paper)
	heading(c, propTitle(s), "")
	views, cells, scale := (&heatMesh{pos: m.pos}).views()
	if len(views) == 0 {
		return nil
	}
	where := m.draw(ctx, c, views, cells, s.Threads)
	if where == nil {
		return nil
	}
	scaleBar(c, sheetMargin+cellPad, deviationH-sheetMargin+10, scale/1000, 160)
	m.legend(c)
	return finished(c, "topology.png",
		"The game mesh from six sides (+Z the front, −Z the back, +X the prop's left, −X its right, +Y above, −Y below) with its topology faults, the worst places ringed and numbered: A one looks through to the back of a face, B faces of one shell that cross, C faces the wrong way round, D layers that flicker, E faces drawn twice, F hidden faces, drawn through, G open edge, not declared, H open edge, declared or buried, I edge of more than two faces, J vertex, speck or face without area.", m.checks...)
}

// gatherFaults collects from the findings that broke a limit, or would have, and from what their checks measured.
func gatherFaults(ctx context.Context, s *Subject, b *topoBody, findings []Finding) *faultMap {
	m := &faultMap{face: make([]faultKind, b.Triangles())}
	for t := range b.Triangles() {
		p := b.triangle(t)
		if b.State[t] != topo.Live { // keeps its number without being drawn
			p = [3][3]float64{}
			if b.part[t] == notDrawn || b.State[t] != topo.Again {
				p[0] = [3]float64{math.NaN(), math.NaN(), math.NaN()}
			} else {
				p = b.triangle(t)
			}
		}
		for k := range 3 {
			m.pos = append(m.pos, float32(p[k][0]), float32(p[k][1]), float32(p[k][2]))
			m.tri = append(m.tri, uint32(3*t+k))
		}
	}
	for i := range findings {
		f := &findings[i]
		if f.LOD != nil && *f.LOD > 0 || !broke(*f) {
			continue
		}
		for k := faultKind(1); k < faultKinds; k++ {
			if slices.Contains(faultStyles[k].checks, f.Check) {
				m.take(ctx, s, b, f, k)
			}
		}
	}
	m.choose()
	return m
}

// choose rings the worst place of each kind, then the second of each, as long as there is room.
func (m *faultMap) choose() {
	var take [faultKinds]int
	left := maxRings
	for more := true; more && left > 0; {
		more = false
		for i, list := range m.found {
			if take[i] < len(list) && left > 0 {
				take[i]++
				left--
				more = true
			}
		}
	}
	for i, list := range m.found {
		m.places = append(m.places, list[:take[i]]...)
	}
}

// take adds one finding: its faces or edges, and its worst places.
func (m *faultMap) take(ctx context.Context, s *Subject, b *topoBody, f *Finding, kind faultKind) {
	x := &topoTarget{topoBody: b, s: s, accept: make([]bool, len(s.Parts))}
	for i, p := range s.Parts {
		if x.accept[i] = p.Name == f.Part; x.accept[i] {
			x.p = p
		}
	}
	if x.p == nil {
		return
	}
	if !slices.Contains(m.checks, f.Check) {
		m.checks = append(m.checks, f.Check)
	}
	m.used[kind] = true
	m.mark(ctx, x, kind)
	var list []numbered
	for _, p := range f.Where {
		if p.PointMM == nil {
			continue
		}
		n := numbered{kind: kind, text: faultStyles[kind].name}
		for k := range 3 {
			n.point[k] = p.PointMM[k] / 1000
		}
		if p.Value != nil && p.Value.Unit == "mm" {
			n.text += " · " + lengthText(p.Value.Value)
		} else if p.Value != nil && p.Value.Unit == "mm²" {
			n.text += " · " + areaText(p.Value.Value)
		} else if p.Value != nil && p.Value.Unit == "px" {
			n.text += " · " + fixed(p.Value.Value, 0) + " px"
		}
		if t := x.drawnAs(&p); t >= 0 {
			q := x.triangle(t)
			n.normal = unit(cross(sub(q[1], q[0]), sub(q[2], q[0])))
			if kind == faultBack || kind == faultTurned {
				n.normal = [3]float64{-n.normal[0], -n.normal[1], -n.normal[2]}
			}
		}
		list = append(list, n)
	}
	m.found[kind] = append(m.found[kind], list...)
}

// drawnAs is the triangle of the body that a place names first, -1 for none.
func (b *topoBody) drawnAs(p *Place) int {
	for _, r := range b.sf.Of {
		if len(p.Triangles) > 0 && r.NodeName() == p.Node && r.First+p.Triangles[0] < r.End {
			return r.First + p.Triangles[0]
		}
	}
	return -1
}

// mark sets the patterns and strokes of a kind for a part.
func (m *faultMap) mark(ctx context.Context, x *topoTarget, kind faultKind) {
	set := func(t int) {
		if t >= 0 && x.has(t) && m.face[t] == noFault {
			m.face[t] = kind
		}
	}
	edge := func(h uint32, k faultKind) {
		a, b := x.Ends(h)
		m.strokes = append(m.strokes, stroke{a, b, k})
		m.used[k] = true
	}
	switch kind {
	case faultBack:
		for _, v := range x.sight.backs.most {
			set(int(v.tri))
		}
	case faultCrossing:
		for _, c := range x.near.crossings {
			if c.Within {
				set(int(c.A))
				set(int(c.B))
			}
		}
	case faultTurned:
		m.markTurned(x, set)
	case faultLayer:
		for _, l := range x.near.layers {
			set(int(l.upper))
		}
	case faultTwice:
		for t, twin := range x.Twin {
			if twin >= 0 {
				set(t)
				set(int(twin))
			}
		}
	case faultHidden:
		hidden, _ := x.hiddenFaces(ctx)
		for _, t := range hidden {
			m.hidden = append(m.hidden, m.tri[3*t:3*t+3]...)
		}
	case faultOpen:
		for _, l := range x.openLoops() {
			k := faultOpen
			if l.fate != unplannedLoop {
				k = faultMeant
			}
			for _, h := range l.Edges {
				edge(h, k)
			}
		}
	case faultTangle:
		for _, h := range x.Edges.Tangles {
			if x.onEdge(h) {
				edge(h, faultTangle)
			}
		}
	}
}

// markTurned marks inverted shells, and of two faces that disagree the one whose patch is smaller: that of fewer faces
// that agree with it.
func (m *faultMap) markTurned(x *topoTarget, set func(int)) {
	inverted := x.invertedShells()
	for t, sh := range x.Shell {
		if slices.Contains(inverted, int(sh)) {
			set(t)
		}
	}
	if len(x.Edges.Disagree) == 0 {
		return
	}
	patch := topo.NewUnion(x.Triangles())
	for h, mate := range x.Mate {
		if mate > int32(h) && !x.Disagrees(uint32(h)) {
			patch.Join(uint32(h)/3, uint32(mate)/3)
		}
	}
	size := make([]int32, x.Triangles())
	for t := range size {
		size[patch.Find(uint32(t))]++
	}
	small := make([]bool, x.Triangles())
	for _, h := range x.Edges.Disagree {
		p, q := patch.Find(h/3), patch.Find(uint32(x.Mate[h])/3)
		if size[q] < size[p] {
			p = q
		}
		small[p] = true
	}
	for t := range size {
		if small[patch.Find(uint32(t))] {
			set(t)
		}
	}
}
