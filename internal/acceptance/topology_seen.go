package acceptance

import (
	"context"
	"math"
	"slices"
	"sync"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/raster"
	"proofhouse/internal/acceptance/spatial"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/topo"
	"proofhouse/internal/acceptance/words"
)

// sphereDirections are directions in which eyes are taken to be, and cameraDirections those from which pixels are counted:
// points of a Fibonacci lattice, which lie evenly (González, Measurement of Areas on a Sphere Using Fibonacci and
// Latitude–Longitude Lattices, Mathematical Geosciences 42, 2010).
var (
	sphereDirections = fibonacci(48)
	cameraDirections = fibonacci(28)
)

func fibonacci(n int) [][3]float64 {
	const goldenAngle = 2.39996322972865332 // π·(3 − √5)
	out := make([][3]float64, n)
	for i := range out {
		y := 1 - float64(2*i+1)/float64(n)
		r := math.Sqrt(1 - float64(y*y))
		sin, cos := detmath.Sincos(goldenAngle * float64(i))
		out[i] = [3]float64{r * cos, y, r * sin}
	}
	return out
}

// lowest and the others bound the cone in which a camera may be, by what the prop stands or hangs on: the sine of the
// elevation, or of the angle out of the wall. Common practice, no source.
const (
	lowestOverGround = 0.087 // 5°: a camera does not lie on the ground
	outOfWall        = 0.087
	belowCeiling     = -0.087
)

// permitted lists the directions from the prop to a camera.
func permitted(placed string) [][3]float64 { return permittedOf(sphereDirections, placed) }

func permittedOf(all [][3]float64, placed string) [][3]float64 {
	var out [][3]float64
	for _, d := range all {
		switch placed {
		case "ground":
			if d[1] < lowestOverGround {
				continue
			}
		case "wall":
			if d[2] < outOfWall {
				continue
			}
		case "ceiling":
			if d[1] > belowCeiling {
				continue
			}
		}
		out = append(out, d)
	}
	return out
}

// sightMeasure is what see-through, hidden and z-fighting share.
type sightMeasure struct {
	solid sync.Once
	tree  *spatial.Tree // what stops eyes in every pose
	once  sync.Once
	backs backsSeen
}

// occluders are the triangles that stop an eye in every pose: not glass, not what is masked or blended, not what moves.
func (b *topoTarget) occluders() *spatial.Tree {
	b.sight.solid.Do(func() {
		b.sight.tree = b.without(func(t int) bool {
			p := b.part[t]
			return b.look[t]&passes != 0 || p == notDrawn || p >= 0 && b.s.Parts[p].Def.Kind == spec.Moving
		})
	})
	return b.sight.tree
}

// without builds a tree in which some triangles have no area, so that numbers stay.
func (b *topoTarget) without(out func(t int) bool) *spatial.Tree {
	tri := make([]uint32, len(b.Tri))
	copy(tri, b.Tri)
	for t := range b.part {
		if out(t) {
			tri[3*t+1], tri[3*t+2] = tri[3*t], tri[3*t]
		}
	}
	return spatial.Build(b.Pos, tri, b.s.Threads)
}

var seeThroughDef = spec.Check{
	Name: "topology.see_through", Scope: spec.PerPart, Title: "holes that show",
	What:   "Back faces of single-sided surface that a permitted camera sees, in pixels at the tier's distance, in the worst view. The engine does not draw them: one looks through the prop.",
	Why:    "A back face is not drawn, so the player looks through the prop at whatever is behind it.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "max_pixels", Kind: spec.AtMost, Unit: "px", Default: spec.ByTier{20, 5, 0, 0},
		What: "Pixels of see-through in the worst view.", Origin: spec.CommonPractice}},
	Mode: blocksAll, From: fromGameMesh,
	NotForPart: map[spec.PartKind]string{
		spec.Card:    "A card is masked; whether its back shows is its material's word.",
		spec.Glass:   "One looks through glass anyway.",
		spec.Floater: "The underside of a floater is free.",
		spec.Decal:   "A decal lies on its host.",
	},
	Metrics: []string{"pixels", "views"},
}

// backsSeen is what cameras see of back faces.
type backsSeen struct {
	views  [][3]float64
	scale  []float64     // by view: pixels a metre that were drawn
	marks  [][]int32     // by view and part (the last is no part): pixels drawn
	most   []viewedMark  // by triangle that was seen: the most pixels of it in a view
	byTri  map[int32]int // triangle: index in most
	tierPx float64       // pixels a metre at the tier's distance
}

type viewedMark struct {
	tri    int32
	view   int
	pixels int32
}

// seenMaxPx is the edge of the pictures in which back faces are looked for. At tiers that see more pixels, what is counted is
// scaled up, and openings of a few of these pixels are asked for by rays.
const seenMaxPx = 512

func topologySeeThrough(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, seeThroughDef)
	if !ok {
		return f
	}
	px := s.Spec.View.PixelMM()
	if !(px > 0) {
		return unable("topology.see_through.no_pixel")
	}
	x.sight.once.Do(func() { x.sight.backs = x.lookForBacks(ctx, 1000/px) })
	if ctx.Err() != nil {
		return unable("topology.stopped", words.Name(ctx.Err().Error()))
	}
	b := &x.sight.backs
	own := len(s.Parts)
	for i, p := range s.Parts {
		if p == t.Part {
			own = i
		}
	}
	worstView, pixels := -1, 0.0
	small := x.smallHoles(b)
	for v := range b.views {
		up := b.tierPx / b.scale[v]
		n := float64(float64(b.marks[v][own])*up)*up + small.pixels[v]
		if n = math.Floor(n + 1e-9); n > pixels {
			worstView, pixels = v, n
		}
	}
	f = judge(r, map[string]float64{"pixels": pixels, "views": float64(len(permittedOf(cameraDirections, s.Spec.View.Placed)))}, atMost("pixels", "max_pixels"))
	if worstView < 0 {
		f.say("topology.see_through.none")
		return x.close(f)
	}
	f.say("topology.see_through.found", words.Px(pixels), words.MM(1000*s.Spec.View.DistanceM))
	if broke(f) {
		f.remedy("topology.see_through.close")
	}
	f.Where = x.seenPlaces(b, small)
	return x.close(f)
}

// seenPlaces names the back face of each shell of which most is seen, then small holes.
func (x *topoTarget) seenPlaces(b *backsSeen, small smallHoles) []Place {
	best := map[int32]int{}
	var order []int32
	for i, m := range b.most {
		if !x.has(int(m.tri)) {
			continue
		}
		sh := x.Shell[m.tri]
		if j, known := best[sh]; !known {
			best[sh] = i
			order = append(order, sh)
		} else if m.pixels > b.most[j].pixels {
			best[sh] = i
		}
	}
	w := worst{}
	for i, sh := range order {
		m := b.most[best[sh]]
		up := b.tierPx / b.scale[m.view]
		w.add(float64(float64(m.pixels)*up)*up, i)
	}
	var out []Place
	for _, e := range w.top() {
		p := x.place(int(b.most[best[order[e.at]]].tri), math.Round(e.value), "px")
		p.note("topology.see_through.back")
		out = append(out, p)
	}
	for _, h := range small.holes {
		p := x.at(int(h.loop.Edges[0]/3), h.middle, h.pixels, "px")
		p.note("topology.see_through.hole")
		out = append(out, p)
	}
	return out[:min(len(out), maxPlaces)]
}

// mayShow says whether a triangle's back would be a hole if it were seen.
func (b *topoBody) mayShow(t int) bool {
	return b.State[t] == topo.Live && b.look[t]&(twoSided|paired|unseen|passes) == 0 && !b.outward(t)
}

// outward says whether a triangle belongs to a closed shell that faces outward, of which no camera sees a back.
func (b *topoBody) outward(t int) bool {
	sh := &b.Shells[b.Shell[t]]
	return sh.Closed() && sh.VolumeM3 >= 0
}

// lookForBacks draws the prop from every permitted direction and counts pixels whose nearest surface is the back of a
// single-sided face. The prop fills the picture, seen without perspective.
func (x *topoTarget) lookForBacks(ctx context.Context, tierPx float64) backsSeen {
	b := backsSeen{tierPx: tierPx, byTri: map[int32]int{}}
	any := false
	for t := range x.part {
		if any = any || x.mayShow(t); any {
			break
		}
	}
	if !any {
		return b
	}
	both, fronts := x.drawn()
	job := backsJob{x: x, both: both, fronts: fronts, nearest: raster.NewBuffer(0, 0, raster.One), front: raster.NewBuffer(0, 0, raster.One)}
	for _, d := range permittedOf(cameraDirections, x.s.Spec.View.Placed) {
		if ctx.Err() != nil {
			return b
		}
		job.view(&b, d)
	}
	return b
}

// drawn sorts the triangles that stop an eye: those of which both sides are looked at, and those of which only the front is.
func (x *topoTarget) drawn() (both, fronts []int32) {
	for t := range x.part {
		switch {
		case x.State[t] != topo.Live || x.look[t]&passes != 0:
		case x.look[t]&(paired|unseen) != 0 || x.Twin[t] >= 0:
			fronts = append(fronts, int32(t))
		default:
			both = append(both, int32(t))
		}
	}
	for _, t := range x.Twin { // the earlier of two that lie on each other
		if t >= 0 {
			fronts = append(fronts, t)
		}
	}
	return both, fronts
}

// backsJob draws one view after the other into the same memory.
type backsJob struct {
	x              *topoTarget
	both, fronts   []int32
	bothTri        []uint32
	frontTri       []uint32
	nearest, front *raster.Buffer
	screen         raster.Screen
	mark           []int32
}

func (j *backsJob) view(b *backsSeen, toward [3]float64) {
	x := j.x
	if j.bothTri == nil {
		for _, t := range j.both {
			j.bothTri = append(j.bothTri, x.Tri[3*t:3*t+3]...)
		}
		for _, t := range j.fronts {
			j.frontTri = append(j.frontTri, x.Tri[3*t:3*t+3]...)
		}
	}
	v := raster.Towards(raster.Vec{}, toward, seenMaxPx, seenMaxPx)
	v.FitOrthographic(x.Pos, raster.Frame{X0: 2, Y0: 2, X1: seenMaxPx - 2, Y1: seenMaxPx - 2})
	if v.Scale > b.tierPx { // no finer than the tier sees it
		k := b.tierPx / v.Scale
		v.CX, v.CY, v.Scale = float64((v.CX-seenMaxPx/2)*k)+seenMaxPx/2, float64((v.CY-seenMaxPx/2)*k)+seenMaxPx/2, b.tierPx
	}
	j.screen.Project(&v, x.Pos, x.s.Threads)
	j.nearest.Reset(v.W, v.H, raster.One)
	j.front.Reset(v.W, v.H, raster.One)
	j.nearest.Draw(raster.Job{Screen: &j.screen, Tri: j.bothTri, Cull: raster.CullNone}, x.s.Threads)
	n := uint32(len(j.both))
	for _, buf := range []*raster.Buffer{j.nearest, j.front} {
		buf.Draw(raster.Job{Screen: &j.screen, Tri: j.frontTri, First: n, Cull: raster.CullBack}, x.s.Threads)
	}
	j.front.Draw(raster.Job{Screen: &j.screen, Tri: j.bothTri, Cull: raster.CullBack}, x.s.Threads)
	b.views, b.scale = append(b.views, toward), append(b.scale, v.Scale)
	b.marks = append(b.marks, make([]int32, len(x.s.Parts)+1))
	j.count(b, toward)
}

// count marks pixels of backs and adds up those that are no lone pixel: rounding at an outline makes single ones.
func (j *backsJob) count(b *backsSeen, toward [3]float64) {
	x := j.x
	w, h := j.nearest.W, j.nearest.H
	if j.mark == nil {
		j.mark = make([]int32, w*h)
	}
	slack := float32(1e-5 * x.sizeM())
	some := false
	for y := range h {
		for col := range w {
			at := y*w + col
			j.mark[at] = -1
			id, near := j.nearest.At(0, col, y)
			if id >= uint32(len(j.both)) {
				continue
			}
			t := j.both[id]
			if !x.mayShow(int(t)) || !x.away(int(t), toward) {
				continue
			}
			if _, behind := j.front.At(0, col, y); near-behind < slack {
				continue
			}
			j.mark[at], some = t, true
		}
	}
	if !some {
		return
	}
	view := len(b.views) - 1
	sum := map[int32]int32{}
	var order []int32
	for y := 1; y+1 < h; y++ {
		for col := 1; col+1 < w; col++ {
			at := y*w + col
			t := j.mark[at]
			if t < 0 {
				continue
			}
			beside := 0
			for _, o := range [4]int{at - 1, at + 1, at - w, at + w} {
				if j.mark[o] >= 0 {
					beside++
				}
			}
			if beside < 2 {
				continue
			}
			p := int(x.part[t])
			if p < 0 {
				p = len(x.s.Parts)
			}
			b.marks[view][p]++
			if sum[t] == 0 {
				order = append(order, t)
			}
			sum[t]++
		}
	}
	for _, t := range order {
		i, known := b.byTri[t]
		if !known {
			i = len(b.most)
			b.byTri[t] = i
			b.most = append(b.most, viewedMark{tri: t})
		}
		if sum[t] > b.most[i].pixels {
			b.most[i].view, b.most[i].pixels = view, sum[t]
		}
	}
}

// away says whether a triangle turns its back to the eye.
func (b *topoBody) away(t int, toward [3]float64) bool {
	p, q, r := b.Surface.Corners(t)
	return inner(cross(sub(q, p), sub(r, p)), toward) < 0
}

// smallHoles are openings of so few drawn pixels that a picture may miss them.
type smallHoles struct {
	pixels []float64 // by view
	holes  []smallHole
}

type smallHole struct {
	loop   topo.Loop
	middle [3]float64
	pixels float64 // in the view that sees most of it
}

// smallPx is the size in drawn pixels up to which an opening is small.
const smallPx = 6

// smallHoles asks for the target's small openings by rays: one from its middle to the camera that meets nothing, and one
// inward that meets a back first. Its pixels are the area of the opening as the camera sees it.
func (x *topoTarget) smallHoles(b *backsSeen) smallHoles {
	out := smallHoles{pixels: make([]float64, len(b.views))}
	if len(b.views) == 0 || b.scale[0] >= b.tierPx {
		return out
	}
	tree := x.occluders()
	reach := float32(4 * x.sizeM())
	for _, l := range x.loops() {
		if !x.has(int(l.Edges[0]/3)) || math.Sqrt(lenSq(sub(l.Hi, l.Lo)))*b.scale[0] > smallPx {
			continue
		}
		o := openLoop{Loop: l}
		h := smallHole{loop: l, middle: o.middle(x.topoBody)}
		var out2 [2][]spatial.Ray
		var at []int
		for v, d := range b.views {
			if inner(l.Gap, d) > 0 {
				at = append(at, v)
				out2[0] = append(out2[0], x.rayFrom(h.middle, d, reach))
				out2[1] = append(out2[1], x.rayFrom(h.middle, [3]float64{-d[0], -d[1], -d[2]}, reach))
			}
		}
		blocked, inward := make([]bool, len(at)), make([]spatial.Hit, len(at))
		tree.Any(out2[0], blocked, 1)
		tree.Hits(out2[1], inward, 1)
		for i, v := range at {
			if blocked[i] || inward[i].Tri == spatial.Miss || !inward[i].Back || !x.mayShow(int(inward[i].Tri)) {
				continue
			}
			px := float64(inner(l.Gap, b.views[v])*b.tierPx) * b.tierPx
			out.pixels[v] += px
			h.pixels = max(h.pixels, px)
		}
		if h.pixels >= 1 {
			out.holes = append(out.holes, h)
		}
	}
	return out
}

var hiddenDef = spec.Check{
	Name: "topology.hidden", Scope: spec.PerPart, Title: "surface that nobody sees",
	What:   "Faces that no eye outside can see from any direction. Eyes pass glass, masks and blends; what moves hides nothing but itself, since it may be elsewhere in another pose. Undersides of what stands on the ground are told apart.",
	Why:    "Hidden faces take texels from those that show, which costs more than their triangles do.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_area_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.08, 0.05, 0.03, 0.03},
			What: "Share of the prop's surface that may be hidden, in each part.", Origin: spec.CommonPractice},
		{Key: "max_underside_share", Kind: spec.AtMost, Unit: "share", Optional: true,
			What: "Share of the prop's surface that may lie on the ground.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh,
	NotForPart: map[spec.PartKind]string{
		spec.Floater:  "The underside of a floater is free.",
		spec.Decal:    "A decal lies on its host.",
		spec.Card:     "Cards cover each other.",
		spec.Glass:    "Glass is looked through.",
		spec.Interior: "An interior is seen when something opens.",
	},
	Metrics: []string{"count", "area_share", "underside_share"},
}

func topologyHidden(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, hiddenDef)
	if !ok {
		return f
	}
	hidden, err := x.hiddenFaces(ctx)
	if err != nil {
		return unable("topology.stopped", words.Name(err.Error()))
	}
	total := areaM2(x.sf)
	area, under := 0.0, 0.0
	w := worst{}
	for _, i := range hidden {
		a := worldArea(corners(x.sf, int(i)))
		area += a
		w.add(a, int(i))
	}
	lo, hi, _ := x.bounds()
	if s.Spec.View.Placed == "ground" {
		isHidden := make([]bool, x.Triangles())
		for _, i := range hidden {
			isHidden[i] = true
		}
		for i := range x.part {
			if x.live(i) && !isHidden[i] && x.underside(i, lo[1]+float64(0.005*(hi[1]-lo[1]))) {
				under += worldArea(corners(x.sf, i))
			}
		}
	}
	m := map[string]float64{"count": float64(len(hidden)), "area_share": 0, "underside_share": 0}
	if total > 0 {
		m["area_share"], m["underside_share"] = min(1, area/total), min(1, under/total)
	}
	f = judge(r, m, atMost("area_share", "max_area_share"), atMost("underside_share", "max_underside_share"))
	if len(hidden) == 0 {
		f.say("topology.hidden.none")
	} else {
		f.say("topology.hidden.found", words.Count(len(hidden)), words.Share(m["area_share"]))
	}
	if under > 0 {
		f.also("topology.hidden.underside", words.Share(m["underside_share"]))
	}
	if broke(f) {
		f.remedy("topology.hidden.remove")
	}
	for _, e := range w.top() {
		f.Where = append(f.Where, x.place(e.at, 1e6*e.value, "mm²"))
	}
	return x.close(f)
}

// underside says whether a triangle looks down and lies on the ground.
func (b *topoBody) underside(t int, top float64) bool {
	p, q, r := b.Surface.Corners(t)
	n := cross(sub(q, p), sub(r, p))
	return n[1] < 0 && float64(n[1]*n[1]) > 0.9*lenSq(n) && max(p[1], q[1], r[1]) <= top
}

// sampleShare of the prop's diagonal is how far apart the points of a large face are that eyes are asked about, and
// maxSampleRows how many rows of them a face has at most.
const (
	sampleShare   = 0.03
	maxSampleRows = 8
)

// hiddenFaces lists the target's triangles of which no eye sees a point. Points are asked in rounds, each for all faces
// still unseen: first along the normal, then in every direction, then the same for further points.
func (x *topoTarget) hiddenFaces(ctx context.Context) ([]int32, error) {
	tree := x.hiders()
	var left []int32
	for t := range x.part {
		if x.live(t) && x.look[t]&(unseen|passes) == 0 && worldArea(corners(x.sf, t)) > 0 {
			left = append(left, int32(t))
		}
	}
	step := sampleShare * x.sizeM()
	var rays []spatial.Ray
	var hit []bool
	ask := func(sample, direction int) {
		rays = rays[:0]
		asked := make([]int32, 0, len(left))
		kept := left[:0]
		for _, t := range left {
			r, ok := x.eye(int(t), sample, direction, step)
			if !ok {
				kept = append(kept, t)
				continue
			}
			rays, asked = append(rays, r), append(asked, t)
		}
		if cap(hit) < len(rays) {
			hit = make([]bool, len(rays))
		}
		hit = hit[:len(rays)]
		tree.Any(rays, hit, x.s.Threads)
		for i, t := range asked {
			if hit[i] {
				kept = append(kept, t)
			}
		}
		left = kept
	}
	directions := len(sphereDirections)
	if slices.ContainsFunc(left, func(t int32) bool { return x.look[t]&twoSided != 0 }) {
		directions *= 2
	}
	var hidden []int32
	for sample := 0; sample <= maxSampleRows*maxSampleRows && len(left) > 0; sample++ {
		kept := left[:0]
		for _, t := range left {
			if _, ok := samplePoint(x.triangle(int(t)), sample, step); ok {
				kept = append(kept, t)
			} else {
				hidden = append(hidden, t)
			}
		}
		left = kept
		for direction := -1; direction < directions && len(left) > 0; direction++ {
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			ask(sample, direction)
		}
	}
	hidden = append(hidden, left...)
	slices.Sort(hidden)
	return hidden, nil
}

// hiders is what can hide the target: everything that stops an eye in every pose, or where it moves, itself alone.
func (x *topoTarget) hiders() *spatial.Tree {
	if x.p == nil || x.p.Def.Kind != spec.Moving {
		return x.occluders()
	}
	return x.without(func(t int) bool { return !x.has(t) || x.look[t]&passes != 0 })
}

// eye is the ray from a sample of a triangle to an eye. Direction -1 is along the normal; from 0 on the sphere's, then
// those again for the back of what shows both sides. ok is false where the triangle has no such sample or the face
// turns away.
func (x *topoTarget) eye(t, sample, direction int, step float64) (spatial.Ray, bool) {
	p := x.triangle(t)
	n := unit(cross(sub(p[1], p[0]), sub(p[2], p[0])))
	at, ok := samplePoint(p, sample, step)
	if !ok {
		return spatial.Ray{}, false
	}
	d := n
	if direction >= 0 {
		k := direction % len(sphereDirections)
		d = sphereDirections[k]
		if direction >= len(sphereDirections) {
			if x.look[t]&twoSided == 0 {
				return spatial.Ray{}, false
			}
			n = [3]float64{-n[0], -n[1], -n[2]}
		}
		if inner(d, n) < grazing/2 {
			return spatial.Ray{}, false
		}
	}
	lift := x.lift(at)
	var r spatial.Ray
	for k := range 3 {
		r.Org[k], r.Dir[k] = float32(at[k]+float64(lift*n[k])), float32(d[k])
	}
	r.Max = float32(4*x.sizeM() + 1)
	return r, true
}

// samplePoint is the k-th point of a triangle: its middle first, then points in even rows, as many as its size asks for.
func samplePoint(p [3][3]float64, k int, step float64) ([3]float64, bool) {
	w := [3]float64{1.0 / 3, 1.0 / 3, 1.0 / 3}
	if k > 0 {
		longest := math.Sqrt(max(lenSq(sub(p[1], p[0])), lenSq(sub(p[2], p[1])), lenSq(sub(p[0], p[2]))))
		rows := 1
		for rows < maxSampleRows && float64(rows)*step < longest {
			rows++
		}
		if rows == 1 || k > rows*rows { // the middle alone does for a small one
			return [3]float64{}, false
		}
		// rows² small triangles of equal area, by row; their middles.
		row, before := 0, 0
		for before+2*row+1 < k {
			before += 2*row + 1
			row++
		}
		i := k - 1 - before
		u := float64(row) + 2.0/3 - float64(i&1)/3 // rows away from the first corner
		v := float64(i/2) + 1.0/3 + float64(i&1)/3 // columns along the row
		w[2] = v / float64(rows)
		w[1] = (u - v) / float64(rows)
		w[0] = 1 - w[1] - w[2]
	}
	var out [3]float64
	for j := range 3 {
		out[j] = float64(w[0]*p[0][j]) + float64(w[1]*p[1][j]) + float64(w[2]*p[2][j])
	}
	return out, true
}
