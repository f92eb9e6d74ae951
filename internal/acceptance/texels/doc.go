// Package texels measures maps: which texels a layout covers, how far colour is carried past islands, whether normals are
// unit vectors, which values lie outside a range, what mip levels leave of a cut-out.
//
// Arrays in, numbers out. It knows no spec, no file and no limit. UV (0,0) is the upper left corner of a map (glTF 2.0,
// 3.8.3), a texel is covered where its middle lies in a triangle, and texels are counted at the map's own size. Sums are
// whole numbers or run in the order of rows, so results do not depend on the number of threads.
package texels
