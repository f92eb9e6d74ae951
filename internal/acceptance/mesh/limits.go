package mesh

// withDefaults fills zero fields. The numbers leave room for a sculpt of 40 million triangles and an 8192² map, and
// keep what one hostile file can make us allocate below that. Free choice; a caller with less memory sets less.
func (l Limits) withDefaults() Limits {
	def := func(v *int64, d int64) {
		if *v <= 0 {
			*v = d
		}
	}
	defInt := func(v *int, d int) {
		if *v <= 0 {
			*v = d
		}
	}
	def(&l.FileBytes, 8<<30)
	def(&l.JSONBytes, 256<<20) // a .gltf may hold its buffers as data URIs
	defInt(&l.Nodes, 200_000)
	defInt(&l.Depth, 1024)
	def(&l.Vertices, 120_000_000)
	def(&l.Triangles, 120_000_000)
	defInt(&l.ImageEdge, 16384)
	def(&l.ImagePixel, 8192*8192)
	return l
}
