// Package topo tells how the triangles of a surface hang together: which edges are open, where more than two faces
// meet, which shells there are, which triangles run through each other, and how well triangles are shaped.
//
// It takes flat arrays in world space (metres, counter-clockwise seen from outside) and answers with indices into
// them. It knows no spec, no limit and no file, keeps no map in an inner loop, and its answers are the same to the byte
// whatever the number of threads. Memory is linear in triangles and vertices; the bytes stand at each kernel.
//
// A place is where vertices lie together exactly; which vertices those are is the caller's word (Input.Place) or the
// equality of their coordinates. A half-edge h runs from corner h to the next corner of triangle h/3.
//
// Products that are added to something are converted explicitly, so that no compiler fuses them.
package topo
