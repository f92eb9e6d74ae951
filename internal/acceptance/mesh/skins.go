package mesh

import "fmt"

// checkSkinsAndAnimations checks what skins and animations point at. Neither is used further: a prop is inspected in
// its rest pose.
func (d *document) checkSkinsAndAnimations() {
	for i, v := range d.each("skins") {
		joints := d.t.len(d.val(v, "joints"))
		ptr := pointer("skins", i) + "/inverseBindMatrices"
		m := d.index(v, "inverseBindMatrices")
		if m < 0 || !d.accs[m].typed {
			continue
		}
		a := &d.accs[m]
		d.useAs(m, "matrix", ptr)
		if a.typ != "MAT4" || a.comp != compFloat {
			d.is.error("skin.matrix_format", ptr, d.t.offset(v), fmt.Sprintf("Inverse bind matrices cannot be %s of %s; they are MAT4 of float.", a.typ, a.describe()))
		}
		if a.count < int64(joints) {
			d.is.error("skin.matrix_count", ptr, d.t.offset(v), fmt.Sprintf("There are %d inverse bind matrices for %d joints.", a.count, joints))
		}
	}
	for i, v := range d.each("animations") {
		samplers := d.t.len(d.val(v, "samplers"))
		for k, c := range d.t.elems(d.val(v, "channels")) {
			if n := d.intOf(c, "sampler", 0); n >= int64(samplers) {
				d.is.error("reference.unresolved", fmt.Sprintf("/animations/%d/channels/%d/sampler", i, k), d.t.offset(c), fmt.Sprintf("This points at sampler %d and the animation has %d.", n, samplers))
			}
		}
		for k, s := range d.t.elems(d.val(v, "samplers")) {
			d.animationInput(d.index(s, "input"), fmt.Sprintf("/animations/%d/samplers/%d/input", i, k), s)
		}
	}
}

// animationInput checks a sampler's times: float scalars with bounds, not negative, growing (glTF 2.0, section 3.11).
func (d *document) animationInput(i int, ptr string, v int) {
	if i < 0 || !d.accs[i].typed {
		return
	}
	a := &d.accs[i]
	d.useAs(i, "animation", ptr)
	if a.typ != "SCALAR" || a.comp != compFloat {
		d.is.error("animation.input_format", ptr, d.t.offset(v), fmt.Sprintf("Times cannot be %s of %s; they are single floats.", a.typ, a.describe()))
		return
	}
	if d.val(a.at, "min") < 0 || d.val(a.at, "max") < 0 {
		d.is.error("animation.input_bounds", ptr, d.t.offset(v), "Times must declare \"min\" and \"max\".")
	}
	if d.once(i) {
		return
	}
	last := float32(-1)
	for k, t := range d.floats(i) {
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
