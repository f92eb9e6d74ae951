package acceptance

import (
	"math"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// turn is a rotation by quarter turns: coordinate k after it is sign[k] times coordinate from[k] before it.
type turn struct {
	from    [3]int
	sign    [3]float64
	degrees float64 // angle of the rotation: 0, 90, 120 or 180
}

// noTurn leaves everything as it is.
var noTurn = turn{from: [3]int{0, 1, 2}, sign: [3]float64{1, 1, 1}}

// turns are the 24 rotations that map axes to axes, by angle, the quarter turn about X that most often is missing (Z up
// to Y up) before its like.
var turns = quarterTurns()

func quarterTurns() []turn {
	var all []turn
	perms := [6][3]int{{0, 1, 2}, {0, 2, 1}, {2, 1, 0}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}}
	for _, angle := range [4]float64{0, 90, 120, 180} {
		for i, p := range perms {
			odd := -1.0
			if i == 0 || i > 3 { // identity and the two cycles are even permutations
				odd = 1
			}
			for _, s := range [8][3]float64{{1, 1, 1}, {1, 1, -1}, {1, -1, 1}, {-1, 1, 1}, {1, -1, -1}, {-1, 1, -1}, {-1, -1, 1}, {-1, -1, -1}} {
				if odd*s[0]*s[1]*s[2] < 0 {
					continue // a mirror image, not a rotation
				}
				t := turn{from: p, sign: s}
				if t.degrees = t.angle(); t.degrees == angle {
					all = append(all, t)
				}
			}
		}
	}
	return all
}

// angle follows from the trace of a rotation: 1 + 2 cos(angle) (Rodrigues), which here is 3, 1, 0 or -1.
func (t turn) angle() float64 {
	trace := 0.0
	for k, from := range t.from {
		if from == k {
			trace += t.sign[k]
		}
	}
	switch trace {
	case 3:
		return 0
	case 1:
		return 90
	case 0:
		return 120
	}
	return 180
}

func (t turn) apply(p [3]float64) [3]float64 {
	return [3]float64{t.sign[0] * p[t.from[0]], t.sign[1] * p[t.from[1]], t.sign[2] * p[t.from[2]]}
}

func (t turn) size(mm [3]float64) [3]float64 {
	return [3]float64{mm[t.from[0]], mm[t.from[1]], mm[t.from[2]]}
}

// axis names the direction in the file that the turn brings to the positive axis k.
func (t turn) axis(k int) string {
	sign := "+"
	if t.sign[k] < 0 {
		sign = "-"
	}
	return sign + [3]string{"X", "Y", "Z"}[t.from[k]]
}

// up is the direction in the file that should point up.
func (t turn) up() string { return t.axis(1) }

// said is the turn within a sentence.
func (t turn) said() words.Arg {
	return words.Said("scene.turn", words.Name(t.axis(1)), words.Name(t.axis(2)))
}

// sizeSlack is how far each axis may be off by the rule of scene.size, in millimetres.
func sizeSlack(want [3]float64, sizeRule spec.Rule) [3]float64 {
	var slack [3]float64
	for k := range want {
		slack[k] = max(want[k]*sizeRule.Numbers["tolerance_share"], sizeRule.Numbers["floor_mm"])
	}
	return slack
}

// misfit is how badly a size matches the contract: the largest ratio between the two over the axes, less one. 0 is
// equal, 1 is twice or half. A size or contract of zero matches nothing.
func misfit(have, want [3]float64) float64 {
	worst := 0.0
	for k := range have {
		if !(have[k] > 0) || !(want[k] > 0) {
			if have[k] == want[k] {
				continue
			}
			return math.Inf(1)
		}
		worst = max(worst, max(have[k]/want[k], want[k]/have[k])-1)
	}
	return worst
}

func within(have, want, slack [3]float64) bool {
	for k := range have {
		if !(math.Abs(have[k]-want[k]) <= slack[k]) {
			return false
		}
	}
	return true
}

func scaled(v [3]float64, f float64) [3]float64 { return [3]float64{v[0] * f, v[1] * f, v[2] * f} }

// bestTurn finds the turn under which a box, lo to hi in millimetres and times factor, fits the contracted size. It is
// noTurn where the box fits as it stands, or where no turn makes it fit. Turns that give the same box are told apart by
// where the origin then lies, then by angle.
func bestTurn(lo, hi [3]float64, factor float64, sp *spec.Spec, slack [3]float64) turn {
	want := *sp.SizeMM
	lo, hi = scaled(lo, factor), scaled(hi, factor)
	size := [3]float64{hi[0] - lo[0], hi[1] - lo[1], hi[2] - lo[2]}
	if within(size, want, slack) {
		return noTurn
	}
	best, bestFit, bestOff := noTurn, math.Inf(1), math.Inf(1)
	for _, t := range turns {
		if !within(t.size(size), want, slack) {
			continue
		}
		fit := misfit(t.size(size), want)
		a, b := t.apply(lo), t.apply(hi)
		for k := range a {
			a[k], b[k] = min(a[k], b[k]), max(a[k], b[k])
		}
		place, _ := originPlace(sp.Conventions, a, b)
		off := lenSq(place)
		// Sizes under two turns are either permuted alike and equal, or differ for good; origins that differ by
		// rounding only must not decide against the smaller angle, which comes first.
		if fit < bestFit-1e-9 || fit <= bestFit+1e-9 && off < float64(bestOff*(1-1e-9))-1e-9 {
			best, bestFit, bestOff = t, fit, off
		}
	}
	return best
}
