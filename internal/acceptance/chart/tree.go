package chart

import (
	"math"
	"slices"
)

// tree is a hierarchy of boxes over items in the plane: items sorted along the Morton curve, leaves of leafItems, and above
// them a complete binary tree in an array (children of node i at 2i and 2i+1, the root at 1). It is built in linear
// time but for the sort, needs no pointers, and is the same for the same boxes in whatever order they come, ties kept
// in the caller's order. A query costs about the logarithm of the number of items plus what it finds.
//
// G. M. Morton, "A Computer Oriented Geodetic Data Base and a New Technique in File Sequencing", IBM, 1966.
type tree struct {
	order  []int32 // items along the curve
	boxes  []Box   // of items, in that order
	nodes  []Box
	leaves int // a power of two; leaf l is node leaves+l and holds items [l·leafItems, (l+1)·leafItems)
}

const leafItems = 4

// newTree builds a tree over boxes, none of which may hold anything that is not finite.
func newTree(boxes []Box) *tree {
	t := &tree{order: mortonOrder(boxes), boxes: make([]Box, len(boxes))}
	for k, i := range t.order {
		t.boxes[k] = boxes[i]
	}
	t.leaves = 1
	for t.leaves*leafItems < len(boxes) {
		t.leaves *= 2
	}
	t.nodes = make([]Box, 2*t.leaves)
	for i := range t.nodes {
		t.nodes[i] = Nothing
	}
	for k, b := range t.boxes {
		i := t.leaves + k/leafItems
		t.nodes[i] = t.nodes[i].Join(b)
	}
	for i := t.leaves - 1; i > 0; i-- {
		t.nodes[i] = t.nodes[2*i].Join(t.nodes[2*i+1])
	}
	return t
}

// leaf returns the items of a node that is a leaf as places in order; ok is false for an inner node.
func (t *tree) leaf(node int) (from, to int, ok bool) {
	if node < t.leaves {
		return 0, 0, false
	}
	from = (node - t.leaves) * leafItems
	return from, min(from+leafItems, len(t.order)), true
}

// first is the place in order of the first item below a node.
func (t *tree) first(node int) int {
	for node < t.leaves {
		node *= 2
	}
	return (node - t.leaves) * leafItems
}

// mortonOrder sorts items by the middles of their boxes along the Morton curve, 16 bits an axis.
func mortonOrder(boxes []Box) []int32 {
	all := Nothing
	for _, b := range boxes {
		all = all.Join(b)
	}
	scale := func(k int) float64 {
		if d := all[k+2] - all[k]; d > 0 && finite(d) {
			return 65535 / d
		}
		return 0
	}
	sx, sy := scale(0), scale(1)
	type keyed struct {
		key  uint32
		item int32
	}
	keys := make([]keyed, len(boxes))
	for i, b := range boxes {
		x := grid16((float64(b[0]/2) + float64(b[2]/2) - all[0]) * sx)
		y := grid16((float64(b[1]/2) + float64(b[3]/2) - all[1]) * sy)
		keys[i] = keyed{spread(x) | spread(y)<<1, int32(i)}
	}
	slices.SortFunc(keys, func(a, b keyed) int {
		if a.key != b.key {
			if a.key < b.key {
				return -1
			}
			return 1
		}
		return int(a.item - b.item)
	})
	out := make([]int32, len(keys))
	for k := range keys {
		out[k] = keys[k].item
	}
	return out
}

func grid16(v float64) uint32 { return uint32(math.Max(0, math.Min(v, 65535))) }

// spread puts a zero between the bits of a 16-bit number.
func spread(v uint32) uint32 {
	v = (v | v<<8) & 0x00FF00FF
	v = (v | v<<4) & 0x0F0F0F0F
	v = (v | v<<2) & 0x33333333
	return (v | v<<1) & 0x55555555
}
