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
