// Package surface compares the game surface of one part with its sculpt: how far apart they are, where the sculpt
// stands outside, what projection rays meet, and how the outlines differ.
//
// It takes two triangle surfaces in the same world space (metres, glTF's axes: +Y up, the front looks along +Z, +X is
// the left side; counter-clockwise seen from outside) and answers in millimetres. It knows no spec, no limit and no
// file, and never changes the surfaces it is given.
//
// Heights are signed distances of sculpt points to the game surface: above zero is outside. The sign is that of the
// angle-weighted pseudo-normal at the nearest point (Baerentzen and Aanaes, Signed Distance Computation Using the Angle
// Weighted Pseudonormal, IEEE TVCG 11(3), 2005). Where that point lies on a border of the game surface there is no
// inside, and the sign is unknown.
//
// Every result is the same to the byte whatever the number of threads: work is cut into pieces of fixed size and
// the pieces' results are joined in order. Products that are added to something are converted explicitly, so that no
// compiler fuses them.
package surface
