package props

import (
	"bytes"
	"image"
	"image/png"
	"math"
)

// look is what paint says of one point: sRGB colour, roughness, metalness; all 0–1.
type look struct {
	r, g, b, rough, metal float64
}

// paint gives the look of a point of the surface from its place and normal.
type paint func(p, n vec) look

func (a look) mix(b look, t float64) look {
	t = math.Max(0, math.Min(1, t))
	l := func(x, y float64) float64 { return x + (y-x)*t }
	return look{l(a.r, b.r), l(a.g, b.g), l(a.b, b.b), l(a.rough, b.rough), l(a.metal, b.metal)}
}

// painted is worn paint over steel with rust where fractal noise says so.
func painted(colour look, wear float64, seed uint32) paint {
	rust := look{0.42, 0.23, 0.13, 0.92, 0.03}
	steel := look{0.62, 0.62, 0.60, 0.45, 0.97}
	return func(p, n vec) look {
		shade := 0.86 + 0.28*fractal(p.mul(14), seed, 3)
		base := look{colour.r * shade, colour.g * shade, colour.b * shade, colour.rough + 0.12*(fractal(p.mul(40), seed+5, 2)-0.5), colour.metal}
		worn := fractal(p.mul(9), seed+9, 4) + 0.25*wear
		low := math.Max(0, 0.18-p[1]) * 1.2 // rust climbs from the ground
		base = base.mix(rust, (worn+low-0.66)*14)
		return base.mix(steel, (worn+low-0.86)*16)
	}
}

// planks is weathered wood with dark grooves along an axis.
func planks(colour look, axis int, pitch float64, seed uint32) paint {
	return func(p, n vec) look {
		plank := math.Floor(p[axis]/pitch - 0.5)
		tone := 0.82 + 0.3*noise(vec{plank * 7.3, 0.5, 0.5}, seed)
		stretch := vec{p[0] * 6, p[1] * 6, p[2] * 6}
		stretch[axis] *= 12
		grain := 0.8 + 0.35*fractal(stretch, seed+3, 3)
		t := p[axis]/pitch - 0.5
		d := math.Abs(t-math.Round(t)) * pitch
		groove := 1 - 0.55*math.Exp(-d*d/(0.004*0.004))
		k := tone * grain * groove
		return look{clamp01(colour.r * k), clamp01(colour.g * k), clamp01(colour.b * k), colour.rough, 0}
	}
}

func clamp01(x float64) float64 { return math.Max(0, math.Min(1, x)) }

// maps are the pictures of one texture set, PNG.
type maps struct{ baseColor, normal, orm []byte }

// bleedPx is how far colour is carried past an island's edge.
const bleedPx = 10

// paintMaps paints base colour, roughness and metalness, and takes normals and occlusion as they were baked.
func paintMaps(parts []part, islands []placed, sizePx int, from baked) (maps, error) {
	base := image.NewNRGBA(image.Rect(0, 0, sizePx, sizePx))
	norm := image.NewNRGBA(base.Rect)
	orm := image.NewNRGBA(base.Rect)
	done := make([]bool, sizePx*sizePx)
	for _, is := range islands {
		p := parts[is.part]
		for t := 0; t < len(is.tri); t += 3 {
			eachTexel(is, t, sizePx, func(x, y int, pos, n vec) {
				if done[y*sizePx+x] {
					return
				}
				done[y*sizePx+x] = true
				l := p.paint(pos, n)
				put(base, x, y, l.r, l.g, l.b)
				b := from.normals[3*(y*sizePx+x):]
				put(norm, x, y, float64(b[0])/65535, float64(b[1])/65535, float64(b[2])/65535)
				put(orm, x, y, from.openAt(x, y), clamp01(l.rough), clamp01(l.metal))
			})
		}
	}
	bleed(done, sizePx, base, norm, orm)
	var m maps
	for _, o := range []struct {
		img *image.NRGBA
		to  *[]byte
	}{{base, &m.baseColor}, {norm, &m.normal}, {orm, &m.orm}} {
		var b bytes.Buffer
		if err := (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&b, o.img); err != nil {
			return m, err
		}
		*o.to = b.Bytes()
	}
	return m, nil
}

func put(img *image.NRGBA, x, y int, r, g, b float64) {
	i := img.PixOffset(x, y)
	for k, v := range [3]float64{r, g, b} {
		img.Pix[i+k] = uint8(math.Round(255 * clamp01(v)))
	}
	img.Pix[i+3] = 255
}

// eachTexel visits the texels whose middle lies in a triangle, and those within half a texel of it.
func eachTexel(is placed, t, sizePx int, visit func(x, y int, pos, n vec)) {
	var p [3][2]float64
	for k := range 3 {
		uv := is.uv[is.tri[t+k]]
		p[k] = [2]float64{uv[0] * float64(sizePx), uv[1] * float64(sizePx)}
	}
	area := (p[1][0]-p[0][0])*(p[2][1]-p[0][1]) - (p[2][0]-p[0][0])*(p[1][1]-p[0][1])
	if area == 0 {
		return
	}
	a, b, c := is.pos[is.tri[t]], is.pos[is.tri[t+1]], is.pos[is.tri[t+2]]
	lox, hix := bounds3(p[0][0], p[1][0], p[2][0], sizePx)
	loy, hiy := bounds3(p[0][1], p[1][1], p[2][1], sizePx)
	for y := loy; y <= hiy; y++ {
		for x := lox; x <= hix; x++ {
			fx, fy := float64(x)+0.5, float64(y)+0.5
			w0 := ((p[1][0]-fx)*(p[2][1]-fy) - (p[2][0]-fx)*(p[1][1]-fy)) / area
			w1 := ((p[2][0]-fx)*(p[0][1]-fy) - (p[0][0]-fx)*(p[2][1]-fy)) / area
			w2 := 1 - w0 - w1
			if w0 < 0 || w1 < 0 || w2 < 0 {
				continue
			}
			pos := a.mul(w0).add(b.mul(w1)).add(c.mul(w2))
			n := is.nrm[is.tri[t]].mul(w0).add(is.nrm[is.tri[t+1]].mul(w1)).add(is.nrm[is.tri[t+2]].mul(w2)).unit()
			visit(x, y, pos, n)
		}
	}
}

func bounds3(a, b, c float64, sizePx int) (lo, hi int) {
	lo = max(0, int(math.Floor(math.Min(a, math.Min(b, c)))))
	hi = min(sizePx-1, int(math.Ceil(math.Max(a, math.Max(b, c)))))
	return lo, hi
}

// bleed carries the islands' colour outward, a ring of texels at a time.
func bleed(done []bool, sizePx int, imgs ...*image.NRGBA) {
	for range bleedPx {
		next := append([]bool(nil), done...)
		for i, full := range done {
			if full {
				continue
			}
			x, y := i%sizePx, i/sizePx
			for _, d := range [4][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
				nx, ny := x+d[0], y+d[1]
				if nx < 0 || ny < 0 || nx >= sizePx || ny >= sizePx || !done[ny*sizePx+nx] {
					continue
				}
				for _, img := range imgs {
					copy(img.Pix[4*i:4*i+4], img.Pix[4*(ny*sizePx+nx):])
				}
				next[i] = true
				break
			}
		}
		copy(done, next)
	}
	for i, full := range done {
		if !full {
			for _, img := range imgs {
				img.Pix[4*i], img.Pix[4*i+1], img.Pix[4*i+2], img.Pix[4*i+3] = 128, 128, 255, 255
			}
		}
	}
}
