// Package image decodes the maps of a delivery into flat arrays of pixels.
//
// Rows run from top to bottom and pixels from left to right, as glTF's texture coordinates do (0,0 is the upper left
// corner); channels are interleaved and hold what the file holds: no colour management, no premultiplication, no
// orientation tags. A map's depth is kept: 8 bits a channel in Pix8, 16 in Pix16.
//
//	img, err := image.Decode("crate_normal.png", data, image.Limits{}, threads)
//	r := img.Value(x, y, 0) // 0 to 1
//
// Read are PNG (all colour types and depths), JPEG, TIFF (8 and 16 bits), TGA and KTX2 with uncompressed texels or BC1,
// BC3, BC4 and BC5 blocks. Formats that are known and not decoded (WebP, EXR, KTX2 with Basis Universal or other blocks)
// give an error that wraps ErrNotRead and names what was found.
//
// Files are a stranger's. Size and depth are read from the header and held against Limits before anything of the
// image's size is allocated, and a file too short to hold what its header claims is refused before that, too. A
// decoder's panic comes back as an error. The result does not depend on the number of threads.
package image
