package acceptance

import (
	"context"
	"slices"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spatial"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var looseDef = spec.Check{
	Name: "topology.loose", Scope: spec.PerPart, Title: "loose pieces and vertices",
	What:   "Vertices that no triangle uses, shells too small to be seen, and vertices that agree in place, normal, tangent, every UV and colour and are yet not joined.",
	Why:    "Leftovers move bounding boxes and origins and cost memory; a mesh exported without joined vertices costs up to three times the vertices and loses its smooth shading when it is imported.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_stray_vertices", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Vertices that no triangle uses.", Origin: spec.CommonPractice},
		{Key: "max_tiny_shells", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Shells smaller than tiny_px.", Origin: spec.CommonPractice},
		{Key: "max_unjoined_share", Kind: spec.AtMost, Unit: "share", Default: same(0.01), What: "Share of the vertices that could be joined to another.", Origin: spec.CommonPractice},
		{Key: "tiny_px", Kind: spec.Target, Unit: "px", Default: same(1),
			What: "Size of a shell's box, in pixels at the tier's distance, under which nobody ever sees it.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh, Metrics: []string{"stray_vertices", "tiny_shells", "unjoined_vertices", "unjoined_share"},
}

func topologyLoose(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, looseDef)
	if !ok {
		return f
	}
	stray, unjoined, vertices, unknown, places := x.looseVertices()
	tiny := 0
	px := s.Spec.View.PixelMM() / 1000
	least := px * r.Numbers["tiny_px"]
	for i := range x.Shells {
		sh := &x.Shells[i]
		if x.has(sh.First) && sh.Diagonal() < least {
			tiny++
			if len(places) < maxPlaces {
				p := x.at(sh.First, centre(sh), 1000*sh.Diagonal(), "mm")
				p.note("topology.loose.shell", words.Count(sh.Triangles))
				places = append(places, p)
			}
		}
	}
	share := 0.0
	if vertices > 0 {
		share = float64(unjoined) / float64(vertices)
	}
	f = judge(r, map[string]float64{"stray_vertices": float64(stray), "tiny_shells": float64(tiny),
		"unjoined_vertices": float64(unjoined), "unjoined_share": share},
		atMost("stray_vertices", "max_stray_vertices"), atMost("tiny_shells", "max_tiny_shells"), atMost("unjoined_share", "max_unjoined_share"))
	f.Where = places
	if stray+tiny+unjoined == 0 {
		f.say("topology.loose.none")
	} else {
		f.say("topology.loose.found", words.Count(stray), words.Count(tiny), words.Count(unjoined))
	}
	wholly := share > joinedNothing || x.unwelded
	if wholly {
		f.also("topology.loose.unwelded", words.Count(unjoined), words.Count(vertices))
	}
	if unknown {
		f.also("topology.loose.weights")
	}
	if broke(f) {
		switch {
		case wholly:
			f.remedy("topology.loose.weld")
		case stray+tiny > 0:
			f.remedy("topology.loose.delete")
		default:
			f.remedy("topology.loose.join")
		}
	}
	return x.close(f)
}

// joinedNothing is the share of vertices that could be joined from which the whole export joined nothing.
const joinedNothing = 0.25

// looseVertices counts over the target's primitives, each once however often it is drawn. unknown is true where skin
// weights, which are not read, may part vertices.
func (x *topoTarget) looseVertices() (stray, unjoined, vertices int, unknown bool, places []Place) {
	seen := map[*mesh.Primitive]bool{}
	for _, r := range x.sf.Of {
		if r.End <= r.First || !x.has(r.First) {
			continue
		}
		p := &r.Scene.Prims[r.Draw.Prim]
		if seen[p] {
			continue
		}
		seen[p] = true
		n := len(p.Pos) / 3
		used := make([]bool, n)
		for _, v := range p.Tri {
			used[v] = true
		}
		for v, u := range used {
			if u {
				vertices++
				continue
			}
			stray++
			if len(places) < maxPlaces {
				q := x.at(r.First, point(x.Pos, uint32(r.VFirst+v)), 0, "mm")
				q.Triangles, q.Value = nil, nil
				q.note("topology.loose.stray")
				places = append(places, q)
			}
		}
		if p.HasWeights {
			unknown = true
			continue
		}
		unjoined += joinable(p, used, r.Scene.Format == "obj" && !x.unwelded)
	}
	return stray, unjoined, vertices, unknown, places
}

// Attributes agree where they differ by no more than what they are stored in rounds to: normals and tangents in 8 bits,
// UVs in 16 bits over a tile, colours in 8 bits.
const (
	normalStep = 1.0 / 127
	uvStep     = 1.0 / 65535
	colourStep = 1.0 / 255
)

// joinable counts the used vertices of a primitive that agree with an earlier one in everything. Positions agree exactly. In an
// .obj file two corners of one position are joined whatever the export repeats, so only different ones count.
func joinable(p *mesh.Primitive, used []bool, byFile bool) int {
	place, places := spatial.Weld(p.Pos, 0)
	start := make([]uint32, places+1)
	for v, w := range place {
		if used[v] {
			start[w+1]++
		}
	}
	for i := range places {
		start[i+1] += start[i]
	}
	order := make([]uint32, start[places])
	fill := slices.Clone(start[:places])
	for v, w := range place {
		if used[v] {
			order[fill[w]] = uint32(v)
			fill[w]++
		}
	}
	count := 0
	for w := range places {
		group := order[start[w]:start[w+1]]
		for i, v := range group {
			// A hub may hold thousands: the nearest neighbours in the file are where copies lie.
			for _, u := range group[max(0, i-64):i] {
				if byFile && len(p.Place) > 0 && p.Place[u] == p.Place[v] {
					continue
				}
				if agree(p, int(u), int(v)) {
					count++
					break
				}
			}
		}
	}
	return count
}

func agree(p *mesh.Primitive, u, v int) bool {
	same := func(a []float32, width int, step float32) bool {
		if len(a) < width*(max(u, v)+1) {
			return true
		}
		for k := range width {
			if d := a[width*u+k] - a[width*v+k]; !(d <= step && -d <= step) {
				return false
			}
		}
		return true
	}
	for _, uv := range p.UV {
		if !same(uv, 2, uvStep) {
			return false
		}
	}
	return same(p.Nrm, 3, normalStep) && same(p.Tan, 4, normalStep) && same(p.Col, 4, colourStep)
}
