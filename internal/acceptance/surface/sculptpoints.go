package surface

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/spatial"
)

// Between the vertices of the sculpt the distance to the game surface is not linear: it is convex towards one triangle, and has a
// crease where the surfaces cross, so a sum that takes it as linear comes out too large (5 % of the mean of a scan against its
// reduction). What it is wrong by is sampled: points spread over the sculpt, each standing for the same area, are
// asked, and the mean of true less linear distance is added to the sum (a control variate: Owen, Monte Carlo theory, methods and
// examples, 2013, section 8.9). The result has no bias, and its standard error is told. Percentiles are put right in the same way.

// meanErrorShare of the mean is the largest standard error that is let stand: as many more points are asked as that takes, but no more
// than mostPoints times as many as at first.
const (
	meanErrorShare = 0.001
	mostPoints     = 8
)

// sculptPoints are points of the sculpt, in the order of its triangles.
type sculptPoints struct {
	pos    []float32 // 3 a point
	linear []float32 // metres: the distance there if it were linear between the corners
	corner []float32 // metres: that of the corner in whose third of the triangle the point lies
	dist   []float32 // metres: the distance
}

// strip cuts the triangles of one piece of work, laid end to end by area, into stretches of the same area and puts a
// point into each, at a jittered place.
type strip struct {
	sculptPoints
	piece  uint64
	each   float64 // square metres a point stands for
	done   float64 // of the triangles so far
	next   float64 // where the next point lies
	points uint64
}

func newStrip(piece int, each float64) strip {
	s := strip{piece: uint64(piece), each: each}
	s.next = s.place()
	return s
}

// place is where the next point lies: every stretch has one, and the last, cut short, has one as often as it is long.
func (s *strip) place() float64 {
	return float64(s.each * (float64(s.points) + jitter(s.piece<<32|s.points)))
}

// put places the points of the triangle that was laid down last, with distances f at its corners.
func (s *strip) put(a, b, c vec, f plane) {
	for s.next < s.done {
		// Points within triangles follow the additive recurrence of the plastic number, as feet do, from another start in each piece.
		_, x := math.Modf(jitter(^s.piece) + float64(0x1.827f5352054c6p-1*float64(s.points+1)))
		_, y := math.Modf(0.5 + float64(0x1.23c21b4b8f3cfp-1*float64(s.points+1)))
		root := math.Sqrt(x)
		u, v := 1-root, float64(root*y)
		w := plane{1 - u - v, u, v}
		q := narrow(inTriangle(a, b, c, [2]float64{u, v}))
		corner := f[0]
		if w[1] > w[0] && w[1] >= w[2] {
			corner = f[1]
		} else if w[2] > w[0] {
			corner = f[2]
		}
		s.pos = append(s.pos, q[0], q[1], q[2])
		s.linear = append(s.linear, float32(float64(w[0]*f[0])+float64(w[1]*f[1])+float64(w[2]*f[2])))
		s.corner = append(s.corner, float32(corner))
		s.points++
		s.next = s.place()
	}
}

// joined are the points of all pieces, in order.
func joined(strips []strip) *sculptPoints {
	b := &sculptPoints{}
	n := 0
	for i := range strips {
		n += len(strips[i].linear)
	}
	b.pos, b.linear, b.corner = make([]float32, 0, 3*n), make([]float32, 0, n), make([]float32, 0, n)
	for i := range strips {
		b.pos, b.linear, b.corner = append(b.pos, strips[i].pos...), append(b.linear, strips[i].linear...), append(b.corner, strips[i].corner...)
		strips[i] = strip{}
	}
	return b
}

// residue is what the points say about true less linear distance, metres.
type residue struct{ n, sum, squares, ofSquares float64 }

// ask finds the distances and sums up what they are besides the linear ones.
func (b *sculptPoints) ask(ctx context.Context, p *Pair) (residue, error) {
	n := len(b.linear)
	b.dist = make([]float32, n)
	parts := make([]residue, pieces(n))
	err := p.near(ctx, p.onGame, b.pos, float32(math.Inf(1)), func(_, piece, first int, near []spatial.Near) {
		r := &parts[piece]
		for i := range near {
			f, l := float64(near[i].Dist), float64(b.linear[first+i])
			if near[i].Tri == spatial.Miss { // nothing to measure to
				f = l
			}
			b.dist[first+i] = float32(f)
			d := f - l
			r.n++
			r.sum += d
			r.squares += float64(d * d)
			r.ofSquares += float64(d * (f + l))
		}
	})
	var r residue
	for _, x := range parts {
		r.n, r.sum, r.squares, r.ofSquares = r.n+x.n, r.sum+x.sum, r.squares+x.squares, r.ofSquares+x.ofSquares
	}
	return r, err
}

// meanError is the standard error of the mean, metres: at most, since the points are spread more evenly than by chance.
func (r *residue) meanError() float64 {
	if r.n < 2 {
		return 0
	}
	mean := r.sum / r.n
	return math.Sqrt(max(r.squares/r.n-float64(mean*mean), 0) / r.n)
}

// spreadInto moves the points' weight, of all in all, from where their corners' distances put it to where it belongs.
func (b *sculptPoints) spreadInto(s *spread, all int64) {
	if len(b.dist) == 0 {
		return
	}
	each := all / int64(len(b.dist))
	for i := range b.dist {
		s.add(b.dist[i], each)
		s.add(b.corner[i], -each)
	}
}

// rankError is the standard error, as a share of the area, of how much lies below d metres: only points that true and
// corner's distance put on different sides of d tell.
func (b *sculptPoints) rankError(d float64) float64 {
	n := 0
	for i := range b.dist {
		if (float64(b.dist[i]) <= d) != (float64(b.corner[i]) <= d) {
			n++
		}
	}
	return math.Sqrt(float64(n)) / float64(max(len(b.dist), 1))
}
