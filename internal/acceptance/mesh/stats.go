package mesh

import (
	"encoding/binary"
	"fmt"
	"math"
)

// stats is what one pass over an accessor's raw components finds.
type stats struct {
	min, max []float64 // by component, of finite values; integers are not normalized
	bad      int64     // first component that is NaN or infinite, or -1
	badCount int64
}

// statsOf measures an accessor's components; nil where it must not be read.
func (d *document) statsOf(i int) *stats {
	b := d.tight(i)
	if b == nil {
		return nil
	}
	a := &d.accs[i]
	if a.stats != nil {
		return a.stats
	}
	switch {
	case a.comp == compFloat:
		a.stats = floatStats(asFloats(b), a.width)
	case a.comp == compUInt && a.width == 1:
		v := asUints(b)
		part := make([][2]uint32, maxThreads)
		n := chunks(int64(len(v)), 1, func(p int, from, to int64) { part[p] = uintRange(v[from:to]) })
		lo, hi := part[0][0], part[0][1]
		for _, r := range part[1:n] {
			lo, hi = min(lo, r[0]), max(hi, r[1])
		}
		a.stats = &stats{min: []float64{float64(lo)}, max: []float64{float64(hi)}, bad: -1}
	default:
		a.stats = intStats(b, a)
	}
	return a.stats
}

func uintRange(v []uint32) [2]uint32 {
	lo, hi := uint32(math.MaxUint32), uint32(0)
	for _, x := range v {
		lo, hi = min(lo, x), max(hi, x)
	}
	return [2]uint32{lo, hi}
}

// intStats reads components of any integer type; matrices lie in padded columns.
func intStats(b []byte, a *accessor) *stats {
	s := newStats(a.width)
	unit := compSize[a.comp]
	for e := int64(0); e < a.count; e++ {
		for c := range a.width {
			at := e*a.size + int64(c)*unit
			if a.matrix() {
				side := int64(a.typ[3] - '0')
				at = e*a.size + int64(c)/side*(a.size/side) + int64(c)%side*unit
			}
			var x float64
			switch a.comp {
			case compByte:
				x = float64(int8(b[at]))
			case compUByte:
				x = float64(b[at])
			case compShort:
				x = float64(int16(binary.LittleEndian.Uint16(b[at:])))
			case compUShort:
				x = float64(binary.LittleEndian.Uint16(b[at:]))
			default:
				x = float64(binary.LittleEndian.Uint32(b[at:]))
			}
			s.min[c], s.max[c] = min(s.min[c], x), max(s.max[c], x)
		}
	}
	return s
}

func newStats(width int) *stats {
	s := &stats{min: make([]float64, width), max: make([]float64, width), bad: -1}
	for c := range width {
		s.min[c], s.max[c] = math.Inf(1), math.Inf(-1)
	}
	return s
}

func floatStats(v []float32, width int) *stats {
	parts := make([]*stats, maxThreads)
	n := chunks(int64(len(v)), int64(width), func(p int, from, to int64) {
		parts[p] = floatRange(v[from:to], width)
		if parts[p].bad >= 0 {
			parts[p].bad += from
		}
	})
	s := parts[0]
	for _, q := range parts[1:n] {
		for c := range width {
			s.min[c], s.max[c] = min(s.min[c], q.min[c]), max(s.max[c], q.max[c])
		}
		if s.bad < 0 {
			s.bad = q.bad
		}
		s.badCount += q.badCount
	}
	return s
}

// floatRange finds bounds and values that are not finite. The common widths have loops of their own: they run over
// every vertex of a sculpt.
func floatRange(v []float32, width int) *stats {
	s := newStats(width)
	switch width {
	case 3:
		floatRange3(v, s)
	default:
		for i, x := range v {
			s.see(i, i%width, x)
		}
	}
	return s
}

func (s *stats) see(i, c int, x float32) {
	if !finite(x) {
		if s.bad < 0 {
			s.bad = int64(i)
		}
		s.badCount++
		return
	}
	if f := float64(x); f < s.min[c] || f > s.max[c] {
		s.min[c], s.max[c] = min(s.min[c], f), max(s.max[c], f)
	}
}

func floatRange3(v []float32, s *stats) {
	inf := float32(math.Inf(1))
	lo := [3]float32{inf, inf, inf}
	hi := [3]float32{-inf, -inf, -inf}
	sum := float32(0) // of v - v: stays 0 unless a value is not finite
	for i := 0; i+2 < len(v); i += 3 {
		x, y, z := v[i], v[i+1], v[i+2]
		sum += (x - x) + (y - y) + (z - z)
		if x < lo[0] {
			lo[0] = x
		}
		if x > hi[0] {
			hi[0] = x
		}
		if y < lo[1] {
			lo[1] = y
		}
		if y > hi[1] {
			hi[1] = y
		}
		if z < lo[2] {
			lo[2] = z
		}
		if z > hi[2] {
			hi[2] = z
		}
	}
	if sum != 0 { // NaN
		for i, x := range v {
			s.see(i, i%3, x)
		}
		return
	}
	for c := range 3 {
		s.min[c], s.max[c] = float64(lo[c]), float64(hi[c])
	}
}

func finite(x float32) bool { return math.Float32bits(x)&0x7f800000 != 0x7f800000 }

// checkStats compares every accessor with the bounds that it declares, and looks for NaN and infinity
// (glTF 2.0, section 3.6.2.5 "Accessors Bounds" and 3.6.2.2).
func (d *document) checkStats() {
	for i := range d.accs {
		a := &d.accs[i]
		if !d.filled(a) {
			continue // zeros that an extension is to fill in
		}
		s := d.statsOf(i)
		if s == nil {
			continue
		}
		ptr := pointer("accessors", i)
		if s.bad >= 0 {
			d.is.error("data.not_finite", ptr, d.dataOffset(a, s.bad), fmt.Sprintf(
				"%d values are NaN or infinite, the first in element %d; clean the mesh and export again.", s.badCount, s.bad/int64(a.width)))
		}
		d.checkBound(a, "min", s.min, ptr)
		d.checkBound(a, "max", s.max, ptr)
	}
}

func (d *document) checkBound(a *accessor, key string, actual []float64, ptr string) {
	declared := make([]float64, a.width)
	if !d.vec(a.at, key, declared) {
		return
	}
	for c, want := range declared {
		if a.comp == compFloat {
			want = float64(float32(want))
		}
		if math.IsInf(actual[c], 0) || want == actual[c] {
			continue
		}
		word := map[string]string{"min": "smallest", "max": "largest"}[key]
		d.is.error("data.bounds_"+key, ptr+"/"+key, d.t.offset(d.val(a.at, key)), fmt.Sprintf(
			"Component %d declares %s %g and the %s value is %g; export again without editing the file by hand.", c, key, want, word, actual[c]))
	}
}

// dataOffset returns the byte offset in the file of an accessor's component, or -1 where it lies elsewhere.
func (d *document) dataOffset(a *accessor, component int64) int64 {
	if a.view < 0 || a.sparse != nil {
		return -1
	}
	w := d.views[a.view]
	b := d.buffers[w.buffer]
	if b.at < 0 || b.path != d.s.Path {
		return -1
	}
	return b.at + w.offset + a.offset + component/int64(a.width)*a.stride + component%int64(a.width)*compSize[a.comp]
}
