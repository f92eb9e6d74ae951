package mesh

import (
	"fmt"
	"slices"
)

// Skins and animations are checked for form only (glTF 2.0, sections 3.7.3 and 3.11): a prop is inspected in its rest pose.

// skin is what checks need to know of a skin.
type skin struct {
	joints []int
	at     int
}

func (d *document) checkSkins() {
	var skins []skin
	for i, v := range d.each("skins") {
		s := skin{at: v}
		for _, e := range d.t.elems(d.val(v, "joints")) {
			if n, ok := d.t.int(e); ok && !d.bad[e] {
				s.joints = append(s.joints, int(n))
			}
		}
		skins = append(skins, s)
		d.checkBindMatrices(s, pointer("skins", i)+"/inverseBindMatrices")
		d.checkSkeleton(s, pointer("skins", i))
	}
	for n, v := range d.each("nodes") {
		i := d.index(v, "skin")
		if i < 0 || i >= len(skins) || d.s.Nodes[n].Mesh < 0 {
			continue
		}
		if top := d.jointRange[d.s.Nodes[n].Mesh]; top >= len(skins[i].joints) && len(skins[i].joints) > 0 {
			d.is.error("data.joint_range", d.s.Nodes[n].Pointer, d.t.offset(v), fmt.Sprintf("The mesh uses joint %d and the skin has %d; export again.", top, len(skins[i].joints)))
		}
		d.checkSkinScene(n, skins[i])
	}
}

func (d *document) checkBindMatrices(s skin, ptr string) {
	m := d.index(s.at, "inverseBindMatrices")
	if m < 0 {
		return
	}
	a := &d.accs[m]
	if a.typ != "MAT4" || a.comp != compFloat {
		d.is.error("skin.matrix_format", ptr, d.t.offset(s.at), "Inverse bind matrices must be MAT4 of float.")
	}
	if !a.typed {
		return
	}
	d.useAs(m, "matrix", ptr)
	d.packed(a, ptr)
	if a.count < int64(len(s.joints)) {
		d.is.error("skin.matrix_count", ptr, d.t.offset(s.at), fmt.Sprintf("There are %d inverse bind matrices for %d joints.", a.count, len(s.joints)))
	}
	if a.typ != "MAT4" || a.comp != compFloat || !d.filled(a) || d.once(m) {
		return
	}
	values := d.floats(m)
	for i := 0; i+15 < len(values); i += 16 {
		if values[i+3] != 0 || values[i+7] != 0 || values[i+11] != 0 || values[i+15] != 1 {
			d.is.error("data.bind_matrix", ptr, d.dataOffset(a, int64(i)), fmt.Sprintf("The last row of inverse bind matrix %d is not 0 0 0 1; export again.", i/16))
			return
		}
	}
}

// filled tells whether an accessor has data of its own, rather than zeros that an extension is to fill in.
func (d *document) filled(a *accessor) bool { return a.view >= 0 || a.sparse != nil }

// packed reports a stride where none may be.
func (d *document) packed(a *accessor, ptr string) {
	if a.view >= 0 && d.views[a.view].stride > 0 {
		d.is.error("view.stride", ptr, -1, "The data lie in a view with a byteStride; they must be packed.")
	}
}

// ancestors returns a node and everything above it.
func (d *document) ancestors(n int) map[int]bool {
	up := map[int]bool{}
	for ; n >= 0 && !up[n]; n = d.s.Nodes[n].Parent {
		up[n] = true
	}
	return up
}

// checkSkeleton checks that joints hang together and that the skeleton node is above them all.
func (d *document) checkSkeleton(s skin, ptr string) {
	if len(s.joints) == 0 {
		return
	}
	common := d.ancestors(s.joints[0])
	for _, j := range s.joints[1:] {
		up := d.ancestors(j)
		for n := range common {
			if !up[n] {
				delete(common, n)
			}
		}
	}
	if len(common) == 0 {
		d.is.error("skin.no_common_root", ptr+"/joints", d.t.offset(s.at), "The joints do not hang under one node; parent them to one.")
	}
	if k := d.index(s.at, "skeleton"); k >= 0 && !common[k] {
		d.is.error("skin.skeleton", ptr+"/skeleton", d.t.offset(s.at), fmt.Sprintf("Node %d is given as skeleton and is not above every joint.", k))
	}
}

// checkSkinScene checks that a scene with a skinned node holds the joints too.
func (d *document) checkSkinScene(n int, s skin) {
	if len(s.joints) == 0 {
		return
	}
	node, joint := d.ancestors(n), d.ancestors(s.joints[0])
	for i, v := range d.each("scenes") {
		var hasNode, hasJoint bool
		for _, e := range d.t.elems(d.val(v, "nodes")) {
			r, ok := d.t.int(e)
			hasNode = hasNode || ok && node[int(r)]
			hasJoint = hasJoint || ok && joint[int(r)]
		}
		if hasNode && !hasJoint {
			d.is.error("skin.scene", d.s.Nodes[n].Pointer+"/skin", d.t.offset(s.at), fmt.Sprintf("Scene %d shows the skinned node without its joints; add them.", i))
		}
	}
}

// checkInfluences checks a primitive's skin weights and joints (section 3.7.3.3): weights are not negative and add to
// 1 over all sets, within 2e-7 for each weight that is not zero; no joint is used twice by one vertex.
func (d *document) checkInfluences(attrs []attribute, m int, ptr string) {
	var joints, weights []attribute
	for _, a := range attrs {
		if a.acc < 0 || !d.accs[a.acc].ok || d.accs[a.acc].typ != "VEC4" || !d.fits(&d.accs[a.acc], semantics[a.base]) || !d.filled(&d.accs[a.acc]) {
			continue
		}
		switch a.base {
		case "JOINTS":
			joints = append(joints, a)
			if s := d.statsOf(a.acc); s != nil {
				d.jointRange[m] = max(d.jointRange[m], int(slices.Max(s.max)))
			}
		case "WEIGHTS":
			weights = append(weights, a)
		}
	}
	if len(weights) == 0 {
		return
	}
	first := true
	count := d.accs[weights[0].acc].count
	j, w := make([][]float32, len(joints)), make([][]float32, len(weights))
	for k, a := range weights {
		first = !d.once(a.acc) && first
		w[k] = d.floats(a.acc)
		count = min(count, int64(len(w[k])/4))
	}
	for k, a := range joints {
		j[k] = d.floats(a.acc)
		count = min(count, int64(len(j[k])/4))
	}
	if !first {
		return
	}
	for v := range int(count) {
		if code, msg := influences(v, j, w); code != "" {
			d.is.error(code, ptr+"/attributes/"+weights[0].name, d.dataOffset(&d.accs[weights[0].acc], int64(4*v)), msg)
			return
		}
	}
}

// weightTolerance is how far the sum of a vertex's weights may be from 1 for each weight that is not zero (section
// 3.7.3.3): about two roundings of a single.
const weightTolerance = 2e-7

func influences(v int, joints, weights [][]float32) (code, msg string) {
	sum, used := 0.0, 0
	var seen [64]float32
	n := 0
	for k, set := range weights {
		for c, x := range set[4*v : 4*v+4] {
			if x < 0 {
				return "data.weight_negative", fmt.Sprintf("Vertex %d has a negative weight; normalize the weights.", v)
			}
			if x == 0 {
				continue
			}
			sum += float64(x)
			used++
			if k >= len(joints) {
				continue
			}
			j := joints[k][4*v+c]
			if slices.Contains(seen[:n], j) {
				return "data.joint_twice", fmt.Sprintf("Vertex %d uses joint %g twice; join its weights.", v, j)
			}
			if n < len(seen) {
				seen[n] = j
				n++
			}
		}
	}
	if off := sum - 1; off > weightTolerance*float64(max(used, 1)) || -off > weightTolerance*float64(max(used, 1)) {
		return "data.weight_sum", fmt.Sprintf("The weights of vertex %d add to %.7g and must add to 1; normalize them.", v, sum)
	}
	return "", ""
}

// checkLights checks what KHR_lights_punctual asks of spots.
func (d *document) checkLights() {
	for i, v := range d.t.elems(d.t.path(0, "extensions", "KHR_lights_punctual", "lights")) {
		spot := d.val(v, "spot")
		if d.t.string(d.val(v, "type")) == "spot" && spot < 0 && d.t.get(v, "spot") < 0 {
			d.is.error("schema.dependency", fmt.Sprintf("/extensions/KHR_lights_punctual/lights/%d", i), d.t.offset(v), "A spot light needs \"spot\".")
		}
		if spot >= 0 && d.float(spot, "outerConeAngle", 0.785398) <= d.float(spot, "innerConeAngle", 0) {
			d.is.error("light.spot_angles", fmt.Sprintf("/extensions/KHR_lights_punctual/lights/%d/spot", i), d.t.offset(spot), "The outer cone of a spot must be wider than its inner cone.")
		}
	}
}
