// Package raster draws triangles, lines and words into pictures, the same picture to the byte on every machine.
//
// It knows nothing of checks or deliveries, reads no clock and no files, and never draws at random.
//
// Conventions, each held by a two-triangle test:
//
//   - Pictures have x to the right and y down; pixel (0,0) is the upper left one and its centre is (0.5, 0.5).
//   - The world is glTF's: metres, right-handed, +Y up. A camera has right, up and back vectors; it looks along -back.
//   - Projected points are rounded to 1/256 pixel (24.8 fixed point), to nearest, halves up. Whether a sample lies in
//     a triangle is then decided by exact integers: no gaps and no doubled samples along shared edges.
//   - Fill rule: a sample exactly on an edge belongs to the triangle of which it is a top or a left edge.
//   - A face is a front face when its vertices run counter-clockwise on the screen.
//   - A sample holds how near the surface is: bigger is nearer. It is 1/distance in perspective and -distance in
//     orthographic views, both of them linear across the screen. At equal nearness the lower triangle number wins, so the
//     winner is a maximum over all triangles, and the picture cannot depend on their order or on the number of threads.
//   - A triangle with a vertex that is not finite, behind the near plane or farther than [guardPx] pixels from the
//     picture's corner is left out and counted: cameras stand outside what they look at.
//
// Colours are computed in linear light and stored as sRGB (IEC 61966-2-1). Floating-point products that are added to
// something are converted explicitly, so that no compiler fuses them (the Go specification, Floating-point operators).
package raster
