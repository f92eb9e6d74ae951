package acceptance

import (
	"context"
	stdimage "image"
	"image/color"
	"math"
	"runtime"
	"testing"
)

// largeMaps are a normal map of 16 bits, base colour and a packed map, of any size, with grain.
func largeMaps(edge int) map[string][]byte {
	make16 := func(at func(x, y int) color.NRGBA64) *stdimage.NRGBA64 {
		img := stdimage.NewNRGBA64(stdimage.Rect(0, 0, edge, edge))
		for y := range edge {
			for x := range edge {
				c := at(x, y)
				grain := uint16(x*2654435761+y*40503) >> 9 << 3
				c.R, c.G = c.R+grain, c.G-grain
				img.SetNRGBA64(x, y, c)
			}
		}
		return img
	}
	wave := func(x, y int) float64 { return math.Sin(float64(x)/40) * math.Cos(float64(y)/31) }
	return map[string][]byte{
		"normal.png": pngMap(make16(func(x, y int) color.NRGBA64 {
			nx := 0.3 * wave(x, y)
			return rgb((nx+1)/2, (1-nx)/2, (math.Sqrt(1-2*nx*nx)+1)/2)
		}), 16),
		"base_color.png": pngMap(make16(func(x, y int) color.NRGBA64 { return rgb(0.5+0.2*wave(x, y), 0.4, 0.3) }), 8),
		"orm.png":        pngMap(make16(func(x, y int) color.NRGBA64 { return rgb(0.8, 0.5+0.2*wave(y, x), 0.05) }), 8),
	}
}

// BenchmarkMaps is every map check of one set of three maps, decoding and all; per texel of one map.
func BenchmarkMaps(b *testing.B) {
	const edge = 2048
	maps, dir := largeMaps(edge), b.TempDir()
	b.ReportAllocs()
	for b.Loop() {
		s := twoIslands(b, dir, "", maps)
		s.Threads = runtime.GOMAXPROCS(0)
		for _, c := range append(mapChecks(), alphaChecks()...) {
			c.Run(context.Background(), s, Target{Set: s.Sets[0]}, ruleFor(s, c.Def.Name, Target{Set: s.Sets[0]}))
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(edge*edge), "ns/texel")
}
