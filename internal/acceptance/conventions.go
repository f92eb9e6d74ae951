package acceptance

import "proofhouse/internal/acceptance/spec"

// unitMetres is the length of each unit that a spec may name for delivered files, in metres.
var unitMetres = map[string]float64{"m": 1, "dm": 0.1, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}

// conventionMend is what brings files made after the spec's conventions to metres, +Y up and the front along +Z.
func conventionMend(c spec.Conventions) mend {
	m := asIs
	if f, ok := unitMetres[c.Unit]; ok {
		m.factor = f
	}
	up, forward := axisVector(c.Up), axisVector(c.Forward)
	if dot(up, up) == 0 || dot(forward, forward) == 0 || dot(up, forward) != 0 {
		return m
	}
	for k, v := range [3][3]float64{cross(up, forward), up, forward} { // the left is up × forward, as X is Y × Z
		for axis, x := range v {
			if x != 0 {
				m.turn.from[k], m.turn.sign[k] = axis, x
			}
		}
	}
	m.turn.degrees = m.turn.angle()
	return m
}

// axisVector reads "+Y" or "-Z"; zero where it is neither.
func axisVector(name string) (v [3]float64) {
	if len(name) != 2 || name[1] < 'X' || name[1] > 'Z' {
		return v
	}
	switch name[0] {
	case '+':
		v[name[1]-'X'] = 1
	case '-':
		v[name[1]-'X'] = -1
	}
	return v
}

// inConvention returns the subject in metres, +Y up, front along +Z, for files that follow the spec's conventions.
// It is s itself where those are glTF's.
func inConvention(s *Subject) *Subject {
	m := conventionMend(s.Spec.Conventions)
	if m.nothing() {
		return s
	}
	p := mends{sculpt: m, cage: m, hulls: m}
	for range s.LODs {
		p.lods = append(p.lods, m)
	}
	return p.apply(s)
}

// then is what m and after it n do.
func (m mend) then(n mend) mend {
	if m.factor == 0 {
		return n
	}
	out := mend{factor: m.factor * n.factor}
	for k := range 3 {
		out.turn.from[k] = m.turn.from[n.turn.from[k]]
		out.turn.sign[k] = n.turn.sign[k] * m.turn.sign[n.turn.from[k]]
	}
	out.turn.degrees = out.turn.angle()
	return out
}
