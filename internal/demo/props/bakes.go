package props

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/bake"
	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/tangent"
)

// reachShare of a part's diagonal is how far its cage stands off, and how deep rays look.
const reachShare = 0.01

// bakeNormals projects the sculpt's parts onto the game mesh's, each onto its own, and returns the normals, three 16-bit values
// a texel.
func bakeNormals(game []glbwrite.Prim, sculpt glbwrite.Scene, sizePx int, greenDown bool) ([]uint16, error) {
	g := &bake.Game{}
	var sculpts []*bake.Sculpt
	for i, p := range game {
		high := sculpt.Roots[i].Mesh.Prims[0]
		sculpts = append(sculpts, bake.NewSculpt(high.Pos, high.Nrm, high.Tri, 0))
		reach := float32(reachShare * diagonal(p.Pos))
		outward := bake.AveragedNormals(p.Pos, p.Tri)
		g.Tan = append(g.Tan, tangent.Generate(p.Pos, p.Nrm, p.UV, p.Tri)...)
		for _, v := range p.Tri {
			g.Pos, g.Nrm = append(g.Pos, p.Pos[3*v:3*v+3]...), append(g.Nrm, p.Nrm[3*v:3*v+3]...)
			g.UV = append(g.UV, p.UV[2*v:2*v+2]...)
			for k := range uint32(3) {
				g.Reach = append(g.Reach, reach*outward[3*v+k])
			}
		}
		for range len(p.Tri) / 3 {
			g.Part, g.Back, g.Island = append(g.Part, int32(i)), append(g.Back, reach), append(g.Island, 0)
		}
	}
	m, err := bake.Project(context.Background(), g, sculpts, bake.NewGrid(sizePx, sizePx, sizePx), bake.Options{})
	if err != nil {
		return nil, err
	}
	return m.Image(greenDown), nil
}

// diagonal of the bounding box of some positions.
func diagonal(pos []float32) float64 {
	lo, hi := vec{math.Inf(1), math.Inf(1), math.Inf(1)}, vec{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
	for i, x := range pos {
		lo[i%3], hi[i%3] = math.Min(lo[i%3], float64(x)), math.Max(hi[i%3], float64(x))
	}
	return hi.sub(lo).length()
}
