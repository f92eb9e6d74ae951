package props

import "math"

// group joins shapes into one part.
type group []shape

func (g group) game(offset float64, lod int) []island {
	var out []island
	for _, s := range g {
		out = append(out, s.game(offset, lod)...)
	}
	return out
}

func (g group) sculpt(edge float64, r relief) sculptMesh {
	var out sculptMesh
	for _, s := range g {
		m := s.sculpt(edge, r)
		first := uint32(len(out.pos))
		out.pos = append(out.pos, m.pos...)
		for _, t := range m.tri {
			out.tri = append(out.tri, first+t)
		}
	}
	return out
}

// stump is a convex collision piece: a profile from its lowest corner to its highest, closed by flat ends.
func stump(sides int, corners ...[2]float64) lathe {
	l := lathe{sides: sides, profile: []ring{{0, corners[0][1], false}}}
	for _, c := range corners {
		l.profile = append(l.profile, ring{c[0], c[1], true})
	}
	l.profile = append(l.profile, ring{0, corners[len(corners)-1][1], false})
	return l
}

// Harbour returns the props of the demo, by code.
func Harbour() []Prop { return []Prop{bollard(), lantern(), crate(), buoy(), capstan()} }

// ByCode returns the prop of that code; false if the harbour has none.
func ByCode(code string) (Prop, bool) {
	for _, p := range Harbour() {
		if p.Code == code {
			return p, true
		}
	}
	return Prop{}, false
}

var (
	pierGreen  = look{0.16, 0.31, 0.29, 0.55, 0.05}
	signalRed  = look{0.62, 0.14, 0.10, 0.5, 0.05}
	dockYellow = look{0.74, 0.55, 0.13, 0.52, 0.05}
	ironBlack  = look{0.17, 0.17, 0.18, 0.6, 0.03}
	oldPine    = look{0.52, 0.40, 0.27, 0.85, 0}
	paleIron   = look{0.36, 0.36, 0.35, 0.55, 0.03}
)

func bollard() Prop {
	body := lathe{sides: 28, round: 0.0035, profile: []ring{
		{0, 0, false}, {0.255, 0, true}, {0.255, 0.055, true}, {0.175, 0.085, true},
		{0.158, 0.20, false}, {0.150, 0.34, false}, {0.156, 0.46, true},
		{0.225, 0.52, true}, {0.238, 0.58, false}, {0.224, 0.65, false}, {0.176, 0.705, false}, {0.095, 0.738, false}, {0, 0.748, false},
	}}
	var bolts group
	for i := range 6 {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / 6)
		bolts = append(bolts, lathe{sides: 8, round: 0.003, x: 0.215 * cos, z: 0.215 * sin, profile: []ring{
			{0, 0.05, false}, {0.019, 0.05, true}, {0.019, 0.086, true}, {0, 0.086, false},
		}})
	}
	iron := hammered(0.0016, 0.05, 11)
	return Prop{Code: "bollard", Title: "Mooring bollard", SizePx: 1024, PxPerM: 736, lods: 3, bumps: []shape{
		stump(12, [2]float64{0.255, 0}, [2]float64{0.255, 0.055}, [2]float64{0.175, 0.085}),
		stump(12, [2]float64{0.172, 0.085}, [2]float64{0.156, 0.46}),
		stump(12, [2]float64{0.156, 0.46}, [2]float64{0.225, 0.52}, [2]float64{0.238, 0.58}, [2]float64{0.224, 0.65}, [2]float64{0.176, 0.705}, [2]float64{0.095, 0.738}),
	}, parts: []part{
		{name: "body", shape: body, relief: iron, paint: painted(pierGreen, 0.35, 3), edge: 0.0042},
		{name: "bolts", shape: bolts, relief: hammered(0.0005, 0.02, 12), paint: painted(ironBlack, 0.5, 5), edge: 0.0016},
	}}
}

func lantern() Prop {
	base := lathe{sides: 40, round: 0.0022, profile: []ring{
		{0, 0, false}, {0.095, 0, true}, {0.095, 0.030, true}, {0.078, 0.046, true}, {0.078, 0.062, true}, {0, 0.062, false},
	}}
	lens := lathe{sides: 36, round: 0.0015, profile: []ring{
		{0, 0.0625, false}, {0.048, 0.0625, true}, {0.056, 0.11, false}, {0.060, 0.16, false}, {0.056, 0.21, false}, {0.048, 0.2575, true}, {0, 0.2575, false},
	}}
	var posts group
	for i := range 4 {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / 4)
		posts = append(posts, lathe{sides: 12, round: 0.001, x: 0.070 * cos, z: 0.070 * sin, profile: []ring{
			{0, 0.058, false}, {0.0062, 0.058, true}, {0.0062, 0.262, true}, {0, 0.262, false},
		}})
	}
	hood := lathe{sides: 40, round: 0.002, profile: []ring{
		{0, 0.258, false}, {0.100, 0.258, true}, {0.102, 0.272, true}, {0.072, 0.306, false}, {0.048, 0.334, true},
		{0.036, 0.338, true}, {0.034, 0.366, true}, {0.018, 0.380, false}, {0, 0.384, false},
	}}
	brass := hammered(0.0004, 0.02, 21)
	return Prop{Code: "lantern", Title: "Pier lantern", SizePx: 1024, PxPerM: 1568, hug: 0.0002, lods: 3, bumps: []shape{
		stump(12, [2]float64{0.095, 0}, [2]float64{0.095, 0.030}, [2]float64{0.078, 0.062}),
		stump(12, [2]float64{0.070, 0.062}, [2]float64{0.070, 0.258}),
		stump(12, [2]float64{0.100, 0.258}, [2]float64{0.102, 0.272}, [2]float64{0.072, 0.306}, [2]float64{0.044, 0.334}),
		stump(12, [2]float64{0.040, 0.334}, [2]float64{0.036, 0.366}, [2]float64{0.018, 0.380}),
	}, parts: []part{
		{name: "base", shape: base, relief: brass, paint: painted(signalRed, 0.3, 31), edge: 0.0016},
		{name: "lens", shape: lens, relief: hammered(0.0003, 0.03, 22), paint: painted(look{0.78, 0.74, 0.62, 0.2, 0}, -0.6, 32), edge: 0.0016},
		{name: "posts", shape: posts, relief: hammered(0.0002, 0.01, 23), paint: painted(ironBlack, 0.2, 33), edge: 0.0011},
		{name: "hood", shape: hood, relief: brass, paint: painted(signalRed, 0.4, 34), edge: 0.0016},
	}}
}

func crate() Prop {
	body := box{c: vec{0, 0.20, 0}, h: vec{0.36, 0.195, 0.24}, round: 0.004}
	var battens group
	for _, x := range []float64{-0.27, 0.27} {
		for _, z := range []float64{-0.2525, 0.2525} {
			battens = append(battens, box{c: vec{x, 0.20, z}, h: vec{0.035, 0.2, 0.0145}, round: 0.003})
		}
	}
	wood := grooved(hammered(0.0012, 0.06, 41), 1, 0.065, 0.006, 0.003)
	return Prop{Code: "crate", Title: "Fish crate", SizePx: 1024, PxPerM: 672, lods: 2, bumps: []shape{box{c: body.c, h: vec{0.36, 0.195, 0.26}}}, parts: []part{
		{name: "body", shape: body, relief: wood, paint: planks(oldPine, 1, 0.065, 43), edge: 0.0045},
		{name: "battens", shape: battens, relief: hammered(0.0010, 0.03, 44), paint: planks(look{0.44, 0.33, 0.22, 0.85, 0}, 0, 0.5, 45), edge: 0.003},
	}}
}

func buoy() Prop {
	float := lathe{sides: 32, round: 0.006, profile: []ring{
		{0, 0, false}, {0.12, 0.01, false}, {0.225, 0.065, false}, {0.288, 0.15, true}, {0.300, 0.165, true}, {0.300, 0.235, true},
		{0.288, 0.25, true}, {0.235, 0.345, false}, {0.150, 0.405, true}, {0.095, 0.415, true}, {0, 0.415, false},
	}}
	mast := lathe{sides: 20, round: 0.004, profile: []ring{
		{0, 0.41, false}, {0.055, 0.41, true}, {0.050, 0.60, false}, {0.040, 0.82, true}, {0.062, 0.85, true}, {0.062, 0.92, true}, {0.028, 0.965, false}, {0, 0.975, false},
	}}
	steel := hammered(0.0018, 0.07, 51)
	return Prop{Code: "buoy", Title: "Channel buoy", SizePx: 1024, PxPerM: 800, lods: 3, bumps: []shape{
		stump(12, [2]float64{0.12, 0}, [2]float64{0.225, 0.065}, [2]float64{0.3, 0.165}, [2]float64{0.3, 0.235}, [2]float64{0.235, 0.345}, [2]float64{0.095, 0.415}),
		stump(12, [2]float64{0.06, 0.415}, [2]float64{0.06, 0.94}),
	}, parts: []part{
		{name: "float", shape: float, relief: steel, paint: painted(dockYellow, 0.3, 53), edge: 0.0048},
		{name: "mast", shape: mast, relief: hammered(0.001, 0.04, 52), paint: painted(dockYellow, 0.45, 54), edge: 0.004},
	}}
}

func capstan() Prop {
	drum := lathe{sides: 28, round: 0.006, profile: []ring{
		{0, 0, false}, {0.27, 0, true}, {0.27, 0.06, true}, {0.205, 0.085, true}, {0.170, 0.20, false}, {0.160, 0.32, false}, {0.172, 0.44, true},
		{0.230, 0.475, true}, {0.238, 0.56, true}, {0.205, 0.60, false}, {0.110, 0.622, false}, {0, 0.628, false},
	}}
	var whelps group
	for _, at := range []struct{ c, h vec }{
		{vec{0.178, 0.27, 0}, vec{0.022, 0.16, 0.018}}, {vec{-0.178, 0.27, 0}, vec{0.022, 0.16, 0.018}},
		{vec{0, 0.27, 0.178}, vec{0.018, 0.16, 0.022}}, {vec{0, 0.27, -0.178}, vec{0.018, 0.16, 0.022}},
	} {
		whelps = append(whelps, box{c: at.c, h: at.h, round: 0.004})
	}
	return Prop{Code: "capstan", Title: "Warping capstan", SizePx: 1024, PxPerM: 720, lods: 3, bumps: []shape{
		stump(12, [2]float64{0.27, 0}, [2]float64{0.27, 0.06}, [2]float64{0.205, 0.085}),
		stump(12, [2]float64{0.2, 0.085}, [2]float64{0.18, 0.44}),
		stump(12, [2]float64{0.172, 0.44}, [2]float64{0.23, 0.475}, [2]float64{0.238, 0.56}, [2]float64{0.205, 0.6}, [2]float64{0.11, 0.622}),
	}, parts: []part{
		{name: "drum", shape: drum, relief: hammered(0.0016, 0.06, 61), paint: painted(paleIron, 0.5, 63), edge: 0.0045},
		{name: "whelps", shape: whelps, relief: hammered(0.0008, 0.03, 62), paint: painted(ironBlack, 0.3, 64), edge: 0.0028},
	}}
}
