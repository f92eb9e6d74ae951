package texels

// Near is, for the texels outside a mask that lie within reach of it, the nearest texel that is in.
type Near struct {
	Reach int     // texels
	DX    []int8  // to the nearest texel that is in; 0,0 for those in the mask and those out of reach
	DY    []int8  //
	SqOf  []int16 // squared distance; 0 in the mask, Far out of reach
}

// Far marks a texel out of reach.
const Far = 1<<15 - 1

// MaxReach is the largest reach that squared distances leave room for.
const MaxReach = 120

// NearestIn finds the nearest texel in the mask for every texel within reach (at most MaxReach), exactly. Maps are not
// wrapped around. First the distance along each column, row by row downward and upward; then along each row, outward
// until no column can be nearer. Time is linear in texels, and near islands in texels times reach; 4 bytes a texel.
func NearestIn(m *Mask, reach, threads int) *Near {
	reach = min(max(reach, 1), MaxReach)
	n := &Near{Reach: reach, DX: make([]int8, len(m.In)), DY: make([]int8, len(m.In)), SqOf: make([]int16, len(m.In))}
	n.columns(m, threads)
	strips(m.H, threads, func(from, to int) {
		for y := from; y < to; y++ {
			n.row(m, y)
		}
	})
	return n
}

// none is a column distance out of reach.
const none = 127

// columns writes into DY the way to the nearest texel in along the column, none where it is out of reach.
func (n *Near) columns(m *Mask, threads int) {
	strips(m.W, threads, func(from, to int) {
		for y := range m.H {
			row := y * m.W
			for x := from; x < to; x++ {
				switch {
				case m.In[row+x] != 0:
					n.DY[row+x] = 0
				case y > 0 && n.DY[row-m.W+x] != none && int(n.DY[row-m.W+x]) > -n.Reach:
					n.DY[row+x] = n.DY[row-m.W+x] - 1
				default:
					n.DY[row+x] = none
				}
			}
		}
		for y := m.H - 2; y >= 0; y-- {
			row := y * m.W
			for x := from; x < to; x++ {
				up, down := n.DY[row+x], n.DY[row+m.W+x]
				if m.In[row+x] != 0 || down == none || down < 0 || int(down) >= n.Reach {
					continue
				}
				if up == none || down+1 < -up {
					n.DY[row+x] = down + 1
				}
			}
		}
	})
}

// row finishes one row from its columns' distances.
func (n *Near) row(m *Mask, y int) {
	at := y * m.W
	in, dy := m.In[at:at+m.W], n.DY[at:at+m.W]
	reachSq := n.Reach * n.Reach
	var vertical [1 << 14]int8 // what rows of up to 16384 texels begin with, since DY is overwritten
	col := vertical[:0]
	col = append(col, dy...)
	for x := range in {
		if in[x] != 0 {
			n.SqOf[at+x] = 0
			continue
		}
		best, bx, by := reachSq+1, 0, 0
		if col[x] != none {
			best, by = int(col[x])*int(col[x]), int(col[x])
		}
		for k := 1; k*k < best && k <= n.Reach; k++ {
			if x >= k && col[x-k] != none {
				if d := k*k + int(col[x-k])*int(col[x-k]); d < best {
					best, bx, by = d, -k, int(col[x-k])
				}
			}
			if x+k < m.W && col[x+k] != none {
				if d := k*k + int(col[x+k])*int(col[x+k]); d < best {
					best, bx, by = d, k, int(col[x+k])
				}
			}
		}
		if best > reachSq {
			n.SqOf[at+x], n.DX[at+x], n.DY[at+x] = Far, 0, 0
			continue
		}
		n.SqOf[at+x], n.DX[at+x], n.DY[at+x] = int16(best), int8(bx), int8(by)
	}
}
