package acceptance

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/spatial"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

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
	patches := x.patches(hidden)
	for i, patch := range patches {
		a := 0.0
		for _, t := range patch {
			a += worldArea(corners(x.sf, int(t)))
		}
		area += a
		w.add(a, i)
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
		f.Where = append(f.Where, x.patchPlace(patches[e.at], 1e6*e.value, "mm²"))
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
	r.Max = float32(float64(4*x.sizeM()) + 1)
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
