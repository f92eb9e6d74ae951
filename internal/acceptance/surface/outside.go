package surface

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/spatial"
)

// Outside is the sculpt that stands outside the game surface. Areas are exact for heights linear between the samples.
type Outside struct {
	MaxHeightMM   float64
	HeightErrorMM float64 // the true largest height is at most this much above MaxHeightMM
	AreaMM2       float64 // sculpt that counts: seen from outside, not declared open
	AreaShare     float64 // of it, outside
	ShareAbove    float64 // of it, higher than the limit asked for

	UnknownShare float64 // of it, nearest to a border of the game surface: the sign is not known, taken as not outside
	HiddenShare  float64 // of all sculpt area, behind other sculpt and left out
	OpenShare    float64 // of all sculpt area, facing a side declared open and left out

	Patches         []Patch // the tallest, at most maxPatches
	PatchCount      int
	LargestPatchMM2 float64
	PatchLevelMM    float64 // height at which patches are cut

	Left, Right Half
}

// Half is one side of the mirror plane.
type Half struct {
	MaxHeightMM     float64
	AreaShare       float64 // of the sculpt area on this side
	ShareAbove      float64
	Patches         int
	LargestPatchMM2 float64
}

const maxPatches = 1000

// outsideSums are the sums of one piece of work, in square metres.
type outsideSums struct {
	all, counts, unknown, hidden, open float64
	out, above                         float64
	left, leftOut, leftAbove           float64
	maxH, leftMax, rightMax            float64
	maxEdgeSq, maxEdge                 float64
	proud                              []uint32 // triangles with something above the patch level
}

// Outside measures the sculpt outside the game surface; limitMM is the height above which area is summed apart, levelMM
// that at which patches are cut (at least the noise of positions).
func (p *Pair) Outside(ctx context.Context, limitMM, levelMM float64) (*Outside, error) {
	h, err := p.Heights(ctx)
	if err != nil {
		return nil, err
	}
	p.outsideMu.Lock()
	defer p.outsideMu.Unlock()
	key := [2]float64{limitMM, levelMM}
	if o := p.outsides[key]; o != nil {
		return o, nil
	}
	o, err := p.measureOutside(ctx, h, max(limitMM/1000, p.noise), max(levelMM/1000, p.noise))
	if err != nil {
		return nil, err
	}
	if p.outsides == nil {
		p.outsides, p.firstOutside = map[[2]float64]*Outside{}, o
	}
	p.outsides[key] = o
	return o, nil
}

func (p *Pair) measureOutside(ctx context.Context, h *Heights, limit, level float64) (*Outside, error) {
	sums := make([]outsideSums, pieces(h.on.triangles()))
	err := eachPiece(ctx, h.on.triangles(), p.threads, func(_, piece, first, end int) {
		s := &sums[piece]
		for t := first; t < end; t++ {
			p.sumTriangle(s, h, t, limit, level)
		}
		s.maxEdge = math.Sqrt(s.maxEdgeSq)
	})
	if err != nil {
		return nil, err
	}
	var s outsideSums
	for i := range sums {
		s.merge(&sums[i])
	}
	o := &Outside{MaxHeightMM: 1000 * s.maxH, AreaMM2: 1e6 * s.counts, PatchLevelMM: 1000 * level}
	o.AreaShare, o.ShareAbove, o.UnknownShare = ratio(s.out, s.counts), ratio(s.above, s.counts), ratio(s.unknown, s.counts)
	o.HiddenShare, o.OpenShare = ratio(s.hidden, s.all), ratio(s.open, s.all)
	right := s.counts - s.left
	o.Left = Half{MaxHeightMM: 1000 * s.leftMax, AreaShare: ratio(s.leftOut, s.left), ShareAbove: ratio(s.leftAbove, s.left)}
	o.Right = Half{MaxHeightMM: 1000 * s.rightMax, AreaShare: ratio(s.out-s.leftOut, right), ShareAbove: ratio(s.above-s.leftAbove, right)}
	if s.maxH > 0 {
		tall, slack, err := p.tightenHeights(ctx, h, sums, s.maxH)
		if err != nil {
			return nil, err
		}
		o.MaxHeightMM, o.HeightErrorMM = 1000*tall, 1000*slack
	}
	p.findPatches(h, s.proud, level, o)
	return o, nil
}

func ratio(a, b float64) float64 {
	if !(b > 0) {
		return 0
	}
	return min(max(a/b, 0), 1)
}

func (s *outsideSums) merge(o *outsideSums) {
	s.all, s.counts, s.unknown = s.all+o.all, s.counts+o.counts, s.unknown+o.unknown
	s.hidden, s.open, s.out, s.above = s.hidden+o.hidden, s.open+o.open, s.out+o.out, s.above+o.above
	s.left, s.leftOut, s.leftAbove = s.left+o.left, s.leftOut+o.leftOut, s.leftAbove+o.leftAbove
	s.maxH, s.leftMax, s.rightMax = max(s.maxH, o.maxH), max(s.leftMax, o.leftMax), max(s.rightMax, o.rightMax)
	s.proud = append(s.proud, o.proud...)
}

// sumTriangle adds one sculpt triangle to a piece's sums.
func (p *Pair) sumTriangle(s *outsideSums, h *Heights, t int, limit, level float64) {
	v, ok := h.on.corners(t)
	if !ok {
		return
	}
	s0, s1, s2 := h.state[v[0]], h.state[v[1]], h.state[v[2]]
	any := s0 | s1 | s2
	if any&noPlace != 0 {
		return
	}
	size := float64(h.area[t])
	s.all += size
	switch {
	case s0&s1&s2&hidden != 0:
		s.hidden += size
		return
	case any&openThere != 0:
		s.open += size
		return
	}
	s.counts += size
	a, b, c := h.on.point(v[0]), h.on.point(v[1]), h.on.point(v[2])
	left := plane{a[0] - p.opt.MirrorX, b[0] - p.opt.MirrorX, c[0] - p.opt.MirrorX}
	leftShare := shareAbove(left, 0)
	s.left += float64(size * leftShare)
	if any&signUnknown != 0 {
		s.unknown += size
		return
	}
	f := plane{float64(h.h[v[0]]), float64(h.h[v[1]]), float64(h.h[v[2]])}
	tall := max(f[0], f[1], f[2])
	if tall <= p.noise {
		return
	}
	for k := range 3 {
		if h.state[v[k]]&hidden != 0 {
			continue
		}
		s.maxH = max(s.maxH, f[k])
		if left[k] >= 0 {
			s.leftMax = max(s.leftMax, f[k])
		}
		if left[k] <= 0 {
			s.rightMax = max(s.rightMax, f[k])
		}
	}
	s.maxEdgeSq = max(s.maxEdgeSq, longestSq(a, b, c))
	out := shareAbove(f, p.noise)
	s.out += float64(size * out)
	above := 0.0
	if tall > limit {
		above = shareAbove(f, limit)
		s.above += float64(size * above)
	}
	if leftShare > 0 {
		lo, la := out, above
		if leftShare < 1 {
			half := wholeTriangle().above(left, 0)
			lo, _ = half.above(f, p.noise).share()
			la, _ = half.above(f, limit).share()
		}
		s.leftOut += float64(size * lo)
		s.leftAbove += float64(size * la)
	}
	if tall > level {
		s.proud = append(s.proud, uint32(t))
	}
}

func longest(a, b, c vec) float64 { return math.Sqrt(longestSq(a, b, c)) }

func longestSq(a, b, c vec) float64 {
	ab, bc, ca := sub(a, b), sub(b, c), sub(c, a)
	return max(dot(ab, ab), dot(bc, bc), dot(ca, ca))
}

// tightenHeights looks between the samples for a height above tall.
func (p *Pair) tightenHeights(ctx context.Context, h *Heights, sums []outsideSums, tall float64) (float64, float64, error) {
	m := &tightener{tree: p.onGame, pos: p.skin.pos, tri: p.skin.tri, threads: p.threads, best: tall, slack: p.slack(tall)}
	m.value = func(q vec, near *spatial.Near) float64 {
		d, state := p.signed(q, near)
		if state != 0 {
			return math.Inf(-1)
		}
		return float64(d)
	}
	n := h.on.triangles()
	m.offerPieces(n, func(i int) float64 { return sums[i].maxH + float64(sums[i].maxEdge*coverShare) }, func(piece, first, end int) {
		for t := first; t < end; t++ {
			v, ok := h.on.corners(t)
			if !ok || h.state[v[0]]|h.state[v[1]]|h.state[v[2]] != 0 {
				continue
			}
			if f := (plane{float64(h.h[v[0]]), float64(h.h[v[1]]), float64(h.h[v[2]])}); !m.below(f, sums[piece].maxEdge) {
				m.offer(h.candidate(v, f))
			}
		}
	})
	return m.run(ctx)
}

// slack is how close a largest value is pinned down: a thousandth of it, but no closer than rounding.
func (p *Pair) slack(v float64) float64 { return max(v/1000, p.noise) }

// findPatches joins what stands above level into patches. Two triangles belong together if they share a vertex above
// it: exactly then the surface above the level is connected there.
func (p *Pair) findPatches(h *Heights, proud []uint32, level float64, o *Outside) {
	number := make([]int32, h.on.vertices()) // vertex above the level to its place in pos, plus 1
	var pos []float32
	for _, t := range proud {
		v, _ := h.on.corners(int(t))
		for _, w := range v {
			if float64(h.h[w]) > level && number[w] == 0 {
				q := narrow(h.on.point(w))
				pos = append(pos, q[0], q[1], q[2])
				number[w] = int32(len(pos) / 3)
			}
		}
	}
	u := union(weld(pos))
	for _, t := range proud {
		v, _ := h.on.corners(int(t))
		first := int32(0)
		for _, w := range v {
			if n := number[w]; n != 0 && float64(h.h[w]) > level {
				if first == 0 {
					first = n
				}
				u.join(uint32(first-1), uint32(n-1))
			}
		}
	}
	index := map[uint32]int{}
	var all []Patch
	which := make([]int32, len(proud))
	for i, t := range proud {
		v, _ := h.on.corners(int(t))
		var root uint32
		for _, w := range v {
			if n := number[w]; n != 0 {
				root = u.find(uint32(n - 1))
				break
			}
		}
		k, ok := index[root]
		if !ok {
			k = len(all)
			index[root] = k
			all = append(all, Patch{})
		}
		which[i] = int32(k)
		p.growPatch(&all[k], h, int(t), level)
	}
	p.finishPatches(h, proud, which, all, o)
}

// growPatch adds one triangle to a patch. Sums are in metres until finishPatches.
func (p *Pair) growPatch(q *Patch, h *Heights, t int, level float64) {
	v, _ := h.on.corners(t)
	var c [3]vec
	var f, left plane
	for k := range 3 {
		c[k] = h.on.point(v[k])
		f[k], left[k] = float64(h.h[v[k]]), c[k][0]-p.opt.MirrorX
	}
	size := area(c[0], c[1], c[2])
	share, leftShare, middle := 1.0, 0.0, [2]float64{1.0 / 3, 1.0 / 3}
	if min(left[0], left[1], left[2]) > 0 {
		leftShare = 1
	}
	if min(f[0], f[1], f[2]) <= level || max(left[0], left[1], left[2]) > 0 && leftShare == 0 {
		piece := wholeTriangle().above(f, level)
		share, middle = piece.share()
		leftShare, _ = piece.above(left, 0).share()
	}
	q.AreaMM2 += float64(size * share)
	q.LeftMM2 += float64(size * leftShare)
	q.CentreMM = along(q.CentreMM, float64(size*share), inTriangle(c[0], c[1], c[2], middle))
	for k := range 3 {
		if f[k] <= level {
			continue
		}
		if f[k] > q.HeightMM {
			q.HeightMM, q.PeakMM, q.Triangle = f[k], c[k], h.on.source(t)
		}
		if left[k] >= 0 {
			q.LeftHeight = max(q.LeftHeight, f[k])
		}
		if left[k] <= 0 {
			q.RightHeight = max(q.RightHeight, f[k])
		}
	}
}

func (p *Pair) finishPatches(h *Heights, proud []uint32, which []int32, all []Patch, o *Outside) {
	for i := range all {
		q := &all[i]
		if q.AreaMM2 > 0 {
			q.CentreMM = scale(q.CentreMM, 1/q.AreaMM2)
		} else {
			q.CentreMM = q.PeakMM
		}
	}
	for i, t := range proud { // radius
		q := &all[which[i]]
		v, _ := h.on.corners(int(t))
		for _, w := range v {
			q.RadiusMM = max(q.RadiusMM, length(sub(h.on.point(w), q.CentreMM)))
		}
	}
	o.PatchCount = len(all)
	for i := range all {
		q := &all[i]
		q.AreaMM2, q.LeftMM2 = float64(1e6*q.AreaMM2), float64(1e6*q.LeftMM2)
		q.RightMM2 = max(q.AreaMM2-q.LeftMM2, 0)
		q.HeightMM, q.LeftHeight, q.RightHeight, q.RadiusMM = 1000*q.HeightMM, 1000*q.LeftHeight, 1000*q.RightHeight, 1000*q.RadiusMM
		o.LargestPatchMM2 = max(o.LargestPatchMM2, q.AreaMM2)
		o.Left.count(q.LeftMM2)
		o.Right.count(q.RightMM2)
	}
	slices.SortStableFunc(all, func(a, b Patch) int {
		switch {
		case a.HeightMM > b.HeightMM:
			return -1
		case a.HeightMM < b.HeightMM:
			return 1
		}
		return a.Triangle - b.Triangle
	})
	o.Patches = all[:min(len(all), maxPatches):min(len(all), maxPatches)]
	p.groundPatches(o.Patches)
}

// groundPatches looks up the game surface below the patches: the normal below the peak, and the triangle below the
// middle, since a peak may lie on a rim.
func (p *Pair) groundPatches(patches []Patch) {
	points := make([]float32, 0, 6*len(patches))
	for i := range patches {
		q, m := narrow(patches[i].PeakMM), narrow(patches[i].CentreMM)
		points = append(points, q[0], q[1], q[2], m[0], m[1], m[2])
	}
	near := make([]spatial.Near, 2*len(patches))
	p.onGame.Closest(points, float32(math.Inf(1)), near, p.threads)
	for i := range patches {
		q := &patches[i]
		n, _ := p.skin.normal(&near[2*i])
		q.Number, q.Normal, q.GameTriangle = i+1, unit(n), int(p.skin.source[near[2*i+1].Tri])
		q.PeakMM, q.CentreMM = toMM(q.PeakMM), toMM(q.CentreMM)
	}
}

func (h *Half) count(areaMM2 float64) {
	if areaMM2 > 0 {
		h.Patches++
		h.LargestPatchMM2 = max(h.LargestPatchMM2, areaMM2)
	}
}

// Patches are those of the measure of sculpt outside the game surface that was made first; nil where none was.
func (p *Pair) Patches() []Patch {
	p.outsideMu.Lock()
	defer p.outsideMu.Unlock()
	if p.firstOutside == nil {
		return nil
	}
	return p.firstOutside.Patches
}
