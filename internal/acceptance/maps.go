package acceptance

import (
	"context"
	"errors"
	"path"
	"slices"
	"strconv"
	"strings"
	"sync"

	"proofhouse/internal/acceptance/image"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/texels"
	"proofhouse/internal/acceptance/words"
)

func mapChecks() []Check {
	return []Check{
		{Def: mapsFilesDef, Run: mapsFiles},
		{Def: mapsNormalDef, Run: mapsNormalValid},
		{Def: mapsBleedDef, Run: mapsBleed},
		{Def: mapsColourDef, Run: mapsBaseColor},
		{Def: mapsMetalDef, Run: mapsMetalRough},
		{Def: mapsOcclusionDef, Run: mapsOcclusion},
	}
}

// setMap is one map of a set: a delivered file, or an image of the game mesh's own file. A set of numbered tiles has
// one for each tile.
type setMap struct {
	name string // as in roles: "normal", "base_color", …
	from string // path of the file, and the pointer of an image inside it
	tile int    // number of the UDIM tile, 0 for none
	file *File
	data []byte // of an embedded image
	// What the material multiplies values by (glTF 2.0, 5.22); 1 for a file of its own, which is bound by its role.
	tint         [3]float64
	metal, rough float64
}

var plainFactors = setMap{tint: [3]float64{1, 1, 1}, metal: 1, rough: 1}

// fileMap is a map that is a file of its own.
func fileMap(name string, f *File, tile int) setMap {
	one := plainFactors
	one.name, one.from, one.file, one.tile = name, f.Path, f, tile
	return one
}

// mapRead is what reading one map left: its header, why its pixels are not there, and what was measured on them.
type mapRead struct {
	setMap
	header    image.Header
	fault     error // nil where the pixels were read
	normal    *texels.Normals
	looks     string // for a normal map that is none: what it looks like
	values    [4][256]int
	bleed     *texels.Bleed
	colour    *texels.Colours
	occlusion []float32 // reduced to the grid of our own; nil where it holds none
	cover     int       // texels that the layout covers; all of them where the map repeats
}

// mapsMeasure is what the map checks measured of a set, once: maps are large, so each is decoded, measured and let go.
type mapsMeasure struct {
	once  sync.Once
	maps  []*mapRead
	alpha *alphaMeasure
}

// measuredMaps reads and measures the maps of a set.
func measuredMaps(ctx context.Context, s *Subject, set *Set) *mapsMeasure {
	m := set.maps
	if m == nil {
		m = &mapsMeasure{}
	}
	m.once.Do(func() { m.measure(ctx, s, set) })
	return m
}

// named returns the maps of a name whose pixels were read; broken is the first that could not be.
func (m *mapsMeasure) named(names ...string) (read []*mapRead, broken *mapRead) {
	for _, r := range m.maps {
		if !slices.Contains(names, r.name) {
			continue
		}
		if r.fault != nil {
			if broken == nil {
				broken = r
			}
			continue
		}
		read = append(read, r)
	}
	return read, broken
}

// mapsOf lists the maps of a set by name, then tile: delivered files, and for names without one the textures of its materials.
func mapsOf(s *Subject, set *Set) []setMap {
	var list []setMap
	for _, name := range sortedKeys(set.Maps) {
		f := set.Maps[name]
		if f == nil {
			continue
		}
		if set.Def.Kind != spec.UDIM {
			list = append(list, fileMap(name, f, 0))
			continue
		}
		for _, f := range s.Files {
			if of, _, ok := mapRole(f.Role); ok && of == name && f.Set == set.Name {
				list = append(list, fileMap(name, f, tileOf(f.Path)))
			}
		}
	}
	for _, name := range mapNames {
		if !mapFile(set, name) {
			list = append(list, embedded(set, name)...)
		}
	}
	return list
}

// embedded lists the images that the materials of a set have under a name, each once.
func embedded(set *Set, name string) []setMap {
	var list []setMap
	for _, r := range set.Game.Of {
		m := r.Scene.Prims[r.Draw.Prim].Material
		if m < 0 {
			continue
		}
		ref, ok := textureOf(&r.Scene.Materials[m], name)
		if !ok || ref.Image >= len(r.Scene.Images) {
			continue
		}
		img := &r.Scene.Images[ref.Image]
		mat := &r.Scene.Materials[m]
		one := setMap{name: name, from: orElse(img.Path, r.Scene.Path+" "+img.Pointer), data: img.Data,
			tint: [3]float64(mat.BaseColor[:3]), metal: mat.Metallic, rough: mat.Roughness}
		if name == "occlusion" && ref.Image == mat.MetalRough.Image {
			continue // packed with the other two, and listed with them
		}
		if !slices.ContainsFunc(list, func(o setMap) bool { return o.from == one.from }) && len(img.Data) > 0 {
			list = append(list, one)
		}
	}
	return list
}

// tileOf reads the number of a UDIM tile from the end of a file's name: crate_normal_1002.png.
func tileOf(name string) int {
	stem := strings.TrimSuffix(path.Base(name), path.Ext(name))
	if len(stem) < 4 {
		return 0
	}
	n, err := strconv.Atoi(stem[len(stem)-4:])
	if err != nil || n < 1001 || n > 1999 {
		return 0
	}
	return n
}

// channels says what the channels of a map mean, R first: by the set, by the studio, or as glTF packs them (glTF 2.0,
// 3.9.2 and 3.9.3: occlusion in red, roughness in green, metallic in blue).
func channels(s *Subject, set *Set, name string) []string {
	if ch := set.Def.Channels[name]; len(ch) > 0 {
		return meanings(ch)
	}
	if ch := s.Spec.Conventions.Packing[name]; len(ch) > 0 {
		return meanings(ch)
	}
	switch name {
	case "orm":
		return []string{"occlusion", "roughness", "metallic"}
	case "metal_rough":
		return []string{"", "roughness", "metallic"}
	case "occlusion", "roughness", "metallic", "opacity":
		return []string{name}
	case "alpha":
		return []string{"opacity"}
	}
	return nil
}

// meanings brings the trade's several words for a channel to one.
func meanings(list []string) []string {
	same := map[string]string{"ao": "occlusion", "ambient_occlusion": "occlusion", "rough": "roughness", "metal": "metallic", "metalness": "metallic", "alpha": "opacity"}
	out := make([]string, len(list))
	for i, w := range list {
		w = strings.ReplaceAll(strings.ToLower(strings.TrimSpace(w)), " ", "_")
		out[i] = orElse(same[w], w)
	}
	return out
}

// channelOf is where a map holds what its red, green or blue means: a grey one holds all three in its one value. -1 where
// it has no such channel.
func channelOf(h image.Header, c int) int {
	if grey := h.Channels == 1 || h.Channels == 2 && h.Format != image.KTX2; grey && c < 3 {
		return 0
	}
	if c >= h.Channels {
		return -1
	}
	return c
}

// factor is what the values of a channel are multiplied by.
func (m *setMap) factor(meaning string) float64 {
	switch meaning {
	case "metallic":
		return m.metal
	case "roughness":
		return m.rough
	}
	return 1
}

// wholeMap says whether a set's maps are used all over and repeat, so that no layout tells which texels count.
func wholeMap(k spec.SetKind) bool { return k == spec.Tiling || k == spec.Trim }

// unreadMap is the finding for a map whose pixels are not there.
func unreadMap(r *mapRead) Finding {
	var why words.Arg
	remedy := "maps.as_png"
	switch {
	case errors.Is(r.fault, image.ErrTooLarge):
		why, remedy = words.Said("maps.fault.too_large"), "maps.smaller"
	case errors.Is(r.fault, image.ErrNotRead):
		why = words.Said("maps.fault.not_read", words.Name(orElse(r.header.Encoding, string(r.header.Format))))
	case errors.Is(r.fault, image.ErrShort):
		why = words.Said("maps.fault.cut_short")
	default:
		why = words.Said("maps.fault.broken")
	}
	f := unable("maps.unread", words.Name(r.from), why)
	f.remedy(remedy)
	return f
}

// at is the place of a texel of a map.
func (r *mapRead) at(x, y int) Place {
	u := [2]float64{(float64(x) + 0.5) / float64(r.header.Width), (float64(y) + 0.5) / float64(r.header.Height)}
	if r.tile > 0 {
		u[0] += float64((r.tile - 1001) % 10)
		u[1] -= float64((r.tile - 1001) / 10)
	}
	return Place{UV: &[2]float64{roundUV(u[0]), roundUV(u[1])}}
}

// shareOf is n of all; 0 of nothing.
func shareOf(n, all int) float64 {
	if all == 0 {
		return 0
	}
	return float64(n) / float64(all)
}
