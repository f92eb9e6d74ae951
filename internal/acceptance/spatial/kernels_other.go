//go:build !amd64

package spatial

func walkRay(w *rayWalk) bool   { return walkRayGo(w) }
func walkNear(w *nearWalk) bool { return walkNearGo(w) }
