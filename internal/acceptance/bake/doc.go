// Package bake projects a sculpt onto a game mesh, texel by texel, and says how a delivered normal map differs from what
// the sculpt gives.
//
// It takes flat arrays in metres in one world space (glTF's axes) and images as they were decoded. It knows no spec, no
// file and no limit, and changes nothing that it is given.
//
// A texel belongs to the triangles of the game mesh that its middle lies in; UV (0,0) is the upper left corner of the
// image, and triangles are folded into the image by whole tiles. Where copies of a surface lie on each other in the
// texture, the first one whose ray is served stands for the texel: bakers take one. Rays start on the cage and run
// inward, past the game surface as far as the back reach; what they meet first counts, unless it is the sculpt's inner
// side.
//
// Tangent space is MikkTSpace as its author's shader reads it: the normal n and tangent t are interpolated and not
// normalized, the bitangent is w · cross(n, t), and a texel (x, y, z) stands for the direction x·t + y·b + z·n. Baking
// is the exact inverse (Mikkelsen 2008, section 3.2). Green is up, as in glTF 2.0, section 3.9.3.
//
// Results have the same bits on any number of threads: work is cut into strips of rows and joined in order.
package bake
