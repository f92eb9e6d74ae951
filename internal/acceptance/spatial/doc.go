// Package spatial answers questions about triangle surfaces: what a ray meets first, whether it meets anything,
// which point of a surface is closest, on which side of it a point lies.
//
// Positions are flat float32 arrays in metres, three a vertex; triangles are three indices each. Answers do not
// depend on the number of threads, nor on the processor.
package spatial
