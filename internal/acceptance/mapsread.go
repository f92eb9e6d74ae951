package acceptance

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/image"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/raster"
	"proofhouse/internal/acceptance/texels"
)

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
