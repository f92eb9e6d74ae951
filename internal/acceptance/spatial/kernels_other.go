//go:build !amd64

package spatial

func walkRay(w *rayWalk) bool   { return walkRayGo(w) }
func walkNear(w *nearWalk) bool { return walkNearGo(w) }

func spanOf(mid [][4]float32, keys []uint64) [8]float32 { return spanOfGo(mid, keys) }
func spanOfMiddles(items []item) [8]float32             { return spanOfMiddlesGo(items) }
func fillBins(b *bins, m *binning, items []item)        { fillBinsGo(b, m, items) }
func boundLeaf(l *leaf, it *item)                       { boundLeafGo(l, it) }
