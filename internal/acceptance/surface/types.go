package surface

// Patch is one connected piece of sculpt that stands outside the game surface.
type Patch struct {
	Number       int        // from 1, the tallest first
	HeightMM     float64    // of its highest point
	AreaMM2      float64    // sculpt area above the level at which patches are cut
	LeftMM2      float64    // of AreaMM2, left (+X) of the mirror plane
	RightMM2     float64    // the rest
	LeftHeight   float64    // mm, highest point left of the mirror plane; 0 for none
	RightHeight  float64    // mm
	PeakMM       [3]float64 // the highest point, world
	CentreMM     [3]float64 // area-weighted, world
	RadiusMM     float64    // a ball about CentreMM holds the patch
	Normal       [3]float64 // of the game surface below the peak, unit
	Triangle     int        // of the sculpt, at the peak
	GameTriangle int        // below the middle
}

// Heat is the game surface cut into small triangles, with the distance to the sculpt at every vertex.
type Heat struct {
	Pos      []float32 // 3 a vertex, metres, world
	Tri      []uint32  // 3 a triangle
	Face     []uint32  // the game triangle that each triangle is a piece of
	HeightMM []float32 // a vertex: above zero the sculpt stands proud of the game surface here, below zero it lies under it; NaN where there is no sculpt

	skinFace []uint32 // by triangle: of the skin
	base     []int32  // by vertex: nearest sculpt triangle
}

// Loop is a closed outline in a view's plane: the last point joins the first. Millimetres, x to the right, y up.
type Loop [][2]float64

// View is one direction from which the outlines of game surface and sculpt were compared, without perspective.
type View struct {
	Number   int        // of all views, from 0
	Toward   [3]float64 // unit, from the prop to the camera
	Right    [3]float64 // unit
	Up       [3]float64 // unit
	CentreMM [3]float64 // world point in the middle of the picture: (0, 0) of the view's plane
	HalfMM   float64    // both outlines lie within this distance of the middle, in x and in y

	Game, Sculpt []Loop // kept for the worst views only

	MeanOffsetMM float64    // area between the outlines over the mean of their lengths
	MaxOffsetMM  float64    // largest distance at which one outline stands outside the other
	RunOffsetMM  float64    // the same, kept up along the run's length
	AreaShare    float64    // area between the outlines over the sculpt's
	WorstFromMM  [2]float64 // where the largest offset is, on the outline that stands out
	WorstToMM    [2]float64 // the nearest point of the other outline
	SculptOut    bool       // there the sculpt stands out; else the game surface does
}

// World is the point of the view's plane through CentreMM that lies at q: world, millimetres.
func (v *View) World(q [2]float64) [3]float64 {
	return along(along(v.CentreMM, q[0], v.Right), q[1], v.Up)
}
