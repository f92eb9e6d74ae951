package acceptance

import (
	"math"
	"math/bits"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/mesh/glbwrite"
)

// standInTriangles is about how many triangles the viewer's sculpt has at most: a laptop's graphics draws half a million at
// 60 frames a second (common practice, no source), and the file should come in a second or two.
const standInTriangles = 150_000

// standIn is a surface for a viewer: its own triangles, or where they are too many, those between the means of vertices
// that share a cell of a grid (vertex clustering: Rossignac and Borrel 1993, "Multi-resolution 3D approximations for
// rendering complex scenes"). Triangles that fall into fewer than three cells are gone; vertices that are not finite,
// and what uses them, too. Time and memory are linear: 4 bytes a vertex of the surface beside what comes out.
func standIn(sf *mesh.Surface) glbwrite.Prim {
	if sf.Triangles() <= standInTriangles {
		return glbwrite.Prim{Pos: sf.Pos, Tri: sf.Tri}
	}
	lo, cell, ok := standInGrid(sf)
	if !ok {
		return glbwrite.Prim{}
	}
	of, out := clusterVertices(sf.Pos, lo, cell)
	last := [3]uint32{none, none, none}
	for t := 0; t < len(sf.Tri); t += 3 {
		a, b, c := of[sf.Tri[t]], of[sf.Tri[t+1]], of[sf.Tri[t+2]]
		if a == none || b == none || c == none || a == b || b == c || c == a || last == [3]uint32{a, b, c} {
			continue
		}
		last = [3]uint32{a, b, c}
		out.Tri = append(out.Tri, a, b, c)
	}
	return out
}

// none is the cell of a vertex that has none.
const none = math.MaxUint32

// standInGrid chooses the cell: a surface of area A meets about 1.5·A/edge² cells of a grid (a random plane cuts the unit
// grid in 1.5 cells an area of one), and a closed mesh has two triangles a vertex. The area is told from every so many
// triangles: a cell that is a few in a hundred off is as good.
func standInGrid(sf *mesh.Surface) (lo [3]float64, cell float64, ok bool) {
	for k := range lo {
		lo[k] = math.Inf(1)
	}
	for i := 0; i+2 < len(sf.Pos); i += 3 {
		for k := range lo {
			if v := float64(sf.Pos[i+k]); v < lo[k] && finite(v) {
				lo[k] = v
			}
		}
	}
	every := 1 + sf.Triangles()/standInTriangles
	area := 0.0
	for t := 0; t < len(sf.Tri); t += 3 * every {
		a, b, c := point(sf.Pos, sf.Tri[t]), point(sf.Pos, sf.Tri[t+1]), point(sf.Pos, sf.Tri[t+2])
		if twice := math.Sqrt(lenSq(cross(sub(b, a), sub(c, a)))); finite(twice) {
			area += float64(twice / 2 * float64(every))
		}
	}
	cell = math.Sqrt(float64(3*area) / standInTriangles)
	return lo, cell, cell > 0 && finite(cell)
}

// clusterVertices numbers the cells in the order of their first vertex and returns the cell of each vertex and the mean
// of each cell's vertices.
func clusterVertices(pos []float32, lo [3]float64, cell float64) (of []uint32, out glbwrite.Prim) {
	n := len(pos) / 3
	of = make([]uint32, n)
	size := 1 << bits.Len(uint(2*standInTriangles))
	keys, at := make([]uint64, size), make([]uint32, size) // at holds the cell's number plus 1; 0 is free
	var sum [][4]float64
	last, lastAt := uint64(math.MaxUint64), uint32(0) // neighbours in the file are mostly neighbours in space
	for v := range n {
		key, ok := cellKey(pos[3*v:3*v+3], lo, cell)
		if !ok {
			of[v] = none
			continue
		}
		if key != last {
			if 2*len(sum) >= len(keys) {
				keys, at = grown(keys, at)
			}
			i := slotOf(keys, at, key)
			if at[i] == 0 {
				sum = append(sum, [4]float64{})
				keys[i], at[i] = key, uint32(len(sum))
			}
			last, lastAt = key, at[i]-1
		}
		of[v] = lastAt
		s := &sum[lastAt]
		for k := range 3 {
			s[k] += float64(pos[3*v+k])
		}
		s[3]++
	}
	out.Pos = make([]float32, 0, 3*len(sum))
	for _, s := range sum {
		out.Pos = append(out.Pos, float32(s[0]/s[3]), float32(s[1]/s[3]), float32(s[2]/s[3]))
	}
	return of, out
}

// cellKey packs a cell's three numbers, 21 bits each; ok is false where one does not fit, which is also where the position
// is not finite.
func cellKey(p []float32, lo [3]float64, cell float64) (key uint64, ok bool) {
	for k := range 3 {
		c := math.Floor((float64(p[k]) - lo[k]) / cell)
		if !(c >= 0 && c < 1<<21) {
			return 0, false
		}
		key = key<<21 | uint64(c) // 63 bits: none is the mark of no last key
	}
	return key, true
}

// slotOf finds the slot of a key by linear probing; the table is never full.
func slotOf(keys []uint64, at []uint32, key uint64) int {
	i := int((key * 0x9e3779b97f4a7c15) >> 32 & uint64(len(keys)-1))
	for at[i] != 0 && keys[i] != key {
		i = (i + 1) & (len(keys) - 1)
	}
	return i
}

func grown(keys []uint64, at []uint32) ([]uint64, []uint32) {
	k, a := make([]uint64, 2*len(keys)), make([]uint32, 2*len(at))
	for i, n := range at {
		if n != 0 {
			to := slotOf(k, a, keys[i])
			k[to], a[to] = keys[i], n
		}
	}
	return k, a
}
