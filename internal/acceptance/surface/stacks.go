package surface

import (
	"context"
	"math"
)

// stacks finds the copies of the game surface that lie on the same texels, after folding by whole tiles.
type stacks struct {
	p     *Pair
	cells map[[2]int][]int32 // triangles of the skin by cell of the tile
}

const stackCells = 64 // across a tile

func newStacks(p *Pair) *stacks {
	s := &stacks{p: p, cells: map[[2]int][]int32{}}
	for t := range p.skin.face {
		if !p.baked(t) {
			continue
		}
		lo, hi, ok := s.bounds(t)
		if !ok {
			continue
		}
		for x := int(math.Floor(lo[0] * stackCells)); x <= int(math.Floor(hi[0]*stackCells)); x++ {
			for y := int(math.Floor(lo[1] * stackCells)); y <= int(math.Floor(hi[1]*stackCells)); y++ {
				key := [2]int{x & (stackCells - 1), y & (stackCells - 1)}
				s.cells[key] = append(s.cells[key], int32(t))
			}
		}
	}
	return s
}

// bounds is a triangle's box in UV; false where it spans more than a tile, so that it covers itself.
func (s *stacks) bounds(t int) (lo, hi [2]float64, ok bool) {
	lo, hi = [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for k := range 3 {
		q := s.p.uv(int(s.p.skin.source[t]), k)
		for a := range 2 {
			lo[a], hi[a] = min(lo[a], q[a]), max(hi[a], q[a])
		}
	}
	return lo, hi, hi[0]-lo[0] <= 1 && hi[1]-lo[1] <= 1 && math.Abs(lo[0])+math.Abs(lo[1]) < 1e6
}

// serveStacks looks, for every foot that its own ray does not serve, for another copy on the same texel whose ray is
// served: bakers take one. It marks those feet as served and returns how many they are.
func (p *Pair) serveStacks(ctx context.Context, c *caster, f *feet, state []Verdict, skew []float32, unbaked []bool) (int, error) {
	if len(p.game.UV) == 0 {
		return 0, nil
	}
	lost := false
	for i := range state {
		lost = lost || state[i] != Served && !unbaked[i]
	}
	if !lost {
		return 0, nil
	}
	s := newStacks(p)
	served := make([]int, pieces(len(state)))
	err := eachPiece(ctx, len(state), p.threads, func(worker, piece, first, end int) {
		other := &feet{}
		var whose []int
		for i := first; i < end; i++ {
			if state[i] != Served && !unbaked[i] {
				whose = s.copies(f, i, other, whose)
			}
		}
		verdicts, angles := make([]Verdict, min(len(whose), pieceSize)), make([]float32, min(len(whose), pieceSize))
		for from := 0; from < len(whose); from += pieceSize {
			to := min(from+pieceSize, len(whose))
			c.cast(worker, other, from, to, verdicts[:to-from], angles[:to-from])
			for k, v := range verdicts[:to-from] {
				if i := whose[from+k]; v == Served && state[i] != Served {
					state[i], skew[i] = Served, angles[k]
					served[piece]++
				}
			}
		}
	})
	sum := 0
	for _, n := range served {
		sum += n
	}
	return sum, err
}

// copies adds a foot on every other triangle of the same set that covers foot i's texel.
func (s *stacks) copies(f *feet, i int, other *feet, whose []int) []int {
	p := s.p
	t := int(f.tri[i])
	source := int(p.skin.source[t])
	u, v := float64(f.weight[i][0]), float64(f.weight[i][1])
	a, b, c := p.uv(source, 0), p.uv(source, 1), p.uv(source, 2)
	var q [2]float64
	for k := range 2 {
		q[k] = a[k] + float64(u*(b[k]-a[k])) + float64(v*(c[k]-a[k]))
	}
	key := [2]int{int(math.Floor(q[0]*stackCells)) & (stackCells - 1), int(math.Floor(q[1]*stackCells)) & (stackCells - 1)}
	const most = 64 // copies looked at for one texel
	for _, o := range s.cells[key][:min(len(s.cells[key]), 4096)] {
		if int(o) == t || p.setOf(int(o)) != p.setOf(t) {
			continue
		}
		w, ok := p.weights(int(p.skin.source[o]), q)
		if !ok {
			continue
		}
		foot := narrow(inTriangle(at(p.skin.pos, p.skin.tri[3*o]), at(p.skin.pos, p.skin.tri[3*o+1]), at(p.skin.pos, p.skin.tri[3*o+2]), w))
		other.pos = append(other.pos, foot[0], foot[1], foot[2])
		other.tri = append(other.tri, uint32(o))
		other.weight = append(other.weight, [2]float32{float32(w[0]), float32(w[1])})
		whose = append(whose, i)
		if len(whose) > most && whose[len(whose)-most] == i {
			break
		}
	}
	return whose
}

func (p *Pair) setOf(t int) int {
	if p.opt.SetOf == nil {
		return 0
	}
	return p.opt.SetOf(int(p.skin.source[t]))
}

// weights places a texel, moved by whole tiles, in a triangle of the game surface.
func (p *Pair) weights(triangle int, q [2]float64) ([2]float64, bool) {
	a, b, c := p.uv(triangle, 0), p.uv(triangle, 1), p.uv(triangle, 2)
	for k := range 2 { // the whole tile nearest to the triangle's middle
		middle := (a[k] + b[k] + c[k]) / 3
		q[k] += math.Floor(middle - q[k] + 0.5)
	}
	d1, d2, e := [2]float64{b[0] - a[0], b[1] - a[1]}, [2]float64{c[0] - a[0], c[1] - a[1]}, [2]float64{q[0] - a[0], q[1] - a[1]}
	det := float64(d1[0]*d2[1]) - float64(d1[1]*d2[0])
	if det == 0 {
		return [2]float64{}, false
	}
	u, v := (float64(e[0]*d2[1])-float64(e[1]*d2[0]))/det, (float64(d1[0]*e[1])-float64(d1[1]*e[0]))/det
	const slack = 1e-9
	return [2]float64{u, v}, u >= -slack && v >= -slack && u+v <= 1+slack
}
