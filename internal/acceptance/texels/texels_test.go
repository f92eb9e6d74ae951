package texels

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/image"
)

func picture(w, h, channels, bits int) *image.Image {
	m := &image.Image{Header: image.Header{Format: image.PNG, Width: w, Height: h, Channels: channels, Bits: bits}}
	if bits == 16 {
		m.Pix16 = make([]uint16, w*h*channels)
	} else {
		m.Pix8 = make([]uint8, w*h*channels)
	}
	return m
}

// side is twice the signed area of a, b, p: which side of a line a point is on.
func side(a, b, p [2]float64) float64 { return (b[0]-a[0])*(p[1]-a[1]) - (b[1]-a[1])*(p[0]-a[0]) }

// Coverage is that of asking every middle whether it lies in a triangle, but for middles on an edge.
func TestCoverByAsking(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.IntRange(1, 20).Draw(t, "w"), rapid.IntRange(1, 20).Draw(t, "h")
		fold := rapid.Bool().Draw(t, "fold")
		threads := rapid.IntRange(1, 3).Draw(t, "threads")
		var uv []float32
		var tri []uint32
		for range 3 * rapid.IntRange(1, 4).Draw(t, "triangles") {
			tri = append(tri, uint32(len(uv)/2))
			uv = append(uv, rapid.Float32Range(-1.5, 2.5).Draw(t, "u"), rapid.Float32Range(-1.5, 2.5).Draw(t, "v"))
		}
		got := Cover(w, h, uv, tri, fold, [2]float64{}, threads)
		for y := range h {
			for x := range w {
				in, unsure := false, false
				for oy := -3; oy <= 3; oy++ {
					for ox := -3; ox <= 3; ox++ {
						if !fold && (ox != 0 || oy != 0) {
							continue
						}
						p := [2]float64{(float64(x)+0.5)/float64(w) + float64(ox), (float64(y)+0.5)/float64(h) + float64(oy)}
						for k := 0; k < len(tri); k += 3 {
							var c [3][2]float64
							for j := range 3 {
								c[j] = [2]float64{float64(uv[2*tri[k+j]]), float64(uv[2*tri[k+j]+1])}
							}
							s := [3]float64{side(c[0], c[1], p), side(c[1], c[2], p), side(c[2], c[0], p)}
							lo, hi := min(s[0], s[1], s[2]), max(s[0], s[1], s[2])
							in = in || lo > 0 || hi < 0
							unsure = unsure || !(lo > 0.02) && !(hi < -0.02) && !(lo < -0.02 && hi > 0.02)
						}
					}
				}
				if !unsure && in != (got.In[y*w+x] == 1) {
					t.Fatalf("texel %d,%d: asked %v", x, y, in)
				}
			}
		}
	})
}

// A tile of several is the map shifted by whole tiles, and odd input covers nothing.
func TestCoverTilesAndOddInput(t *testing.T) {
	t.Parallel()
	uv := []float32{0, 0, 1, 0, 1, 1, 0, 1}
	quad := []uint32{0, 1, 2, 0, 2, 3}
	require.Equal(t, 64, Cover(8, 8, uv, quad, false, [2]float64{}, 1).Count())
	moved := []float32{3, -2, 4, -2, 4, -1, 3, -1}
	require.Equal(t, 64, Cover(8, 8, moved, quad, false, [2]float64{3, -2}, 1).Count())
	require.Equal(t, 0, Cover(8, 8, moved, quad, false, [2]float64{}, 1).Count())
	require.Equal(t, 64, Cover(8, 8, moved, quad, true, [2]float64{}, 1).Count())
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	for _, bad := range [][]float32{{nan, 0, 1, 0, 1, 1, 0, 1}, {0, 0, inf, 0, 1, 1, 0, 1}, {0, 0, 1e30, 0, 1e30, 1e30, 0, 1}} {
		require.Equal(t, 0, Cover(8, 8, bad, quad[:3], true, [2]float64{}, 1).Count())
	}
	require.Equal(t, 0, Cover(8, 8, []float32{0.51, 0.51}, []uint32{0, 0, 0}, true, [2]float64{}, 1).Count(), "a point between middles")
	require.Equal(t, 16, Whole(4, 4).Count())
}

// The nearest texel is as near as any, and within reach none is missed.
func TestNearestByAsking(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.IntRange(1, 24).Draw(t, "w"), rapid.IntRange(1, 24).Draw(t, "h")
		m := &Mask{W: w, H: h, In: make([]uint8, w*h)}
		for range rapid.IntRange(0, 12).Draw(t, "points") {
			m.In[rapid.IntRange(0, w*h-1).Draw(t, "at")] = 1
		}
		reach := rapid.IntRange(1, 12).Draw(t, "reach")
		n := NearestIn(m, reach, rapid.IntRange(1, 3).Draw(t, "threads"))
		for i := range m.In {
			best := reach*reach + 1
			for j := range m.In {
				if m.In[j] == 1 {
					dx, dy := i%w-j%w, i/w-j/w
					best = min(best, dx*dx+dy*dy)
				}
			}
			if best > reach*reach {
				require.Equal(t, int16(Far), n.SqOf[i])
				continue
			}
			require.Equal(t, best, int(n.SqOf[i]))
			x, y := i%w+int(n.DX[i]), i/w+int(n.DY[i])
			require.Equal(t, uint8(1), m.In[y*w+x])
			require.Equal(t, best, int(n.DX[i])*int(n.DX[i])+int(n.DY[i])*int(n.DY[i]))
		}
	})
}

// islandsWithBleed is two squares of different colours on a background, each carried on by some texels.
func islandsWithBleed(bits, bleed int) (*image.Image, *Mask) {
	const edge = 128
	img := picture(edge, edge, 3, bits)
	m := &Mask{W: edge, H: edge, In: make([]uint8, edge*edge)}
	for y := range edge {
		for x := range edge {
			i := y*edge + x
			for k, x0 := range []int{20, 80} {
				dx, dy := max(x0-x, 0, x-(x0+29)), max(30-y, 0, y-89)
				if dx == 0 && dy == 0 {
					m.In[i] = 1
				}
				if dx*dx+dy*dy > bleed*bleed {
					continue
				}
				c := []uint8{200, uint8(100 + 50*k), uint8(x)}
				for j := range 3 {
					if bits == 16 {
						img.Pix16[3*i+j] = uint16(c[j]) * 257
					} else {
						img.Pix8[3*i+j] = c[j]
					}
				}
			}
		}
	}
	return img, m
}

func TestBleedIsWhatWasPainted(t *testing.T) {
	t.Parallel()
	for _, bits := range []int{8, 16} {
		for _, bleed := range []int{0, 1, 2, 4, 7, 8, 12} {
			img, m := islandsWithBleed(bits, bleed)
			n := NearestIn(m, 10, 1)
			b := CarriedPast(img, m, n, 2)
			require.Equal(t, min(bleed, 10), b.Px, "bits %d bleed %d", bits, bleed)
			require.True(t, b.Flat)
			require.Equal(t, [3]uint8{}, b.Ground)
			require.Equal(t, b, CarriedPast(img, m, n, 1), "threads")
			if bleed < 10 {
				require.NotEmpty(t, b.Spots)
				require.Equal(t, bleed+1, b.Spots[0].Ring)
			} else {
				require.Empty(t, b.Spots)
			}
		}
	}
}

// Two islands closer to each other than the bleed: each carries on to the middle of
// the gap, which says nothing against either; around both it is carried on for six texels.
func TestBleedBetweenNeighbours(t *testing.T) {
	t.Parallel()
	const edge = 64
	img, m := picture(edge, edge, 3, 8), &Mask{W: edge, H: edge, In: make([]uint8, edge*edge)}
	for y := range edge {
		for x := range edge {
			i := y*edge + x
			c := uint8(250) // the left island and half of the gap
			if x >= 32 {
				c = 60
			}
			if y > 8 && y < 50 && (x > 8 && x < 29 || x > 34 && x < 55) {
				m.In[i] = 1
			}
			if y > 2 && y < 56 && x > 2 && x < 61 {
				img.Pix8[3*i], img.Pix8[3*i+1], img.Pix8[3*i+2] = c, c, c
			}
		}
	}
	b := CarriedPast(img, m, NearestIn(m, 8, 1), 1)
	require.Equal(t, 6, b.Px)
}

// A map that is filled all over has no background to show.
func TestBleedWithoutBackground(t *testing.T) {
	t.Parallel()
	img, m := islandsWithBleed(8, 4)
	for i := range img.Pix8 {
		img.Pix8[i] = uint8(i * 7 >> 3)
	}
	b := CarriedPast(img, m, NearestIn(m, 6, 1), 1)
	require.False(t, b.Flat)
	require.Equal(t, 6, b.Px)
}

// Islands that are carried on to the map's border as streaks, one of which has the background's colour: nothing is bare.
func TestBleedAsStreaks(t *testing.T) {
	t.Parallel()
	img, m := islandsWithBleed(8, 0)
	for y := range m.H {
		for x := range m.W {
			c := uint8(40 * (x % 6))
			if y < 15 {
				c = 0 // the background that is left
			}
			for k := range 3 {
				img.Pix8[3*(y*m.W+x)+k] = c
			}
		}
	}
	b := CarriedPast(img, m, NearestIn(m, 8, 1), 1)
	require.True(t, b.Flat)
	require.Equal(t, 8, b.Px)
}

func TestNormals(t *testing.T) {
	t.Parallel()
	fill := func(bits int, px ...[3]float64) *image.Image {
		img := picture(len(px), 1, 3, bits)
		for i, p := range px {
			for c, v := range p {
				if bits == 16 {
					img.Pix16[3*i+c] = uint16(math.Round((v + 1) / 2 * 65535))
				} else {
					img.Pix8[3*i+c] = uint8(math.Round((v + 1) / 2 * 255))
				}
			}
		}
		return img
	}
	order := [3]int{0, 1, 2}
	for _, bits := range []int{8, 16} {
		table := DecodeNormal(bits, nil)
		n := JudgeNormals(fill(bits, [3]float64{0, 0, 1}, [3]float64{0.6, 0, 0.8}, [3]float64{0, -0.6, -0.8}, [3]float64{0.5, 0.5, 0.3}), nil, table, order, 1)
		require.Equal(t, []int{4, 1, 1, 3, 0}, []int{n.Texels, n.OffLength, n.Inward, n.Tilted, n.Grey})
		require.InDelta(t, math.Sqrt(0.59), n.WorstLen, 0.01)
		require.Equal(t, [2]int{3, 0}, n.WorstAt)
		require.InDelta(t, 1.1/4, n.MeanX, 0.01)

		two := fill(bits, [3]float64{0.6, 0, 0}, [3]float64{0, 0.3, 0})
		n = JudgeNormals(two, nil, table, order, 1)
		require.True(t, n.TwoChannel)
		require.Equal(t, 0, n.OffLength)
		require.Equal(t, 0, n.Inward)
		require.InDelta(t, (0.8+math.Sqrt(0.91))/2, n.MeanZ, 0.01)

		n = JudgeNormals(fill(bits, [3]float64{0.4, 0.4, 0.4}, [3]float64{0.5, 0.5, 0.5}), nil, table, order, 1)
		require.Equal(t, 2, n.Grey)
		swapped := fill(bits, [3]float64{0.9, 0, 0.43}, [3]float64{0.8, 0.6, 0})
		require.Equal(t, 0, JudgeNormals(swapped, nil, table, [3]int{2, 1, 0}, 1).Inward)
	}
	grey := picture(1, 2, 1, 8)
	require.Equal(t, 2, JudgeNormals(grey, nil, DecodeNormal(8, nil), order, 1).Grey)
	masked := picture(2, 2, 3, 8)
	require.Equal(t, 1, JudgeNormals(masked, &Mask{W: 2, H: 2, In: []uint8{0, 0, 1, 0}}, DecodeNormal(8, nil), order, 1).Texels)
}

// linear8 is IEC 61966-2-1's transfer function for bytes.
func linear8() []float32 {
	t := make([]float32, 256)
	for i := range t {
		v := float64(i) / 255
		if t[i] = float32(v / 12.92); v > 0.04045 {
			t[i] = float32(math.Pow((v+0.055)/1.055, 2.4))
		}
	}
	return t
}

var ones = [3]float64{1, 1, 1}

func TestColours(t *testing.T) {
	t.Parallel()
	img := picture(4, 1, 3, 8)
	for i, v := range []uint8{10, 128, 250, 90} {
		img.Pix8[3*i], img.Pix8[3*i+1], img.Pix8[3*i+2] = v, v, v
	}
	metal := picture(8, 2, 3, 8) // twice the size: the last texel is metal
	for _, i := range []int{6, 7, 14, 15} {
		metal.Pix8[3*i+2] = 255
	}
	lin := linear8()
	c := JudgeColours(img, nil, lin, Range{Dark: float64(lin[30]), Bright: float64(lin[240]), DarkMetal: float64(lin[170]), Factor: ones},
		&Channel{metal, 2, 1}, nil, 1)
	require.Equal(t, []int{3, 1, 1, 1, 1}, []int{c.Dielectric, c.Dark, c.Bright, c.Metal, c.DarkMetal})
	require.Equal(t, []Spot{{X: 0}}, c.Spots[:1])

	// Factors: a metal map times nothing leaves no metal, and half the light makes the mid grey of 90 too dark.
	c = JudgeColours(img, nil, lin, Range{Dark: float64(lin[90]), Bright: 1, Factor: [3]float64{0.5, 0.5, 0.5}}, &Channel{metal, 2, 0}, nil, 1)
	require.Equal(t, []int{4, 2, 0, 0}, []int{c.Dielectric, c.Dark, c.Bright, c.Metal})

	// Luminance that follows occlusion exactly, against it, and not at all.
	const edge = 64
	shaded, ao := picture(edge, edge, 1, 8), picture(edge, edge, 1, 8)
	identity := make([]float32, 256)
	for i := range identity {
		identity[i] = float32(i) / 255
	}
	for i := range shaded.Pix8 {
		shaded.Pix8[i], ao.Pix8[i] = uint8(i%64*4), uint8(i%64*4)
	}
	wide := Range{Dark: -1, Bright: 2, Factor: ones}
	require.InDelta(t, 1, JudgeColours(shaded, nil, identity, wide, nil, &Channel{ao, 0, 1}, 2).Shading, 1e-9)
	for i := range ao.Pix8 {
		ao.Pix8[i] = uint8(255 - i%64*4)
	}
	require.InDelta(t, -1, JudgeColours(shaded, nil, identity, wide, nil, &Channel{ao, 0, 1}, 2).Shading, 1e-9)
	for i := range ao.Pix8 {
		ao.Pix8[i] = uint8(i / 64 * 4)
	}
	require.InDelta(t, 0, JudgeColours(shaded, nil, identity, wide, nil, &Channel{ao, 0, 1}, 2).Shading, 1e-9)
	for i := range ao.Pix8 {
		ao.Pix8[i] = 255
	}
	require.Zero(t, JudgeColours(shaded, nil, identity, wide, nil, &Channel{ao, 0, 1}, 2).Shading, "an even map says nothing")
}

func TestHistogramAndOpacity(t *testing.T) {
	t.Parallel()
	img := picture(2, 2, 4, 16)
	for i := range 4 {
		img.Pix16[4*i+3] = uint16(i * 0x4000)
	}
	h := Histogram(img, 3, &Mask{W: 2, H: 2, In: []uint8{1, 1, 0, 1}}, 2)
	require.Equal(t, []int{1, 1, 0, 1}, []int{h[0], h[0x40], h[0x80], h[0xc0]})
	o := OpacityOf(img, 3)
	require.Equal(t, []uint8{0, 0x40, 0x80, 0xc0}, o.A)
	require.Equal(t, 0.5, o.Kept(128, nil))
	require.Equal(t, 1.0, o.Kept(128, o.From(128)))
	require.Equal(t, []uint8{0x60}, o.Half().A)
	require.Equal(t, &Opacity{W: 1, H: 1, A: []uint8{0x60}}, o.Half().Half())

	// A checker of whole and clear texels: half passes at level 0, all of level 1 has 128 of 255, which passes 128 and not 129.
	c := &Opacity{W: 8, H: 8, A: make([]uint8, 64)}
	for i := range c.A {
		c.A[i] = uint8(255 * ((i%8 + i/8) % 2))
	}
	require.Equal(t, 0.5, c.Kept(128, nil))
	require.Equal(t, 1.0, c.Half().Kept(128, nil))
	require.Equal(t, 0.0, c.Half().Kept(129, nil))
}

func BenchmarkKernels(b *testing.B) {
	const edge = 2048
	img := picture(edge, edge, 3, 8)
	for i := range img.Pix8 {
		img.Pix8[i] = uint8(120 + i%17)
	}
	var uv []float32
	var tri []uint32
	for i := range 6000 { // 6,000 squares of a 78 × 78 grid, two triangles each
		x, y := float32(i%78)/78, float32(i/78)/78
		n := uint32(len(uv) / 2)
		uv = append(uv, x, y, x+0.01, y, x+0.01, y+0.01, x, y+0.01)
		tri = append(tri, n, n+1, n+2, n, n+2, n+3)
	}
	m := Cover(edge, edge, uv, tri, true, [2]float64{}, 2)
	near := NearestIn(m, 10, 2)
	table, lin := DecodeNormal(8, nil), linear8()
	for _, k := range []struct {
		name string
		fn   func()
	}{
		{"cover", func() { Cover(edge, edge, uv, tri, true, [2]float64{}, 1) }},
		{"nearest", func() { NearestIn(m, 10, 1) }},
		{"bleed", func() { CarriedPast(img, m, near, 1) }},
		{"normals", func() { JudgeNormals(img, m, table, [3]int{0, 1, 2}, 1) }},
		{"colours", func() {
			JudgeColours(img, m, lin, Range{0.01, 0.9, 0.4, ones}, &Channel{img, 2, 1}, &Channel{img, 0, 1}, 1)
		}},
		{"histogram", func() { Histogram(img, 1, m, 1) }},
	} {
		b.Run(k.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				k.fn()
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(edge*edge), "ns/texel")
		})
	}
}

func TestReduceAndCompare(t *testing.T) {
	t.Parallel()
	img := picture(4, 2, 1, 8)
	copy(img.Pix8, []uint8{0, 255, 51, 51, 255, 0, 51, 51})
	require.Equal(t, []float32{0.5, 0.2}, Reduce(img, 0, 2, 1, 1))
	require.Equal(t, []float32{0, 0, 1, 1, 0.2, 0.2, 0.2, 0.2}, Reduce(img, 0, 8, 2, 1)[:8], "blocks smaller than a pixel: the upper row's")
	l := Compare([]float32{0, 0.5, 1, 9}, []float32{0.1, 0.3, 0.5, -1})
	require.Equal(t, 3, l.N)
	require.InDelta(t, 1, l.Correlation, 1e-6)
	require.InDelta(t, 0.5, l.MeanA, 1e-6)
	require.InDelta(t, 0.3, l.MeanB, 1e-6)
	require.InDelta(t, math.Sqrt(1.0/6), l.SpreadA, 1e-6)
	require.Equal(t, Likeness{}, Compare([]float32{1}, []float32{-1}))
}
