package spatial

// The plain twins of the assembly that bounds boxes and points.

// spanOfGo is the box of the points that keys' lower halves pick: lower bounds, then upper ones negated, in fours.
func spanOfGo(mid [][4]float32, keys []uint64) [8]float32 {
	s := emptySpan
	for _, k := range keys {
		m := &mid[uint32(k)]
		for i := range 3 {
			s[i], s[4+i] = less(m[i], s[i]), less(-m[i], s[4+i])
		}
	}
	return s
}

// spanOfMiddlesGo is the box of twice the middles of items.
func spanOfMiddlesGo(items []item) [8]float32 {
	s := emptySpan
	for i := range items {
		it := &items[i]
		for k := range 3 {
			m := it.lo[k] - it.neg[k]
			s[k], s[4+k] = less(m, s[k]), less(-m, s[4+k])
		}
	}
	return s
}

// fillBinsGo adds items to bins.
func fillBinsGo(b *bins, m *binning, items []item) {
	for i := range items {
		it := &items[i]
		for k := range 3 {
			j := m.bin(it, k) & (maxBins - 1)
			b.count[k][j]++
			d := &b.span[k][j]
			for i := range 3 {
				d[i], d[4+i] = less(it.lo[i], d[i]), less(it.neg[i], d[4+i])
			}
		}
	}
}

// boundLeafGo sets an item's bounds to those of a leaf's triangles.
func boundLeafGo(l *leaf, it *item) {
	for k := range 3 {
		lo, hi := inf32, -inf32
		for lane := range lanes {
			for c := k; c < 9; c += 3 {
				lo, hi = less(l.v[c][lane], lo), more(l.v[c][lane], hi)
			}
		}
		it.lo[k], it.neg[k] = lo, -hi
	}
}
