package acceptance

import (
	"math"
	"runtime"

	"proofhouse/internal/acceptance/bake"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/tangent"
)

// bakeScene is a set's game mesh and the sculpts of its parts, ready to be baked.
type bakeScene struct {
	game      *bake.Game
	sculpts   []*bake.Sculpt
	parts     []*Part   // by sculpt
	tangents  []float32 // MikkTSpace, where any were delivered; nil: game's own are these
	delivered bool      // some primitive brings TANGENT
	made      bool      // some sculpt has no normals of its own
	cage      string    // code of how the first part's rays start
	uv        []float32 // 2 a corner, before tiles are moved
	source    []sourceTriangle
}

// sourceTriangle says where a triangle of the scene comes from.
type sourceTriangle struct {
	r      mesh.Range // of set.Game
	number int        // within the draw
}

// newBakeScene gathers a set. Parts without a sculpt are left out of the bake.
func newBakeScene(s *Subject, set *Set) *bakeScene {
	b := &bakeScene{game: &bake.Game{}}
	byDraw := partsByDraw(s)
	number := map[*Part]int32{}
	uv := normalUV(set)
	for _, r := range set.Game.Of {
		p := byDraw[keyOf(r)]
		at, back, offsets, first := int32(-1), float32(0), []float32(nil), 0
		if p != nil && hasSculpt(p) && p.pair(s).DiagonalMM() > 0 {
			at, back, offsets, first = b.part(s, p, number, r)
		}
		b.addDraw(s, set, r, uv, at, back, offsets, first)
	}
	isl := findIslands(set.Game.Pos, uv, set.Game.Tri)
	b.game.Island = isl.Of
	b.uv = b.game.UV
	return b
}

// letGo drops what only a bake needs: trees over millions of triangles. What places are named by stays.
func (b *bakeScene) letGo() {
	large := false
	for _, s := range b.sculpts {
		large = large || s.Triangles() > 1<<20
	}
	b.sculpts, b.tangents, b.uv = nil, nil, nil
	if large { // left to itself the collector would let the heap double before it looked
		runtime.GC()
	}
}

// part readies a part's sculpt and cage.
func (b *bakeScene) part(s *Subject, p *Part, number map[*Part]int32, r mesh.Range) (at int32, back float32, offsets []float32, first int) {
	rule := s.Spec.Rule(reachDef.Name, &p.Def, nil)
	cage, how, _ := cageOf(s, p, rule)
	b.cage = orElse(b.cage, how)
	offsets, back = p.pair(s).CageOffsets(cage), float32(cage.BackMM/1000)
	for _, own := range p.Game.Of {
		if keyOf(own) == keyOf(r) {
			first = own.First
		}
	}
	at, known := number[p]
	if !known {
		at = int32(len(b.sculpts))
		number[p] = at
		sf := p.Sculpt
		if p.Floaters.Triangles() > 0 { // they hover over the surface to be baked onto it
			sf = joined([]mesh.Surface{p.Sculpt, p.Floaters})
		}
		one := bake.NewSculpt(sf.Pos, sf.Nrm, sf.Tri, s.Threads)
		b.sculpts, b.parts = append(b.sculpts, one), append(b.parts, p)
		b.made = b.made || one.MadeNormals()
	}
	return at, back, offsets, first
}

// addDraw adds a draw's triangles. offsets are its part's, from triangle first on.
func (b *bakeScene) addDraw(s *Subject, set *Set, r mesh.Range, uv []float32, part int32, back float32, offsets []float32, first int) {
	g, sf := b.game, &set.Game
	tri := make([]uint32, 0, 3*(r.End-r.First))
	for _, v := range sf.Tri[3*r.First : 3*r.End] {
		tri = append(tri, v-uint32(r.VFirst))
	}
	nrm := drawNormals(sf, r, tri)
	ours := tangent.Generate(sf.Pos[3*r.VFirst:3*r.VEnd], nrm.smooth, uv[2*r.VFirst:2*r.VEnd], tri)
	used := ours
	if theirs := deliveredTangents(s, r); theirs != nil {
		used = make([]float32, 0, len(ours))
		for _, v := range tri {
			used = append(used, theirs[4*v:4*v+4]...)
		}
		b.delivered = true
	}
	b.tangents = append(b.tangents, ours...)
	for c, v := range tri {
		at := int(v) + r.VFirst
		g.Pos = append(g.Pos, sf.Pos[3*at:3*at+3]...)
		g.Nrm = append(g.Nrm, nrm.at(c, v)...)
		g.UV = append(g.UV, uv[2*at:2*at+2]...)
		g.Tan = append(g.Tan, used[4*c:4*c+4]...)
		if part >= 0 {
			g.Reach = append(g.Reach, offsets[3*(3*first+c):3*(3*first+c)+3]...)
		} else {
			g.Reach = append(g.Reach, 0, 0, 0)
		}
	}
	for t := range len(tri) / 3 {
		g.Part, g.Back = append(g.Part, part), append(g.Back, back)
		b.source = append(b.source, sourceTriangle{r, t})
	}
}

// normals of a draw: by vertex as delivered, or by face where it brings none (glTF 2.0, section 3.7.2.1: flat).
type drawnNormals struct {
	smooth []float32 // by vertex
	flat   []float32 // by triangle; nil where delivered
}

func (n *drawnNormals) at(corner int, vertex uint32) []float32 {
	if n.flat != nil {
		return n.flat[corner/3*3 : corner/3*3+3]
	}
	return n.smooth[3*vertex : 3*vertex+3]
}

func drawNormals(sf *mesh.Surface, r mesh.Range, tri []uint32) drawnNormals {
	pos := sf.Pos[3*r.VFirst : 3*r.VEnd]
	if !r.NoNormals {
		return drawnNormals{smooth: sf.Nrm[3*r.VFirst : 3*r.VEnd]}
	}
	n := drawnNormals{smooth: bake.AveragedNormals(pos, tri), flat: make([]float32, len(tri))}
	for t := 0; t+2 < len(tri); t += 3 {
		a, b, c := point(pos, tri[t]), point(pos, tri[t+1]), point(pos, tri[t+2])
		f := cross(sub(b, a), sub(c, a))
		if l := math.Sqrt(lenSq(f)); l > 0 {
			for k := range f {
				n.flat[t+k] = float32(f[k] / l)
			}
		}
	}
	return n
}

// deliveredTangents are a draw's own TANGENT in world space, 4 a vertex; nil where it has none. Directions on the surface go
// by the node's matrix; where that mirrors, the bitangent as made from normal and tangent turns over.
func deliveredTangents(s *Subject, r mesh.Range) []float32 {
	prim := &r.Scene.Prims[r.Draw.Prim]
	if len(prim.Tan) != 4*(r.VEnd-r.VFirst) || prim.Nrm == nil {
		return nil
	}
	w := r.Scene.Nodes[r.Draw.Node].World
	x, y, z := [3]float64{w[0], w[1], w[2]}, [3]float64{w[4], w[5], w[6]}, [3]float64{w[8], w[9], w[10]}
	sign := float32(1)
	if dot(cross(x, y), z) < 0 {
		sign = -1
	}
	out := make([]float32, len(prim.Tan))
	for i := 0; i < len(out); i += 4 {
		var t [3]float64
		for k := range 3 {
			t[k] = float64(x[k]*float64(prim.Tan[i])) + float64(y[k]*float64(prim.Tan[i+1])) + float64(z[k]*float64(prim.Tan[i+2]))
		}
		if s.mended.factor != 0 {
			t = s.mended.turn.apply(t)
		}
		l := math.Sqrt(lenSq(t))
		for k := range 3 {
			if l > 0 {
				out[i+k] = float32(t[k] / l)
			}
		}
		out[i+3] = sign * prim.Tan[i+3]
	}
	return out
}

// normalUV returns the UVs of a set's surface as its normal texture reads them; where a material refers to none, as its
// reference texture does.
func normalUV(set *Set) []float32 {
	uv := append([]float32(nil), set.Game.UV...)
	for _, r := range set.Game.Of {
		p := &r.Scene.Prims[r.Draw.Prim]
		if p.Material < 0 {
			continue
		}
		ref, ok := textureOf(&r.Scene.Materials[p.Material], "normal")
		if !ok {
			if ref, ok = referenceTexture(&r.Scene.Materials[p.Material], set.Def); !ok {
				continue
			}
		}
		dst := uv[2*r.VFirst : 2*r.VEnd]
		if ref.UVSet > 0 && ref.UVSet < len(p.UV) && len(p.UV[ref.UVSet]) == len(dst) {
			copy(dst, p.UV[ref.UVSet])
		}
		if moves(ref) {
			transformUV(dst, append([]float32(nil), dst...), ref)
		}
	}
	return uv
}

// ofTile is the game mesh with a UDIM tile's texture laid over 0 to 1, and triangles of other tiles left out. Tiles count to
// the right from 1001 and by tens upward, where V falls.
func (b *bakeScene) ofTile(tile int) *bake.Game {
	if tile == 0 {
		return b.game
	}
	g := *b.game
	u, v := float32((tile-1001)%10), -float32((tile-1001)/10)
	g.UV = make([]float32, len(b.uv))
	g.Part = make([]int32, len(b.game.Part))
	for t := range g.Part {
		var mid [2]float32
		for c := 3 * t; c < 3*t+3; c++ {
			g.UV[2*c], g.UV[2*c+1] = b.uv[2*c]-u, b.uv[2*c+1]-v
			mid[0], mid[1] = mid[0]+g.UV[2*c]/3, mid[1]+g.UV[2*c+1]/3
		}
		if g.Part[t] = b.game.Part[t]; !(mid[0] >= 0 && mid[0] <= 1 && mid[1] >= 0 && mid[1] <= 1) {
			g.Part[t] = -1
		}
	}
	return &g
}
