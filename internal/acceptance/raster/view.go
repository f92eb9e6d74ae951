package raster

import "math"

// View maps the world to a picture of W by H pixels.
type View struct {
	W, H            int
	Eye             Vec
	Right, Up, Back Vec // orthonormal; Back points from what is looked at to the eye
	Perspective     bool
	Scale           float64 // pixels per metre, in perspective at a distance of one metre
	CX, CY          float64 // where the optical axis meets the picture, pixels
}

// nearM is the near plane of perspective views.
const nearM = 1e-6

// Towards makes a view that looks at target from the direction back (from target to the eye), upright where that is
// possible; seen from straight above or below, the front (+Z) is down. The eye is one metre away and the scale 1
// pixel per metre until FitOrthographic or FitPerspective set them.
func Towards(target, back Vec, w, h int) View {
	v := View{W: w, H: h, Scale: 1, CX: float64(w) / 2, CY: float64(h) / 2}
	v.Back = unit(back)
	if v.Back == (Vec{}) {
		v.Back = Vec{0, 0, 1}
	}
	v.Right = unit(cross(Vec{0, 1, 0}, v.Back))
	if v.Right == (Vec{}) || math.Abs(v.Back[1]) > 0.99999 {
		v.Right = Vec{1, 0, 0}
	}
	v.Up = unit(cross(v.Back, v.Right))
	v.Right = cross(v.Up, v.Back)
	v.Eye = add(target, v.Back)
	return v
}

// LookAt is a perspective view from eye to target. halfTan is the tangent of half the vertical field of view.
func LookAt(eye, target Vec, halfTan float64, w, h int) View {
	v := Towards(target, sub(eye, target), w, h)
	v.Eye = eye
	v.Perspective = true
	v.Scale = float64(h) / 2 / halfTan
	return v
}

// Local gives a point in the view's own axes, relative to its eye: right, up and back.
func (v *View) Local(p Vec) Vec {
	q := sub(p, v.Eye)
	return Vec{dot(q, v.Right), dot(q, v.Up), dot(q, v.Back)}
}

// Project gives the pixel coordinates of a point and how near it is; ok is false behind the near plane and for
// points that are not finite.
func (v *View) Project(p Vec) (x, y, near float64, ok bool) {
	q := v.Local(p)
	s := v.Scale
	near = q[2]
	if v.Perspective {
		if !(-q[2] > nearM) {
			return 0, 0, 0, false
		}
		near = -1 / q[2]
		s *= near
	}
	x, y = v.CX+float64(q[0]*s), v.CY-float64(q[1]*s)
	return x, y, near, !math.IsNaN(x+y+near) && !math.IsInf(x+y+near, 0)
}

// Ray gives where the eye's ray through a pixel coordinate starts and its direction (not of unit length in
// perspective; its component along -Back is 1).
func (v *View) Ray(x, y float64) (org, dir Vec) {
	a, b := (x-v.CX)/v.Scale, (v.CY-y)/v.Scale
	if v.Perspective {
		return v.Eye, addScaled(addScaled(scale(v.Back, -1), v.Right, a), v.Up, b)
	}
	return addScaled(addScaled(v.Eye, v.Right, a), v.Up, b), scale(v.Back, -1)
}

// Frame is the rectangle of a picture that a fit fills, in pixels.
type Frame struct{ X0, Y0, X1, Y1 float64 }

// FitOrthographic moves and scales the view so that all points lie in the frame, centred, the larger side touching.
func (v *View) FitOrthographic(pos []float32, f Frame) {
	v.Perspective = false
	lo, hi, ok := v.extent(pos)
	if !ok {
		return
	}
	const least = 1e-6 // metres: a point is framed as a micrometre
	w, h := max(hi[0]-lo[0], least), max(hi[1]-lo[1], least)
	v.Scale = min((f.X1-f.X0)/w, (f.Y1-f.Y0)/h)
	v.centre(lo, hi, f)
	v.Eye = addScaled(v.Eye, v.Back, hi[2]+1)
}

// centre moves the optical axis so that the middle of the local box lies in the middle of the frame.
func (v *View) centre(lo, hi Vec, f Frame) {
	v.CX = float64((f.X0+f.X1)/2) - float64((lo[0]+hi[0])/2*v.Scale)
	v.CY = float64((f.Y0+f.Y1)/2) + float64((lo[1]+hi[1])/2*v.Scale)
}

// extent is the box of all finite points in the view's axes.
func (v *View) extent(pos []float32) (lo, hi Vec, ok bool) {
	inf := math.Inf(1)
	lo, hi = Vec{inf, inf, inf}, Vec{-inf, -inf, -inf}
	for i := 0; i+2 < len(pos); i += 3 {
		q := v.Local(Vec{float64(pos[i]), float64(pos[i+1]), float64(pos[i+2])})
		if math.IsNaN(q[0]+q[1]+q[2]) || math.IsInf(q[0]+q[1]+q[2], 0) {
			continue
		}
		ok = true
		for k := range 3 {
			lo[k], hi[k] = min(lo[k], q[k]), max(hi[k], q[k])
		}
	}
	return lo, hi, ok
}

// FitPerspective keeps the direction and sets the eye's distance so that all points lie in the frame, with the
// given lens. It is exact: a point at right X and back Z (from the target) stays inside a half-width of a pixels at
// scale S as long as the distance D is at least |X|·S/a + Z, so D is the maximum of that over all points; the
// picture is then shifted (not turned) until the outline is centred.
func (v *View) FitPerspective(pos []float32, halfTan float64, f Frame) {
	v.Perspective = true
	v.Scale = float64(v.H) / 2 / halfTan
	flat := *v
	lo, hi, ok := flat.extent(pos)
	if !ok {
		return
	}
	mid := scale(add(lo, hi), 0.5)
	target := addScaled(addScaled(addScaled(v.Eye, v.Right, mid[0]), v.Up, mid[1]), v.Back, mid[2])
	ax, ay := (f.X1-f.X0)/2/v.Scale, (f.Y1-f.Y0)/2/v.Scale
	v.Eye = target
	dist := 10 * nearM
	for i := 0; i+2 < len(pos); i += 3 {
		q := v.Local(Vec{float64(pos[i]), float64(pos[i+1]), float64(pos[i+2])})
		d := max(math.Abs(q[0])/ax, math.Abs(q[1])/ay) + q[2]
		if d > dist && !math.IsInf(d, 0) {
			dist = d
		}
	}
	v.Eye = addScaled(target, v.Back, dist)
	v.CX, v.CY = (f.X0+f.X1)/2, (f.Y0+f.Y1)/2
	if x0, y0, x1, y1, ok := v.Outline(pos); ok {
		v.CX += float64((f.X0+f.X1)/2) - float64((x0+x1)/2)
		v.CY += float64((f.Y0+f.Y1)/2) - float64((y0+y1)/2)
	}
}

// Outline is the box of the projected points in pixels.
func (v *View) Outline(pos []float32) (x0, y0, x1, y1 float64, ok bool) {
	x0, y0 = math.Inf(1), math.Inf(1)
	x1, y1 = math.Inf(-1), math.Inf(-1)
	for i := 0; i+2 < len(pos); i += 3 {
		x, y, _, in := v.Project(Vec{float64(pos[i]), float64(pos[i+1]), float64(pos[i+2])})
		if !in {
			continue
		}
		ok = true
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	return x0, y0, x1, y1, ok
}

// Weights gives the weights of a triangle's corners where the eye's ray through the pixel coordinate meets its plane.
// They add to 1 and may be negative outside the triangle; ok is false where the plane is seen edge-on.
func (v *View) Weights(a, b, c Vec, x, y float64) (w Vec, ok bool) {
	o, dir := v.Ray(x, y)
	ax, ay, az := a[0]-o[0], a[1]-o[1], a[2]-o[2]
	bx, by, bz := b[0]-o[0], b[1]-o[1], b[2]-o[2]
	cx, cy, cz := c[0]-o[0], c[1]-o[1], c[2]-o[2]
	dx, dy, dz := dir[0], dir[1], dir[2]
	// The volume of (dir, b, c) is the weight of a in perspective; in both views the ray meets the plane where
	// the three volumes share its area. In single numbers, for speed.
	w[0] = float64(dx*(float64(by*cz)-float64(bz*cy))) + float64(dy*(float64(bz*cx)-float64(bx*cz))) + float64(dz*(float64(bx*cy)-float64(by*cx)))
	w[1] = float64(dx*(float64(cy*az)-float64(cz*ay))) + float64(dy*(float64(cz*ax)-float64(cx*az))) + float64(dz*(float64(cx*ay)-float64(cy*ax)))
	w[2] = float64(dx*(float64(ay*bz)-float64(az*by))) + float64(dy*(float64(az*bx)-float64(ax*bz))) + float64(dz*(float64(ax*by)-float64(ay*bx)))
	sum := w[0] + w[1] + w[2]
	if sum == 0 || math.IsNaN(sum) || math.IsInf(sum, 0) {
		return Vec{1, 0, 0}, false
	}
	return scale(w, 1/sum), true
}
