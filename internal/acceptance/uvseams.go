package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/chart"
	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// hardDeg is how far apart the two normals at an edge must be for it to be hard: weighted normals and quantised ones
// differ by less at edges that are meant to be soft.
const hardDeg = 2

var seamsDef = spec.Check{
	Name: "uv.seams_at_hard_edges", Scope: spec.PerSet, Title: "seams at hard edges",
	What:   "Hard edges (normals split by more than 2°) that lie inside a chart instead of at its outline; and soft edges inside a chart where the faces meet at a steep angle.",
	Why:    "A baked normal map cannot change from one side of a hard edge to the other within a texel: without a seam a dark line runs along it. Over a steep soft edge the map must hold a gradient that compression spoils.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_missing", Kind: spec.AtMost, Unit: "count", Default: same(0),
			What: "Hard edges without a seam.", Origin: spec.CommonPractice},
		{Key: "max_steep_soft", Kind: spec.AtMost, Unit: "count", Default: same(0),
			What: "Soft edges inside a chart that are steeper than the angle. More than this only warns.", Origin: spec.CommonPractice},
		{Key: "steep_deg", Kind: spec.Target, Unit: "deg", Default: same(75),
			What: "Angle between the faces from which a soft edge is steep.", Origin: spec.CommonPractice},
	},
	Mode: [4]spec.Mode{spec.Warns, spec.Warns, spec.Blocks, spec.Blocks}, From: fromGameMesh,
	NotForSet: map[spec.SetKind]string{
		spec.Tiling:     "Nothing is baked into a tiling map, so a hard edge needs no seam.",
		spec.Trim:       "A trim sheet is baked once by itself, so a hard edge of the prop needs no seam.",
		spec.DecalAtlas: "A decal atlas is baked once by itself, so a hard edge of the prop needs no seam.",
		spec.Shared:     "A shared set is baked once for its kit, not from this prop.",
	},
	Metrics: []string{"missing", "length_mm", "steep_soft", "steep_soft_mm"},
}

func uvSeams(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	l, none := layoutFor(s, t.Set)
	if l == nil {
		return none
	}
	charts, any := l.chartsWithNormals()
	if !any {
		return unable("uv.seams_at_hard_edges.no_normals")
	}
	found := chart.FindCreases(l.sf.Pos, l.sf.Nrm, l.uv, l.sf.Tri, charts,
		detmath.Cos(hardDeg*math.Pi/180), detmath.Cos(r.Numbers["steep_deg"]*math.Pi/180))
	f := judge(r, map[string]float64{
		"missing": float64(len(found.Hard)), "length_mm": roundMM(lengthMM(found.Hard)),
		"steep_soft": float64(len(found.Steep)), "steep_soft_mm": roundMM(lengthMM(found.Steep)),
	}, atMost("missing", "max_missing"), atMost("steep_soft", "max_steep_soft").warns())
	f.say("uv.seams_at_hard_edges.all")
	if n := len(found.Hard); n > 0 {
		f.say("uv.seams_at_hard_edges.missing", words.Count(n), words.MM(lengthMM(found.Hard)))
		f.remedy("uv.seams_at_hard_edges.cut")
	}
	if n := len(found.Steep); n > 0 {
		f.also("uv.seams_at_hard_edges.steep", words.Count(n), words.MM(lengthMM(found.Steep)), words.Deg(r.Numbers["steep_deg"]))
		if len(found.Hard) == 0 {
			f.remedy("uv.seams_at_hard_edges.soften")
		} else {
			f.alsoRemedy("uv.seams_at_hard_edges.soften")
		}
	}
	f.Where = l.creasePlaces(found)
	return f
}

// chartsWithNormals are the charts of triangles, -1 for those delivered without normals: nothing says what is hard there.
func (l *uvLayout) chartsWithNormals() (charts []int32, any bool) {
	charts = l.charts.Chart
	copied := false
	for _, r := range l.sf.Of {
		if !r.NoNormals {
			any = true
			continue
		}
		if !copied {
			charts, copied = append([]int32(nil), charts...), true
		}
		for t := r.First; t < r.End; t++ {
			charts[t] = -1
		}
	}
	return charts, any
}

func lengthMM(list []chart.Crease) float64 {
	sum := 0.0
	for _, c := range list {
		sum += c.Length
	}
	return 1000 * sum
}

// creasePlaces names the longest hard edges, then the longest steep ones.
func (l *uvLayout) creasePlaces(found chart.Creases) []Place {
	var out []Place
	for k, list := range [][]chart.Crease{found.Hard, found.Steep} {
		w := worst{}
		for i, c := range list {
			w.add(c.Length, i)
		}
		for _, e := range w.top() {
			c := list[e.at]
			p := l.place(c.Triangles[0])
			p.Value = &Value{Value: rounded(180/math.Pi*detmath.Acos(max(-1, min(1, c.Cos))), 2), Unit: "deg"}
			p.note([]string{"uv.seams_at_hard_edges.hard_edge", "uv.seams_at_hard_edges.steep_edge"}[k], words.MM(1000*c.Length))
			out = append(out, p)
		}
	}
	return out[:min(len(out), maxPlaces)]
}
