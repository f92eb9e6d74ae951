package image

import (
	"bytes"
	stdimage "image"
	stdpng "image/png"
	"testing"

	"golang.org/x/image/tiff"
)

// bumps is a normal map with grain, 8 or 16 bits: about as hard to pack as a real one.
func bumps(edge int, deep bool) stdimage.Image {
	seed := uint32(1)
	noise := func() int { seed = seed*1664525 + 1013904223; return int(seed>>24) & 7 }
	if deep {
		m := stdimage.NewNRGBA64(stdimage.Rect(0, 0, edge, edge))
		for i := 0; i < len(m.Pix); i += 8 {
			x, y := i/8%edge, i/8/edge
			r, g := 32768+(x*37&4095)+noise()*64, 32768+(y*23&4095)+noise()*64
			copy(m.Pix[i:], []byte{byte(r >> 8), byte(r), byte(g >> 8), byte(g), 0xfe, byte(noise()), 255, 255})
		}
		return m
	}
	m := stdimage.NewNRGBA(stdimage.Rect(0, 0, edge, edge))
	for i := 0; i < len(m.Pix); i += 4 {
		x, y := i/4%edge, i/4/edge
		copy(m.Pix[i:], []byte{byte(128 + (x>>3&31 + noise())), byte(128 + (y>>4&31 + noise())), 0xfe, 255})
	}
	return m
}

func benchmark(b *testing.B, name string, data []byte, threads int) {
	h, err := ReadHeader(name, data)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(h.Width * h.Height * h.Channels * h.Bits / 8))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Decode(name, data, Limits{}, threads); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(h.Width*h.Height), "ns/texel")
}

func BenchmarkDecode(b *testing.B) {
	png := func(img stdimage.Image) []byte {
		var w bytes.Buffer
		if err := stdpng.Encode(&w, img); err != nil {
			b.Fatal(err)
		}
		return w.Bytes()
	}
	const edge = 2048
	shallow, deep := bumps(edge, false), bumps(edge, true)
	p8, p16 := png(shallow), png(deep)
	b.Run("png8/1", func(b *testing.B) { benchmark(b, "", p8, 1) })
	b.Run("png8/2", func(b *testing.B) { benchmark(b, "", p8, 2) })
	b.Run("png16/1", func(b *testing.B) { benchmark(b, "", p16, 1) })
	b.Run("png16/2", func(b *testing.B) { benchmark(b, "", p16, 2) })
	for name, data := range map[string][]byte{"std/png8": p8, "std/png16": p16} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := stdpng.Decode(bytes.NewReader(data)); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(edge*edge), "ns/texel")
		})
	}
	t16 := tiffOf(deep, &tiff.Options{Compression: tiff.Deflate, Predictor: true})
	b.Run("tiff16", func(b *testing.B) { benchmark(b, "", t16, 2) })
	j := jpegOf(shallow)
	b.Run("jpeg", func(b *testing.B) { benchmark(b, "", j, 2) })
	raw := make([]byte, 0, edge*edge*5/4)
	for range edge * edge / 4 {
		raw = append(raw, 3, 1, 2, 3, 4)
	}
	packed := tga(11, 8, edge, edge, 0, raw...)
	b.Run("tga", func(b *testing.B) { benchmark(b, "x.tga", packed, 1) })
	bc := ktx(137, edge, edge, 0, 130, 1, bytes.Repeat([]byte{9, 200, 1, 2, 3, 4, 5, 6, 0, 0xf8, 0x1f, 0, 0xe4, 1, 2, 3}, edge*edge/16), 0)
	b.Run("bc3", func(b *testing.B) { benchmark(b, "x.ktx2", bc, 2) })
}
