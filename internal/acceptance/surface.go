package acceptance

// surfaceMeasure is what the surface checks of one part share.
type surfaceMeasure struct{}

func surfaceChecks() []Check { return nil }
