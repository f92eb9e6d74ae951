package surface

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/spatial"
)

// heatShare of the diagonal is the longest edge of a triangle of the heat map: about four pixels of the sides, which are
// drawn some 400 pixels high. Half of it costs four times the queries and the model's bytes.
const heatShare = 1.0 / 96

// Heat measures the distance to the sculpt at every vertex of the finely cut game surface, once.
func (p *Pair) Heat(ctx context.Context) (*Heat, error) {
	p.heatOnce.Do(func() { p.heat, p.heatErr = p.measureHeat(ctx) })
	return p.heat, p.heatErr
}

func (p *Pair) measureHeat(ctx context.Context) (*Heat, error) {
	p.ready()
	s := p.skin
	on, _ := newSamples(p.onGame, s.pos, s.tri, heatShare*p.diagonal, p.threads)
	h := &Heat{}
	place := make([]uint32, on.vertices()) // of a sample's vertex in Pos, plus 1
	var normals []vec
	for t := range on.triangles() {
		v, ok := on.corners(t)
		if !ok {
			continue
		}
		face := on.source(t)
		for _, w := range v {
			if place[w] == 0 {
				q := narrow(on.point(w))
				h.Pos = append(h.Pos, q[0], q[1], q[2])
				place[w] = uint32(len(h.Pos) / 3)
				n := s.face[face]
				if int(w) < len(s.same) {
					n = s.vert[s.same[w]]
				}
				normals = append(normals, n)
			}
			h.Tri = append(h.Tri, place[w]-1)
		}
		h.Face = append(h.Face, s.source[face])
		h.skinFace = append(h.skinFace, uint32(face))
	}
	h.HeightMM, h.base = make([]float32, len(normals)), make([]int32, len(normals))
	err := p.near(ctx, p.sculptTree(), h.Pos, float32(math.Inf(1)), func(_, _, first int, near []spatial.Near) {
		for i := range near {
			h.base[first+i] = near[i].Tri
			h.HeightMM[first+i] = heatOf(at(h.Pos, uint32(first+i)), normals[first+i], &near[i])
		}
	})
	return h, err
}

// heatOf is above zero where the nearest sculpt lies on the side that the game surface faces.
func heatOf(q, normal vec, near *spatial.Near) float32 {
	if near.Tri == spatial.Miss {
		return float32(math.NaN())
	}
	if dot(sub(wide(near.Point), q), normal) < 0 {
		return -1000 * near.Dist
	}
	return 1000 * near.Dist
}
