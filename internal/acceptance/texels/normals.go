package texels

import (
	"math"

	"proofhouse/internal/acceptance/image"
)

// Normals is what the texels of a normal map say of themselves.
type Normals struct {
	Texels     int     // looked at
	OffLength  int     // of them with a length outside the bounds
	Inward     int     // that point into the surface
	Tilted     int     // that differ from straight out by more than a degree
	Grey       int     // with three channels alike
	MeanX      float64 // means over all
	MeanY      float64
	MeanZ      float64
	TwoChannel bool    // blue holds nothing, so it was rebuilt
	WorstAt    [2]int  // the texel whose length is farthest off
	WorstLen   float64 // and its length
}

// Lengths that are taken for unit length: 8 bits a channel and averaging into smaller maps shorten and lengthen normals
// by less. Common practice, no source.
const (
	ShortestNormal = 0.85
	LongestNormal  = 1.05
)

// tanTilted is tan 1°, from where a normal counts as tilted; 8-bit steps are 0.45°.
const tanTilted = 0.017455064928217585

// DecodeNormal is glTF's reading of a channel (glTF 2.0, 3.9.3): 0 to 1 become -1 to 1. of maps the channel first, nil
// leaves it as it is. The table has 256 or 65536 entries by depth.
func DecodeNormal(bits int, of func(float64) float64) []float32 {
	t := make([]float32, 1<<bits)
	for i := range t {
		v := float64(i) / float64(len(t)-1)
		if of != nil {
			v = of(v)
		}
		t[i] = float32(float64(2*v) - 1)
	}
	return t
}

// JudgeNormals reads the texels of a mask (nil: all) through a table of DecodeNormal, with X, Y and Z in the channels
// that order names. A map of two channels, or whose Z channel has one value all over, has Z rebuilt as the root of what
// X and Y leave of a unit vector.
func JudgeNormals(img *image.Image, m *Mask, table []float32, order [3]int, threads int) Normals {
	r := normalReader{img: img, m: m, table: table, order: order}
	switch {
	case img.Channels >= 3:
		r.two = constant(img, order[2])
	case img.Channels == 2 && !img.HasAlpha():
		r.two = true
	default: // grey
		r.order = [3]int{}
	}
	out := Normals{TwoChannel: r.two, WorstLen: 1}
	for _, n := range summed(img.Height, threads, r.rows) {
		out.Texels += n.Texels
		out.OffLength += n.OffLength
		out.Inward += n.Inward
		out.Tilted += n.Tilted
		out.Grey += n.Grey
		out.MeanX += n.MeanX
		out.MeanY += n.MeanY
		out.MeanZ += n.MeanZ
		if math.Abs(n.WorstLen-1) > math.Abs(out.WorstLen-1) {
			out.WorstLen, out.WorstAt = n.WorstLen, n.WorstAt
		}
	}
	if n := float64(out.Texels); n > 0 {
		out.MeanX, out.MeanY, out.MeanZ = out.MeanX/n, out.MeanY/n, out.MeanZ/n
	}
	return out
}

type normalReader struct {
	img   *image.Image
	m     *Mask
	table []float32
	order [3]int
	two   bool
}

// constant says whether a channel has one value all over.
func constant(img *image.Image, c int) bool {
	if img.Bits == 16 {
		for i := c; i < len(img.Pix16); i += img.Channels {
			if img.Pix16[i] != img.Pix16[c] {
				return false
			}
		}
		return true
	}
	for i := c; i < len(img.Pix8); i += img.Channels {
		if img.Pix8[i] != img.Pix8[c] {
			return false
		}
	}
	return true
}

func (r *normalReader) rows(from, to int) Normals {
	n := Normals{WorstLen: 1}
	img := r.img
	row := make([]uint16, img.Width*img.Channels)
	alike := 2 // steps of the file's own depth, so that dithered grey is grey
	if img.Bits == 16 {
		alike = 512
	}
	worstSq := 0.0
	for y := from; y < to; y++ {
		r.read(row, y)
		for x := range img.Width {
			if r.m != nil && r.m.In[y*img.Width+x] == 0 {
				continue
			}
			p := row[x*img.Channels : (x+1)*img.Channels]
			n.Texels++
			vx, vy := float64(r.table[p[r.order[0]]]), float64(r.table[p[r.order[1]]])
			flat := float64(vx*vx) + float64(vy*vy)
			var vz float64
			if r.two {
				vz = math.Sqrt(max(0, 1-flat))
			} else {
				vz = float64(r.table[p[r.order[2]]])
			}
			lenSq := flat + float64(vz*vz)
			if lenSq < ShortestNormal*ShortestNormal || lenSq > LongestNormal*LongestNormal {
				n.OffLength++
			}
			if d := math.Abs(lenSq - 1); d > worstSq {
				worstSq, n.WorstAt, n.WorstLen = d, [2]int{x, y}, math.Sqrt(lenSq)
			}
			if vz < 0 {
				n.Inward++
			}
			if vz <= 0 || flat > tanTilted*tanTilted*float64(vz*vz) {
				n.Tilted++
			}
			if img.Channels < 3 && !r.two || img.Channels >= 3 && grey(p, alike) {
				n.Grey++
			}
			n.MeanX += vx
			n.MeanY += vy
			n.MeanZ += vz
		}
	}
	return n
}

func (r *normalReader) read(row []uint16, y int) {
	n := len(row)
	if r.img.Bits == 16 {
		copy(row, r.img.Pix16[y*n:])
		return
	}
	for i, v := range r.img.Pix8[y*n : (y+1)*n] {
		row[i] = uint16(v)
	}
}

func grey(p []uint16, alike int) bool {
	lo, hi := min(p[0], p[1], p[2]), max(p[0], p[1], p[2])
	return int(hi-lo) <= alike
}
