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

// baked is what a vendor bakes: normals, three 16-bit values a texel, and how open the sculpt lies.
type baked struct {
	normals []uint16
	open    *bake.Occlusion
}

// Occlusion is baked over fewer texels, with this many rays each, as far as this share of a part's diagonal.
const (
	openStep  = 4
	openRays  = 48
	openShare = 0.25
)

// bakeMaps projects the sculpt's parts onto the game mesh's, each onto its own.
func bakeMaps(game []glbwrite.Prim, sculpt glbwrite.Scene, sizePx int, greenDown bool) (baked, error) {
	g := &bake.Game{}
	far := 0.0
	var sculpts []*bake.Sculpt
	for i, p := range game {
		high := sculpt.Roots[i].Mesh.Prims[0]
		sculpts = append(sculpts, bake.NewSculpt(high.Pos, high.Nrm, high.Tri, 0))
		reach := float32(reachShare * diagonal(p.Pos))
		far = math.Max(far, openShare*diagonal(p.Pos))
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
		return baked{}, err
	}
	open, err := bake.Occlude(context.Background(), g, sculpts, bake.NewGrid(sizePx, sizePx, sizePx/openStep), openRays, far, 0)
	return baked{m.Image(greenDown), open}, err
}

// openAt is how open the sculpt lies at a texel: between the texels around it that were baked, 1 where none was.
func (b baked) openAt(x, y int) float64 {
	o := b.open
	fx, fy := (float64(x)-float64(openStep/2))/openStep, (float64(y)-float64(openStep/2))/openStep
	sum, weight := 0.0, 0.0
	for j := range 2 {
		for i := range 2 {
			gx, gy := int(math.Floor(fx))+i, int(math.Floor(fy))+j
			if gx < 0 || gy < 0 || gx >= o.W || gy >= o.H || o.Open[gy*o.W+gx] < 0 {
				continue
			}
			w := (1 - math.Abs(fx-float64(gx))) * (1 - math.Abs(fy-float64(gy)))
			sum, weight = sum+w*float64(o.Open[gy*o.W+gx]), weight+w
		}
	}
	if weight == 0 {
		return 1
	}
	return sum / weight
}

// diagonal of the bounding box of some positions.
func diagonal(pos []float32) float64 {
	lo, hi := box3(pos)
	return hi.sub(lo).length()
}
