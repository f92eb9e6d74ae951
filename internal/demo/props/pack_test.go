package props

import (
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Boxes that fit lie in the square, as large as they were and clear of each other.
func TestPackedBoxesAreClearOfEachOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		boxes := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) [2]float64 {
			return [2]float64{float64(rapid.IntRange(1, 400).Draw(t, "w")), float64(rapid.IntRange(1, 400).Draw(t, "h"))}
		}), 1, 30).Draw(t, "boxes")
		order := make([]int, len(boxes))
		for i := range order {
			order[i] = i
		}
		sort.SliceStable(order, func(a, b int) bool {
			return boxes[order[a]][0]*boxes[order[a]][1] > boxes[order[b]][0]*boxes[order[b]][1]
		})
		at, ok := pack(boxes, order, 1024)
		if !ok {
			return
		}
		var put []rect
		for i, b := range boxes {
			if at[i].turned {
				b[0], b[1] = b[1], b[0]
			}
			r := rect{at[i].x, at[i].y, b[0], b[1]}
			require.True(t, rect{0, 0, 1024, 1024}.holds(r))
			for _, o := range put {
				require.True(t, r.x >= o.x+o.w || o.x >= r.x+r.w || r.y >= o.y+o.h || o.y >= r.y+r.h, "%v over %v", r, o)
			}
			put = append(put, r)
		}
	})
}

// A square is filled whole where it can be, and a box too many is refused.
func TestPackFillsTheSquare(t *testing.T) {
	t.Parallel()
	boxes := [][2]float64{{10, 5}, {5, 10}, {5, 5}, {5, 5}}
	at, ok := pack(boxes[:2], []int{0, 1}, 10)
	require.True(t, ok)
	require.True(t, at[1].turned, "the second half of the square lies across")
	_, ok = pack(boxes[:3], []int{0, 1, 2}, 10)
	require.False(t, ok)
}
