package acceptance

import (
	"context"
	"errors"
	"slices"
	"sync"

	"proofhouse/internal/acceptance/bake"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// bakeMeasure is what the checks of a set's normal maps share: each map is decoded, held against our own bake and let go,
// once. Subjects that were mended share it with the one as delivered: their surfaces differ by a turn and a factor, and the
// mended one, which is measured first, is the one that can be baked.
type bakeMeasure struct {
	once sync.Once
	maps []*rebaked
	why  *Finding // why nothing was baked
	keep []Picture
}

// rebaked is one delivered map held against our bake.
type rebaked struct {
	setMap
	fault  error // nil where it was compared
	report *bake.Report
	others []string // names of the sets whose maps were tried
	scene  *bakeScene
	grid   bake.Grid
	green  string // "up" or "down", as contracted
	panels *bakePanels
}

// bakesOf measures a set's normal maps.
func bakesOf(ctx context.Context, s *Subject, set *Set) *bakeMeasure {
	m := set.bakes
	if m == nil { // a subject that was put together by hand
		m = &bakeMeasure{}
	}
	m.once.Do(func() { m.measure(ctx, s, set) })
	return m
}

func (m *bakeMeasure) measure(ctx context.Context, s *Subject, set *Set) {
	if m.why = nothingToBake(s, set); m.why != nil {
		return
	}
	var list []setMap
	for _, name := range []string{"normal_baked", "normal"} {
		list = append(list, normalMapsOf(s, set, name)...)
	}
	if len(list) == 0 && !s.keepBake {
		return
	}
	scene := newBakeScene(s, set)
	defer scene.letGo()
	if len(scene.sculpts) == 0 {
		f := exempt("bake.map.no_sculpt")
		m.why = &f
		return
	}
	most := int(s.Spec.Rule(rebakeDef.Name, nil, &set.Def).Numbers["grid_px"])
	slices.SortStableFunc(list, func(a, b setMap) int { return a.tile - b.tile })
	var last *bake.Map // maps of one tile and size share a bake
	lastTile := -1
	for _, one := range list {
		r := &rebaked{setMap: one, scene: scene}
		m.maps = append(m.maps, r)
		d, err := readNormal(s, set, one)
		if err != nil {
			r.fault = err
			continue
		}
		if r.green = "up"; d.GreenDown {
			r.green = "down"
		}
		r.grid = bake.NewGrid(d.W, d.H, clampGrid(most))
		game := scene.ofTile(one.tile)
		if last == nil || last.Grid != r.grid || lastTile != one.tile {
			if last, r.fault = bake.Project(ctx, game, scene.sculpts, r.grid, bake.Options{Threads: s.Threads}); r.fault != nil {
				return
			}
			lastTile = one.tile
		}
		also := bake.Also{Sculpts: scene.sculpts}
		if scene.delivered {
			also.Tangents = scene.tangents
		}
		also.Sets, r.others = otherMaps(s, set, one, d)
		if r.report, r.fault = bake.Compare(ctx, game, last, d, mirrorOf(s), also, s.Threads); r.fault != nil {
			return
		}
		r.panels = newBakePanels(game, last, d)
	}
	if s.keepBake {
		m.keepBakes(ctx, s, set, scene)
	}
}

// mostBaked is how many triangles of a game mesh are baked onto: beyond, it is a sculpt that was delivered as one.
const mostBaked = 4_000_000

// Sizes of the grid that a spec may ask for.
const (
	leastGrid = 64
	mostGrid  = 4096
)

func clampGrid(px int) int { return min(max(px, leastGrid), mostGrid) }

// mirrorOf is where the prop's mirror plane stands, metres.
func mirrorOf(s *Subject) float64 {
	if len(s.Parts) == 0 {
		return 0
	}
	return mirrorPlane(s, s.Parts[0])
}

// mostOtherSets is how many other sets' maps a map is held against: each is decoded for it.
const mostOtherSets = 4

// otherMaps decodes the normal maps that other sets brought in the same size: a map of the wrong set fits one of them.
func otherMaps(s *Subject, set *Set, own setMap, d *bake.Delivered) (maps []*bake.Delivered, names []string) {
	for _, o := range s.Sets {
		if o == set || len(maps) == mostOtherSets || own.tile != 0 {
			continue
		}
		for _, m := range normalMapsOf(s, o, own.name) {
			if m.file == nil || m.file.WidthPx != d.W || m.file.HeightPx != d.H || m.tile != 0 {
				continue
			}
			if theirs, err := readNormal(s, o, m); err == nil {
				maps, names = append(maps, theirs), append(names, o.Name)
			}
		}
	}
	return maps, names
}

// nothingToBake says why a set's maps cannot be held against a sculpt, or nil.
func nothingToBake(s *Subject, set *Set) *Finding {
	var f Finding
	some := false
	byDraw := partsByDraw(s)
	for _, r := range set.Game.Of {
		if p := byDraw[keyOf(r)]; p != nil {
			some = some || hasSculpt(p)
		}
	}
	wants := slices.ContainsFunc(set.Game.Of, func(r meshRange) bool {
		p := byDraw[keyOf(r)]
		return p != nil && wantsSculpt(s, p)
	})
	switch {
	case len(set.Game.UV) == 0 || len(set.Game.Tri) == 0:
		f = unable("bake.map.no_uv")
	case set.Game.Triangles() > mostBaked:
		f = unable("bake.map.too_many", words.Count(set.Game.Triangles()), words.Count(mostBaked))
	case some:
		return nil
	case !wants:
		f = exempt("bake.map.no_sculpt")
	case !bodyThere(s.Sculpt) && !asksFor(s.Spec, "sculpt"):
		f = exempt("surface.no_sculpt_asked")
	case !bodyThere(s.Sculpt):
		f = unable("surface.no_sculpt")
	default:
		f = unable("bake.map.no_piece")
	}
	return &f
}

// hasSculpt says whether a part is baked from something: it has a sculpt and the spec does not say that it has none.
func hasSculpt(p *Part) bool {
	return p.Sculpt.Triangles()+p.Floaters.Triangles() > 0 && !(len(p.Def.Sculpt) == 1 && p.Def.Sculpt[0] == "none")
}

// named returns the maps of a name; broken is the first of them that could not be compared.
func (m *bakeMeasure) named(name string) (read []*rebaked, broken *rebaked) {
	for _, r := range m.maps {
		switch {
		case r.name != name:
		case r.fault == nil:
			read = append(read, r)
		case broken == nil:
			broken = r
		}
	}
	return read, broken
}

// unread is the finding for a map that could not be compared.
func (r *rebaked) unread() Finding {
	if errors.Is(r.fault, context.Canceled) || errors.Is(r.fault, context.DeadlineExceeded) {
		return unable("surface.stopped", words.Name(r.fault.Error()))
	}
	return unable("bake.map.unread", words.Name(r.from), words.Name(r.fault.Error()))
}

// ofIsland is the share of the compared texels that an island has.
func (r *rebaked) ofIsland(e bake.IslandError) float64 {
	return float64(e.Texels) / float64(max(r.report.All.Texels, 1))
}

var notBakedSets = map[spec.SetKind]string{
	spec.Tiling: "The set repeats: its maps are not baked from the prop's sculpt.", spec.Trim: "A trim sheet is sculpted and baked by itself.",
	spec.DecalAtlas: "A decal atlas is not baked from the prop's sculpt.",
}
