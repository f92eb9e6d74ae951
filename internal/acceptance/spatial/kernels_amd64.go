package spatial

import "golang.org/x/sys/cpu"

// wideLanes tells whether the processor has eight float32 lanes and the bit instructions that the kernels use. Tests turn
// it off to hold the kernels against their twins.
var wideLanes = cpu.X86.HasAVX2 && cpu.X86.HasBMI1

// walkNear is walkNearGo: eight boxes at once where the processor can.
func walkNear(w *nearWalk) bool {
	if wideLanes {
		return walkNearAVX2(w)
	}
	return walkNearGo(w)
}

// walkRay walks to the end (false) or until a leaf must be tested with care (true).
func walkRay(w *rayWalk) bool {
	if wideLanes {
		return walkRayAVX2(w)
	}
	return walkRayGo(w)
}

//go:noescape
func walkNearAVX2(w *nearWalk) bool

//go:noescape
func walkRayAVX2(w *rayWalk) bool

func spanOf(mid [][4]float32, keys []uint64) (s [8]float32) {
	if !wideLanes {
		return spanOfGo(mid, keys)
	}
	spanOfAVX2(&mid[0], &keys[0], len(keys), &s)
	return s
}

func spanOfMiddles(items []item) (s [8]float32) {
	if !wideLanes {
		return spanOfMiddlesGo(items)
	}
	spanOfMiddlesAVX2(&items[0], len(items), &s)
	return s
}

func fillBins(b *bins, m *binning, items []item) {
	if !wideLanes {
		fillBinsGo(b, m, items)
		return
	}
	fillBinsAVX2(b, m, &items[0], len(items))
}

func boundLeaf(l *leaf, it *item) {
	if !wideLanes {
		boundLeafGo(l, it)
		return
	}
	boundLeafAVX2(l, it)
}

//go:noescape
func spanOfAVX2(mid *[4]float32, keys *uint64, n int, s *[8]float32)

//go:noescape
func spanOfMiddlesAVX2(items *item, n int, s *[8]float32)

//go:noescape
func fillBinsAVX2(b *bins, m *binning, items *item, n int)

//go:noescape
func boundLeafAVX2(l *leaf, it *item)
