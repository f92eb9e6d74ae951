package mesh

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// The rules of glTF 2.0, section 3.7.2.1 "Meshes Overview", for what an accessor must look like where it is used.

// format is a component type, normalized or not.
type format struct {
	comp int64
	norm bool
}

type semantic struct {
	types   []string
	plain   []format
	quant   []format // allowed too under KHR_mesh_quantization
	indexed bool
}

var (
	fFloat   = format{compFloat, false}
	fUByteN  = format{compUByte, true}
	fUShortN = format{compUShort, true}
	fByteN   = format{compByte, true}
	fShortN  = format{compShort, true}
	fByte    = format{compByte, false}
	fUByte   = format{compUByte, false}
	fShort   = format{compShort, false}
	fUShort  = format{compUShort, false}
)

var semantics = map[string]semantic{
	"POSITION": {types: []string{"VEC3"}, plain: []format{fFloat}, quant: []format{fByte, fByteN, fUByte, fUByteN, fShort, fShortN, fUShort, fUShortN}},
	"NORMAL":   {types: []string{"VEC3"}, plain: []format{fFloat}, quant: []format{fByteN, fShortN}},
	"TANGENT":  {types: []string{"VEC4"}, plain: []format{fFloat}, quant: []format{fByteN, fShortN}},
	"TEXCOORD": {types: []string{"VEC2"}, plain: []format{fFloat, fUByteN, fUShortN}, quant: []format{fByte, fByteN, fUByte, fShort, fShortN, fUShort}, indexed: true},
	"COLOR":    {types: []string{"VEC3", "VEC4"}, plain: []format{fFloat, fUByteN, fUShortN}, indexed: true},
	"JOINTS":   {types: []string{"VEC4"}, plain: []format{fUByte, fUShort}, indexed: true},
	"WEIGHTS":  {types: []string{"VEC4"}, plain: []format{fFloat, fUByteN, fUShortN}, indexed: true},
}

// splitSemantic takes "TEXCOORD_1" apart; n is -1 where there is no number.
func splitSemantic(name string) (base string, n int) {
	base, tail, ok := strings.Cut(name, "_")
	if !ok {
		return name, -1
	}
	n, err := strconv.Atoi(tail)
	if err != nil || n < 0 || strconv.Itoa(n) != tail {
		return name, -1
	}
	return base, n
}

// attribute is one vertex attribute of a primitive.
type attribute struct {
	name string
	base string
	n    int
	acc  int
}

// attributes lists a primitive's attributes that point at an accessor, and checks names and numbering.
func (d *document) attributes(prim int, ptr string) []attribute {
	var all []attribute
	most := map[string]int{}
	have := map[string]int{}
	obj := d.val(prim, "attributes")
	for k := range d.t.keys(obj) {
		name := d.t.string(k)
		at := ptr + "/attributes/" + name
		a := attribute{name: name, acc: -1}
		a.base, a.n = splitSemantic(name)
		s, known := semantics[a.base]
		switch {
		case strings.HasPrefix(name, "_"):
		case !known || s.indexed != (a.n >= 0):
			d.is.error("mesh.attribute_name", at, d.t.offset(k), fmt.Sprintf("%q is no attribute that glTF knows; own attributes begin with \"_\".", clip(name)))
			continue
		case s.indexed:
			have[a.base]++
			most[a.base] = max(most[a.base], a.n+1)
		}
		if n, ok := d.t.int(k + 1); ok && !d.bad[k+1] {
			a.acc = int(n)
		}
		all = append(all, a)
	}
	for _, base := range sortedKeys(most) {
		if most[base] != have[base] {
			d.is.error("mesh.attribute_numbers", ptr+"/attributes", d.t.offset(obj), fmt.Sprintf("%s sets must be numbered from 0 without gaps; there are %d and the highest is %d.", base, have[base], most[base]-1))
		}
	}
	if have["JOINTS"] != have["WEIGHTS"] {
		d.is.error("mesh.joints_weights", ptr+"/attributes", d.t.offset(obj), fmt.Sprintf("There are %d sets of joints and %d of weights; each needs the other.", have["JOINTS"], have["WEIGHTS"]))
	}
	slices.SortFunc(all, func(a, b attribute) int { return strings.Compare(a.name, b.name) })
	return all
}

// checkAttribute checks an accessor's format and place for its use as an attribute and tells whether it fits.
func (d *document) checkAttribute(a attribute, ptr string) bool {
	if a.acc < 0 {
		return false
	}
	ptr += "/attributes/" + a.name
	acc := &d.accs[a.acc]
	if !acc.typed {
		d.is.error("mesh.attribute_format", ptr, -1, fmt.Sprintf("%s points at an accessor without a type that glTF knows; export it again.", clip(a.name)))
		return false
	}
	ok := true
	if acc.comp == compUInt && strings.HasPrefix(a.name, "_") {
		d.is.error("mesh.attribute_format", ptr, -1, "An attribute cannot be of unsigned ints; export it as floats.")
	}
	if s, known := semantics[a.base]; known && !d.fits(acc, s) {
		d.is.error("mesh.attribute_format", ptr, -1, fmt.Sprintf("%s cannot be %s of %s; export it as floats.", a.name, acc.typ, acc.describe()))
		ok = slices.Contains(s.types, acc.typ)
	}
	if a.base == "POSITION" && (d.val(acc.at, "min") < 0 || d.val(acc.at, "max") < 0) {
		d.is.error("mesh.position_bounds", ptr, d.t.offset(acc.at), "Positions must declare \"min\" and \"max\"; the exporter left them out.")
	}
	d.useAs(a.acc, "vertex", ptr)
	if acc.view >= 0 {
		if acc.offset%4 != 0 || acc.stride%4 != 0 {
			d.is.error("mesh.attribute_alignment", ptr, -1, "Vertex data must begin, and step, at multiples of 4 bytes; the exporter must pad it.")
		}
	}
	return ok
}

func (a *accessor) describe() string {
	if a.norm {
		return "normalized " + compNames[a.comp]
	}
	return compNames[a.comp]
}

func (d *document) fits(a *accessor, s semantic) bool {
	f := format{a.comp, a.norm}
	return slices.Contains(s.types, a.typ) && (slices.Contains(s.plain, f) || d.quant && slices.Contains(s.quant, f))
}

// useAs notes what an accessor and its view are for: vertex data and indices must not share (section 3.6.2.1 and 3.6.1.1).
func (d *document) useAs(i int, use, ptr string) {
	a := &d.accs[i]
	if a.use != "" && a.use != use {
		d.is.error("accessor.use", ptr, -1, fmt.Sprintf("The accessor is used as %s data and as %s data; each needs its own.", a.use, use))
		return
	}
	if a.use == use {
		return
	}
	a.use = use
	if a.view < 0 {
		return
	}
	w := &d.views[a.view]
	d.useView(a.view, use, ptr)
	if use == "vertex" && w.stride == 0 {
		if w.shared++; w.shared == 2 {
			d.is.error("view.stride", pointer("bufferViews", a.view), -1, "Two attributes share this view and it has no byteStride; the exporter must give one.")
		}
	}
	if use == "index" && w.stride > 0 {
		d.is.error("view.stride", ptr, -1, "Indices lie in a view with a byteStride; they must be packed.")
	}
}

func (d *document) useView(i int, use, ptr string) {
	w := &d.views[i]
	if use != "vertex" && use != "index" && use != "image" {
		use = "other"
	}
	wanted := map[string]int64{"vertex": 34962, "index": 34963}[use]
	if w.use != "" && w.use != use || w.target != 0 && wanted != 0 && w.target != wanted {
		d.is.error("view.use", ptr, -1, fmt.Sprintf("The view %d is used as %s data and also for something else, or its target says otherwise; each use needs its own view.", i, use))
	}
	if w.use == "" {
		w.use = use
	}
}
