package mesh

import (
	"fmt"
	"math"
	"slices"
)

// animSampler is an animation sampler whose accessors exist.
type animSampler struct {
	input, output int
	cubic         bool
	at            int
	used          bool
}

func (d *document) checkAnimations() {
	for i, v := range d.each("animations") {
		ptr := pointer("animations", i)
		var samplers []animSampler
		for k, e := range d.t.elems(d.val(v, "samplers")) {
			s := animSampler{input: d.index(e, "input"), output: d.index(e, "output"), at: e, cubic: d.t.string(d.val(e, "interpolation")) == "CUBICSPLINE"}
			samplers = append(samplers, s)
			d.checkTimes(s, fmt.Sprintf("%s/samplers/%d/input", ptr, k))
			if s.output >= 0 && d.accs[s.output].typed {
				d.useAs(s.output, "animation value", fmt.Sprintf("%s/samplers/%d/output", ptr, k))
				d.packed(&d.accs[s.output], fmt.Sprintf("%s/samplers/%d/output", ptr, k))
			}
		}
		targets := map[string]int{}
		for k, c := range d.t.elems(d.val(v, "channels")) {
			at := fmt.Sprintf("%s/channels/%d", ptr, k)
			target := d.val(c, "target")
			node, path := d.index(target, "node"), d.t.string(d.val(target, "path"))
			if key := fmt.Sprint(node, path); node >= 0 && path != "" {
				if first, twice := targets[key]; twice {
					d.is.error("animation.target_twice", at+"/target", d.t.offset(c), fmt.Sprintf("The channel moves what channel %d moves already.", first))
				}
				targets[key] = k
			}
			d.checkTarget(node, path, at, c)
			n := d.intOf(c, "sampler", -1)
			switch {
			case n >= int64(len(samplers)):
				d.is.error("reference.unresolved", at+"/sampler", d.t.offset(c), fmt.Sprintf("This points at sampler %d and the animation has %d.", n, len(samplers)))
			case n >= 0:
				d.checkOutput(samplers[n], node, path, at)
			}
		}
	}
}

// checkTarget checks that a channel may move what it names.
func (d *document) checkTarget(node int, path, ptr string, c int) {
	if node < 0 || node >= len(d.s.Nodes) {
		return
	}
	v := d.nodeAt[node]
	if (path == "translation" || path == "rotation" || path == "scale") && d.t.get(v, "matrix") >= 0 {
		d.is.error("animation.target_matrix", ptr+"/target/path", d.t.offset(c), "The channel moves a node that has a matrix; give it translation, rotation and scale.")
	}
	if m := d.s.Nodes[node].Mesh; path == "weights" && (m < 0 || d.morphs[m] == 0) {
		d.is.error("animation.target_weights", ptr+"/target/path", d.t.offset(c), "The channel moves morph weights of a node without morph targets.")
	}
}

// checkTimes checks a sampler's times: float scalars with bounds, not negative, growing.
func (d *document) checkTimes(s animSampler, ptr string) {
	if s.input < 0 {
		return
	}
	a := &d.accs[s.input]
	if a.typ != "SCALAR" || a.comp != compFloat {
		d.is.error("animation.input_format", ptr, d.t.offset(s.at), "Times must be single floats.")
	}
	if d.val(a.at, "min") < 0 || d.val(a.at, "max") < 0 {
		d.is.error("animation.input_bounds", ptr, d.t.offset(s.at), "Times must declare \"min\" and \"max\".")
	}
	if !a.typed {
		return
	}
	d.useAs(s.input, "animation time", ptr)
	d.packed(a, ptr)
	if s.cubic && a.count < 2 {
		d.is.error("animation.input_count", ptr, d.t.offset(s.at), "A cubic spline needs two times or more.")
	}
	if a.typ != "SCALAR" || a.comp != compFloat || !d.filled(a) || d.once(s.input) {
		return
	}
	last := float32(math.Inf(-1))
	for k, t := range d.floats(s.input) {
		switch {
		case t < 0:
			d.is.error("animation.input_negative", ptr, d.dataOffset(a, int64(k)), fmt.Sprintf("Time %d is negative.", k))
			return
		case t <= last:
			d.is.error("animation.input_order", ptr, d.dataOffset(a, int64(k)), fmt.Sprintf("Time %d is not after the one before it.", k))
			return
		}
		last = t
	}
}

// outputs says what a sampler's values look like for each path (section 3.11).
var outputs = map[string]semantic{
	"translation": {types: []string{"VEC3"}, plain: []format{fFloat}},
	"scale":       {types: []string{"VEC3"}, plain: []format{fFloat}},
	"rotation":    {types: []string{"VEC4"}, plain: []format{fFloat, fByteN, fUByteN, fShortN, fUShortN}},
	"weights":     {types: []string{"SCALAR"}, plain: []format{fFloat, fByteN, fUByteN, fShortN, fUShortN}},
}

func (d *document) checkOutput(s animSampler, node int, path, ptr string) {
	want, known := outputs[path]
	if !known || s.output < 0 {
		return
	}
	a := &d.accs[s.output]
	if !slices.Contains(want.types, a.typ) || !slices.Contains(want.plain, format{a.comp, a.norm}) {
		d.is.error("animation.output_format", ptr+"/sampler", d.t.offset(s.at), fmt.Sprintf("Values of a %s must be %s of float.", path, want.types[0]))
	}
	if !a.typed {
		return
	}
	if s.input >= 0 && d.accs[s.input].typed {
		n := d.accs[s.input].count
		if s.cubic {
			n *= 3
		}
		if path == "weights" {
			if node < 0 || node >= len(d.s.Nodes) || d.s.Nodes[node].Mesh < 0 {
				return
			}
			n *= int64(d.morphs[d.s.Nodes[node].Mesh])
		}
		if n != 0 && n != a.count {
			d.is.error("animation.output_count", ptr+"/sampler", d.t.offset(s.at), fmt.Sprintf("There are %d values and %d are needed for the times.", a.count, n))
		}
	}
	if path == "rotation" && a.typ == "VEC4" && d.filled(a) {
		d.checkTurns(s, a, ptr)
	}
}

// checkTurns checks that rotations are unit quaternions; a cubic spline's tangents need not be.
func (d *document) checkTurns(s animSampler, a *accessor, ptr string) {
	if d.once(s.output) {
		return
	}
	step, from := 4, 0
	if s.cubic {
		step, from = 12, 4
	}
	v := d.floats(s.output)
	for i := from; i+3 < len(v); i += step {
		length := math.Sqrt(sq(v[i]) + sq(v[i+1]) + sq(v[i+2]) + sq(v[i+3]))
		if !(math.Abs(length-1) <= unitTolerance4) {
			d.is.error("data.not_unit", ptr+"/sampler", d.dataOffset(a, int64(i)), fmt.Sprintf("Rotation %d has length %.4g and must have 1.", i/step, length))
			return
		}
	}
}
