package acceptance

import (
	"context"
	"math"
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
	views  [][3]float64  // all directions at rest, then all in the next pose
	poses  []string      // by view: the name of the pose, "" at rest
	scale  []float64     // by view: pixels a metre that were drawn
	marks  [][]int32     // by view and part (the last is no part): pixels drawn
	most   []viewedMark  // by triangle that was seen: the most pixels of it in a view
	byTri  map[int32]int // triangle: index in most
	tierPx float64       // pixels a metre at the tier's distance
	small  []topo.Loop   // openings that are asked for by rays
}

type viewedMark struct {
	tri    int32
	view   int
	pixels int32
}

// seenMaxPx is the edge of the pictures in which back faces are looked for. At tiers that see more pixels, what is counted is
// scaled up, and openings of a few of these pixels are asked for by rays.
const seenMaxPx = 384

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
		n := float64(float64(float64(b.marks[v][own])*up) * up)
		if b.poses[v] == "" {
			n += small.pixels[v]
		}
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
	if f.Pose = b.poses[worstView]; f.Pose != "" {
		f.also("topology.see_through.pose", words.Name(f.Pose))
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
	for _, l := range x.loops() {
		if x.isSmall(&l, tierPx) {
			b.small = append(b.small, l)
		}
	}
	nearest, front := raster.NewBuffer(0, 0, raster.One), raster.NewBuffer(0, 0, raster.One)
	for _, pose := range x.poses() {
		job := backsJob{x: x, pos: pose.pos, both: both, fronts: fronts, nearest: nearest, front: front}
		if pose.name == "" {
			job.small = b.small
		}
		for _, d := range permittedOf(cameraDirections, x.s.Spec.View.Placed) {
			if ctx.Err() != nil {
				return b
			}
			b.poses = append(b.poses, pose.name)
			job.view(&b, d)
		}
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
	pos            []float32 // in the pose
	both, fronts   []int32
	bothTri        []uint32
	frontTri       []uint32
	nearest, front *raster.Buffer
	small          []topo.Loop
	screen         raster.Screen
	mark           []int32
	normals        [][3]float32 // by number in both; zero where the back is no hole
	shows          []bool       // by number in both, for the view: a back that would be a hole
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
	v.FitOrthographic(j.pos, raster.Frame{X0: 2, Y0: 2, X1: seenMaxPx - 2, Y1: seenMaxPx - 2})
	if v.Scale > b.tierPx { // no finer than the tier sees it
		k := b.tierPx / v.Scale
		v.CX, v.CY, v.Scale = float64((v.CX-seenMaxPx/2)*k)+seenMaxPx/2, float64((v.CY-seenMaxPx/2)*k)+seenMaxPx/2, b.tierPx
	}
	j.screen.Project(&v, j.pos, x.s.Threads)
	b.views, b.scale = append(b.views, toward), append(b.scale, v.Scale)
	b.marks = append(b.marks, make([]int32, len(x.s.Parts)+1))
	n := uint32(len(j.both))
	j.nearest.Reset(v.W, v.H, raster.One)
	j.nearest.Draw(raster.Job{Screen: &j.screen, Tri: j.bothTri, Cull: raster.CullNone}, x.s.Threads)
	j.nearest.Draw(raster.Job{Screen: &j.screen, Tri: j.frontTri, First: n, Cull: raster.CullBack}, x.s.Threads)
	if !j.markBacks(toward) {
		return
	}
	j.front.Reset(v.W, v.H, raster.One)
	j.front.Draw(raster.Job{Screen: &j.screen, Tri: j.bothTri, Cull: raster.CullBack}, x.s.Threads)
	j.front.Draw(raster.Job{Screen: &j.screen, Tri: j.frontTri, First: n, Cull: raster.CullBack}, x.s.Threads)
	j.unmarkOutlines()
	j.unmarkSmall(&v)
	j.count(b)
}

// unmarkSmall takes marks back around small openings: their few pixels are told by their area.
func (j *backsJob) unmarkSmall(v *raster.View) {
	w, h := j.nearest.W, j.nearest.H
	for _, l := range j.small {
		x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
		for _, e := range l.Edges {
			p := point(j.pos, j.x.Tri[e])
			if x, y, _, ok := v.Project(p); ok {
				x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
			}
		}
		if !(x0 <= x1) {
			continue
		}
		for y := max(int(y0)-1, 0); y <= min(int(y1)+1, h-1); y++ {
			for x := max(int(x0)-1, 0); x <= min(int(x1)+1, w-1); x++ {
				j.mark[y*w+x] = -1
			}
		}
	}
}

// markBacks marks the pixels whose nearest surface is a back that would be a hole, and says whether there are any.
func (j *backsJob) markBacks(toward [3]float64) bool {
	x := j.x
	w, h := j.nearest.W, j.nearest.H
	if j.mark == nil {
		j.mark = make([]int32, w*h)
		j.shows = make([]bool, len(j.both))
		j.normals = make([][3]float32, len(j.both))
		for i, t := range j.both {
			if x.mayShow(int(t)) {
				a := point(j.pos, x.Tri[3*t])
				n := unit(cross(sub(point(j.pos, x.Tri[3*t+1]), a), sub(point(j.pos, x.Tri[3*t+2]), a)))
				j.normals[i] = [3]float32{float32(n[0]), float32(n[1]), float32(n[2])}
			}
		}
	}
	any := false
	for i, n := range j.normals {
		j.shows[i] = inner([3]float64{float64(n[0]), float64(n[1]), float64(n[2])}, toward) < 0
		any = any || j.shows[i]
	}
	some := false
	for y := 0; y < h && any; y++ {
		for col := range w {
			at := y*w + col
			j.mark[at] = -1
			if id, _ := j.nearest.At(0, col, y); id < uint32(len(j.both)) && j.shows[id] {
				j.mark[at], some = j.both[id], true
			}
		}
	}
	return some
}

// unmarkOutlines takes marks back where a front lies as near: rounding at an edge that both share.
func (j *backsJob) unmarkOutlines() {
	w := j.nearest.W
	slack := float32(1e-5 * j.x.sizeM())
	for at, t := range j.mark {
		if t < 0 {
			continue
		}
		_, near := j.nearest.At(0, at%w, at/w)
		if _, behind := j.front.At(0, at%w, at/w); near-behind < slack {
			j.mark[at] = -1
		}
	}
}

// count adds up the marks that are no lone pixels: rounding at an outline makes single ones.
func (j *backsJob) count(b *backsSeen) {
	x := j.x
	w, h := j.nearest.W, j.nearest.H
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
