package acceptance

import (
	"cmp"
	"context"
	"errors"
	"path"
	"slices"
	"strconv"
	"strings"
	"sync"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/image"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/raster"
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

// reading is one set being measured.
type reading struct {
	s       *Subject
	set     *Set
	uv      []float32
	masks   []*maskOf // the last few
	held    []heldChannel
	threads int
}

type maskOf struct {
	w, h, tile int
	mask       *texels.Mask
	near       *texels.Near
}

// heldChannel is a channel that other maps are read against.
type heldChannel struct {
	meaning string
	tile    int
	texels.Channel
}

func (m *mapsMeasure) measure(ctx context.Context, s *Subject, set *Set) {
	rd := &reading{s: s, set: set, threads: s.Threads}
	if len(set.Game.UV) > 0 {
		rd.uv = textureUV(set)
	}
	list := mapsOf(s, set)
	// What base colour is read against comes before it.
	order := func(name string) int {
		switch {
		case name == "base_color":
			return 1
		case channels(s, set, name) != nil:
			return 0
		}
		return 2
	}
	slices.SortStableFunc(list, func(a, b setMap) int { return cmp.Or(a.tile-b.tile, order(a.name)-order(b.name)) })
	tile := 0
	for _, one := range list {
		if ctx.Err() != nil {
			return
		}
		if order(one.name) == 2 || one.tile != tile { // nothing more is read against them
			rd.held, tile = nil, one.tile
		}
		r := &mapRead{setMap: one}
		m.maps = append(m.maps, r)
		img := rd.decode(r)
		if img == nil {
			continue
		}
		rd.look(r, img)
		if one.name == "base_color" && m.alpha == nil {
			m.alpha = rd.opacity(r, img)
		}
	}
	slices.SortStableFunc(m.maps, func(a, b *mapRead) int {
		return cmp.Or(strings.Compare(a.name, b.name), strings.Compare(a.from, b.from))
	})
}

// decode reads a map's header and pixels; nil with the fault set where that cannot be done.
func (rd *reading) decode(r *mapRead) *image.Image {
	data, name := r.data, ""
	if r.file != nil {
		name = r.file.Path
		src, err := mesh.DirSource(rd.s.Folder, []string{name})
		if err != nil {
			r.fault = err
			return nil
		}
		defer src.Close()
		blob, err := src.Open(name, maxMapBytes)
		if err != nil {
			r.fault = err
			return nil
		}
		defer blob.Close()
		data = blob.Data
	}
	if r.header, r.fault = image.ReadHeader(name, data); r.fault != nil {
		return nil
	}
	img, err := image.Decode(name, data, image.Limits{}, rd.threads)
	r.fault = err
	return img
}

// look measures one map.
func (rd *reading) look(r *mapRead, img *image.Image) {
	cover := rd.cover(r)
	r.cover = img.Width * img.Height
	var mask *texels.Mask
	if cover != nil {
		mask = cover.mask
		r.cover = mask.Count()
	}
	for c := range img.Channels {
		r.values[c] = texels.Histogram(img, c, mask, rd.threads)
	}
	for c, meaning := range channels(rd.s, rd.set, r.name) {
		if at := channelOf(r.header, c); at >= 0 && meaning != "" {
			rd.held = append(rd.held, heldChannel{meaning, r.tile, texels.Channel{Img: img, C: at, Factor: r.factor(meaning)}})
		}
	}
	r.occlusion = occlusionOf(rd.s, rd.set, r, img, rd.threads)
	switch r.name {
	case "normal", "normal_baked":
		rd.normals(r, img, mask)
	case "base_color":
		rd.colours(r, img, mask)
	}
	if cover != nil && r.name != "normal_baked" && r.cover > 0 {
		b := texels.CarriedPast(img, mask, rd.near(cover, r), rd.threads)
		r.bleed = &b
	}
}

// cover is the mask of a map of that size; nil where the map repeats or the set has no UVs.
func (rd *reading) cover(r *mapRead) *maskOf {
	if rd.uv == nil || wholeMap(rd.set.Def.Kind) {
		return nil
	}
	w, h := r.header.Width, r.header.Height
	for _, m := range rd.masks {
		if m.w == w && m.h == h && m.tile == r.tile {
			return m
		}
	}
	var corner [2]float64
	if r.tile > 0 { // V points down and tile rows count upward
		corner = [2]float64{float64((r.tile - 1001) % 10), -float64((r.tile - 1001) / 10)}
	}
	m := &maskOf{w: w, h: h, tile: r.tile,
		mask: texels.Cover(w, h, rd.uv, rd.set.Game.Tri, r.tile == 0, corner, rd.threads)}
	if rd.masks = append(rd.masks, m); len(rd.masks) > 2 {
		rd.masks = rd.masks[1:]
	}
	return m
}

// near is the nearest covered texel around a mask, as far as the bleed check looks.
func (rd *reading) near(m *maskOf, r *mapRead) *texels.Near {
	if m.near == nil {
		rule := ruleFor(rd.s, mapsBleedDef.Name, Target{Set: rd.set})
		m.near = texels.NearestIn(m.mask, bleedReach(rule, rd.set, r.header), rd.threads)
	}
	return m.near
}

// normals judges a normal map, and where it is none, what it looks like.
func (rd *reading) normals(r *mapRead, img *image.Image, mask *texels.Mask) {
	straight := [3]int{0, 1, 2}
	plain := texels.DecodeNormal(img.Bits, nil)
	n := texels.JudgeNormals(img, mask, plain, straight, rd.threads)
	r.normal = &n
	if n.Texels == 0 || n.TwoChannel || img.Channels < 3 || float64(n.OffLength+n.Inward) < 0.02*float64(n.Texels) {
		return
	}
	// Something else fits if a twentieth of the faults is left.
	fits := func(table []float32, order [3]int) bool {
		o := texels.JudgeNormals(img, mask, table, order, rd.threads)
		return o.TwoChannel == n.TwoChannel && 20*(o.OffLength+o.Inward) <= n.OffLength+n.Inward
	}
	switch {
	case 2*n.Grey > n.Texels:
	case fits(texels.DecodeNormal(img.Bits, decodeSRGB), straight):
		r.looks = "srgb_encoded"
	case fits(plain, [3]int{2, 1, 0}):
		r.looks = "red_blue_swapped"
	case fits(plain, [3]int{0, 2, 1}):
		r.looks = "green_blue_swapped"
	}
}

// decodeSRGB is the transfer function of IEC 61966-2-1:1999, 5.2, from an encoded value to linear light.
func decodeSRGB(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return detmath.Pow((v+0.055)/1.055, 2.4)
}

// colours judges a base colour map.
func (rd *reading) colours(r *mapRead, img *image.Image, mask *texels.Mask) {
	linear := make([]float32, 256)
	for i := range linear {
		linear[i] = raster.Linear(uint8(i))
	}
	if img.Bits == 16 {
		linear = make([]float32, 1<<16)
		for i := range linear {
			linear[i] = float32(decodeSRGB(float64(i) / 65535))
		}
	}
	if img.HasAlpha() && img.Channels == 4 {
		seen := texels.OpacityOf(img, 3).From(1)
		if mask != nil {
			for i, in := range mask.In {
				seen.In[i] &= in
			}
		}
		mask = seen
	}
	rule := ruleFor(rd.s, mapsColourDef.Name, Target{Set: rd.set})
	srgb := func(key string) float64 { return decodeSRGB(rule.Numbers[key] / 255) }
	c := texels.JudgeColours(img, mask, linear, texels.Range{Dark: srgb("dark_srgb"), Bright: srgb("bright_srgb"), DarkMetal: srgb("metal_srgb"), Factor: r.tint},
		rd.channel("metallic", r.tile), rd.channel("occlusion", r.tile), rd.threads)
	r.colour = &c
}

func (rd *reading) channel(meaning string, tile int) *texels.Channel {
	for i := range rd.held {
		if rd.held[i].meaning == meaning && rd.held[i].tile == tile {
			return &rd.held[i].Channel
		}
	}
	return nil
}

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
