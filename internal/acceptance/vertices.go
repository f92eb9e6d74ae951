package acceptance

import (
	"math/bits"

	"proofhouse/internal/acceptance/mesh"
)

// distinctVertices counts the vertices of a primitive that a triangle uses and that differ from each other in any
// attribute, compared to the bit with -0 as 0.
func distinctVertices(p *mesh.Primitive) int {
	vertices := len(p.Pos) / 3
	used := make([]bool, vertices)
	for _, v := range p.Tri {
		used[v] = true
	}
	attrs := attributesOf(p, vertices)
	table := make([]uint32, 1<<bits.Len(uint(vertices*2))) // vertex plus 1; 0 is free
	mask := uint64(len(table) - 1)
	n := 0
	for v := range vertices {
		if !used[v] {
			continue
		}
		h := hashVertex(attrs, v)
		for table[h&mask] != 0 && !sameVertex(attrs, v, int(table[h&mask]-1)) {
			h++
		}
		if table[h&mask] == 0 {
			table[h&mask] = uint32(v) + 1
			n++
		}
	}
	return n
}

// attribute is one array of a primitive and its floats a vertex.
type attribute struct {
	data  []float32
	width int
}

func attributesOf(p *mesh.Primitive, vertices int) []attribute {
	all := []attribute{{p.Pos, 3}, {p.Nrm, 3}, {p.Tan, 4}, {p.Col, 4}}
	for _, uv := range p.UV {
		all = append(all, attribute{uv, 2})
	}
	kept := all[:0]
	for _, a := range all {
		if len(a.data) >= vertices*a.width && len(a.data) > 0 {
			kept = append(kept, a)
		}
	}
	return kept
}

func hashVertex(attrs []attribute, v int) uint64 {
	const m = 0x9E3779B97F4A7C15 // as in vertexKey.hash
	h := uint64(m)
	for _, a := range attrs {
		for _, x := range a.data[v*a.width : (v+1)*a.width] {
			h = fold(h^uint64(keyBits(x)), m)
		}
	}
	return h
}

func sameVertex(attrs []attribute, v, w int) bool {
	for _, a := range attrs {
		x, y := a.data[v*a.width:(v+1)*a.width], a.data[w*a.width:(w+1)*a.width]
		for i := range x {
			if keyBits(x[i]) != keyBits(y[i]) {
				return false
			}
		}
	}
	return true
}
