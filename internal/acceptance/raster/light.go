package raster

import (
	"math"
)

// Rig is the studio: a large soft box to the upper left in front, a wide sky over a pale floor and a weak strip from
// behind on the right. It hangs on the camera, so that every prop is seen in the same light from every side.
//
// A soft light is many small ones. For each of them the prop's depth is drawn once as that lamp sees it; a point is in the
// light of a lamp where nothing is nearer to it. The sum over the lamps gives soft shadows, contact shadows on the floor and darker
// hollows, all from one rule (shadow maps: Williams, "Casting curved shadows on curved surfaces", 1978).
type Rig struct {
	key   Vec     // to the middle of the soft box
	back  Vec     // to the strip
	lamps []lamp  // those of the soft box first
	keys  int     // how many those are
	scale float64 // map pixels per metre
	bias  float64 // metres
	mid   Vec
	reach float64 // metres from mid beyond which nothing casts
	floor float64 // height of the floor
}

type lamp struct {
	dir       Vec
	right, up Vec     // in map pixels a metre
	power     float64 // irradiance on a plane that faces it
	near      []float32
}

// mapPx is the side of a lamp's depth map.
const mapPx = 256

// Lamp counts. A prop above manyTriangles gets fewer, so that light never costs more than a few passes over it.
const (
	keyLamps, skyLamps       = 18, 32
	fewKeyLamps, fewSkyLamps = 8, 12
	manyTriangles            = 150_000
	keyShare                 = 0.62 // of the light on a plane that faces the soft box; the rest is sky
	keySpread                = 0.40 // tangent of the soft box's half-width
	goldenCos, goldenSin     = -0.7373688780783197, 0.6754902942615238
	floorLight               = 0.20
)

// NewRig hangs the lights for a view and draws what each lamp sees of the casting triangles.
func NewRig(view *View, pos []float32, tri []uint32, threads int) *Rig {
	r := &Rig{
		key:  unit(addScaled(addScaled(scale(view.Right, -0.62), view.Up, 0.62), view.Back, 0.62)),
		back: unit(addScaled(addScaled(scale(view.Right, 0.80), view.Up, 0.35), view.Back, -0.45)),
	}
	if r.key[1] < 0.25 { // seen from below or steeply above, the box still hangs over the floor
		r.key = unit(Vec{r.key[0], 0.25, r.key[2]})
	}
	r.measure(pos, tri)
	nKey, nSky := keyLamps, skyLamps
	if len(tri)/3 > manyTriangles {
		nKey, nSky = fewKeyLamps, fewSkyLamps
	}
	r.hang(nKey, nSky)
	parallel(len(r.lamps), 1, threads, func(first, end int) {
		var s Screen
		var b Buffer
		for i := first; i < end; i++ {
			r.lamps[i].draw(r, &s, &b, pos, tri)
		}
	})
	return r
}

// measure finds the ball that holds all vertices in use.
func (r *Rig) measure(pos []float32, tri []uint32) {
	lo, hi := Vec{math.Inf(1), math.Inf(1), math.Inf(1)}, Vec{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
	n := uint32(len(pos) / 3)
	for _, i := range tri {
		if i >= n {
			continue
		}
		p := vecAt(pos, i)
		if s := p[0] + p[1] + p[2]; math.IsNaN(s) || math.IsInf(s, 0) {
			continue
		}
		for k := range 3 {
			lo[k], hi[k] = min(lo[k], p[k]), max(hi[k], p[k])
		}
	}
	if lo[0] > hi[0] {
		lo, hi = Vec{}, Vec{}
	}
	r.mid = scale(add(lo, hi), 0.5)
	r.reach = max(length(sub(hi, lo))/2, 1e-6)
	r.floor = lo[1]
	r.scale = (mapPx - 4) / 2 / r.reach
	r.bias = 1.5 / r.scale
}

// hang places the lamps: the soft box as a disc of directions about the key, the sky over the half sphere, both in
// the even spiral of golden-angle turns (Vogel, "A better way to construct the sunflower head", 1979).
func (r *Rig) hang(nKey, nSky int) {
	right := unit(cross(Vec{0, 1, 0}, r.key))
	if right == (Vec{}) {
		right = Vec{1, 0, 0}
	}
	up := cross(r.key, right)
	c, s := 1.0, 0.0
	turn := func() {
		c, s = float64(c*goldenCos)-float64(s*goldenSin), float64(c*goldenSin)+float64(s*goldenCos)
	}
	r.keys = nKey
	for i := range nKey {
		t := keySpread * math.Sqrt((float64(i)+0.5)/float64(nKey))
		d := unit(addScaled(addScaled(r.key, right, t*c), up, t*s))
		r.lamps = append(r.lamps, lamp{dir: d, power: keyShare / float64(nKey)})
		turn()
	}
	var sky []lamp
	sum := 0.0
	for i := range nSky {
		y := (float64(i) + 0.5) / float64(nSky)
		h := math.Sqrt(1 - float64(y*y))
		d := Vec{h * c, y, h * s}
		power := 0.55 + float64(0.45*y) + float64(0.5*max(0, dot(d, r.key))) + float64(0.5*smoothstep(0.3, 1, dot(d, r.back)))
		sky = append(sky, lamp{dir: d, power: power})
		sum += float64(power * max(0, dot(d, r.key)))
		turn()
	}
	for _, l := range sky {
		l.power *= (1 - keyShare) / sum
		r.lamps = append(r.lamps, l)
	}
	for i := range r.lamps {
		l := &r.lamps[i]
		v := Towards(r.mid, l.dir, mapPx, mapPx)
		l.right, l.up = scale(v.Right, r.scale), scale(v.Up, r.scale)
	}
}

func (l *lamp) draw(r *Rig, s *Screen, b *Buffer, pos []float32, tri []uint32) {
	v := Towards(r.mid, l.dir, mapPx, mapPx)
	v.Eye, v.Scale = r.mid, r.scale
	b.Reset(mapPx, mapPx, One)
	s.Project(&v, pos, 1)
	b.Draw(Job{Screen: s, Tri: tri, Cull: CullNone}, 1)
	l.near = make([]float32, mapPx*mapPx)
	for i, key := range b.keys {
		l.near[i] = float32(math.Inf(-1))
		if key != 0 {
			l.near[i] = nearOf(uint32(key >> 32))
		}
	}
}

// sees tells how much of the lamp reaches a point, given from the rig's middle: four map pixels, weighed. It is the
// innermost loop of a still and written out in single numbers, which the compiler keeps in registers; arrays it does not.
func (l *lamp) sees(bias, qx, qy, qz float64) float64 {
	x := float64(qx*l.right[0]) + float64(qy*l.right[1]) + float64(qz*l.right[2]) + (mapPx/2 - 0.5)
	y := (mapPx/2 - 0.5) - (float64(qx*l.up[0]) + float64(qy*l.up[1]) + float64(qz*l.up[2]))
	if !(x >= 0 && y >= 0 && x < mapPx-1 && y < mapPx-1) {
		return 1
	}
	xi, yi := int(x), int(y)
	tx, ty := x-float64(xi), y-float64(yi)
	near := float32(float64(qx*l.dir[0]) + float64(qy*l.dir[1]) + float64(qz*l.dir[2]) + bias)
	m := l.near[yi*mapPx+xi : yi*mapPx+xi+mapPx+2]
	a, b := 1.0, 1.0
	if m[0] > near {
		a -= 1 - tx
	}
	if m[1] > near {
		a -= tx
	}
	if m[mapPx] > near {
		b -= 1 - tx
	}
	if m[mapPx+1] > near {
		b -= tx
	}
	return a + float64((b-a)*ty)
}

// light is what reaches a point, in a form that serves every normal close to the one it was summed for.
type light struct {
	flat   float64 // irradiance for normal; 1 is an open plane that faces the soft box
	normal Vec     // that normal
	toward Vec     // how the irradiance changes with the normal, exact as long as the same lamps stand above it
	key    float64 // share of the soft box that is seen
	open   float64 // share of all lamps on the point's side that are seen
}

// on is the irradiance for another normal.
func (l *light) on(n Vec) float64 { return max(0, l.flat+dot(l.toward, sub(n, l.normal))) }

// At sums the lamps at a surface point.
func (r *Rig) At(p, normal Vec) light {
	q := addScaled(sub(p, r.mid), normal, r.bias)
	out := light{normal: normal}
	qx, qy, qz, nx, ny, nz := q[0], q[1], q[2], normal[0], normal[1], normal[2]
	var keySeen, keyAll, all, flat, tx, ty, tz float64
	for i := range r.lamps {
		l := &r.lamps[i]
		cos := float64(nx*l.dir[0]) + float64(ny*l.dir[1]) + float64(nz*l.dir[2])
		if cos <= 0 {
			continue
		}
		w := float64(l.power * cos)
		all += w
		vis := l.sees(r.bias, qx, qy, qz)
		if i < r.keys {
			keySeen, keyAll = keySeen+vis, keyAll+1
		}
		if vis == 0 {
			continue
		}
		flat += float64(w * vis)
		p := l.power * vis
		tx, ty, tz = tx+float64(p*l.dir[0]), ty+float64(p*l.dir[1]), tz+float64(p*l.dir[2])
	}
	out.flat, out.toward = flat, Vec{tx, ty, tz}
	if all > 0 {
		out.open = out.flat / all
	}
	if keyAll > 0 {
		out.key = keySeen / keyAll
	}
	// Light that the floor throws back, less where the point is shut in.
	back := floorLight * (0.4 + float64(0.6*out.open))
	out.flat += float64(back * (0.6 - float64(0.4*normal[1])))
	out.toward[1] -= float64(0.4 * back)
	return out
}

// OnFloor is the share of light that still reaches the floor at a point, 1 far from the prop.
func (r *Rig) OnFloor(p Vec) float64 {
	up := Vec{0, 1, 0}
	q := sub(p, r.mid)
	if length(q) > 6*r.reach {
		return 1
	}
	q[1] += float64(r.bias / 2)
	var seen, all float64
	for i := range r.lamps {
		l := &r.lamps[i]
		w := float64(l.power * max(0, dot(up, l.dir)))
		seen += float64(w * l.sees(r.bias, q[0], q[1], q[2]))
		all += w
	}
	return seen / all
}

// reflects is what a mirror in direction d would show of the studio: floor, sky, soft box and strip, blurred by
// roughness. An invented room, kept smooth so that a few polynomials do.
func (r *Rig) reflects(d Vec, rough, key, open float64) float64 {
	soft := 0.04 + float64(0.9*rough*rough)
	half := float64(rough / 2)
	sky := mix(0.22, 0.62, smoothstep(-0.25-half, 0.55+half, d[1]))
	box := float64(smoothstep(0.90-soft, 0.90+float64(soft*0.5), dot(d, r.key))) * (2.4 / (1 + float64(7*rough*rough)))
	strip := float64(smoothstep(0.86-soft, 0.90+float64(soft*0.5), dot(d, r.back))) * (0.9 / (1 + float64(5*rough*rough)))
	return float64(sky*(0.25+float64(0.75*open))) + float64(box*key) + float64(strip*open)
}
