// Package spatial answers questions about triangle surfaces: what a ray meets first, everything it meets, whether it
// meets anything; which point of a surface is closest, on which side of it a point lies; which parts of one surface lie
// farther than a limit from another, and how far the farthest does; which triangles come near each other.
//
// Positions are flat float32 arrays in metres, three a vertex; triangles are three indices each, counter-clockwise seen
// from outside. A Tree keeps both arrays and must see no change of them.
//
// Answers are exact functions of the surface and the query: ties go to the lowest triangle index, no way through the tree
// can change them, and they have the same bits on any number of threads and on any processor. Assembly, where there is
// any, only decides sooner what the plain Go beside it decides.
package spatial
