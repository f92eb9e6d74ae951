package acceptance

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"maps"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// gpuFormat is a texture format as graphics processors hold it: bytes for a block of texels.
type gpuFormat struct{ blockW, blockH, bytes int }

// gpuFormats are the formats that a spec may name. Block sizes of the compressed ones: Khronos Data Format Specification
// 1.3, chapters on S3TC (BC1 64 bits, BC3 128), RGTC (BC4 64, BC5 128), BPTC (BC6H and BC7 128), ETC2 (RGB8 64, RGBA8
// 128) and ASTC (128 bits for every block size); the same in the Direct3D 11.3 Functional Specification, 19.5.
var gpuFormats = map[string]gpuFormat{
	"rgba8": {1, 1, 4}, "rg8": {1, 1, 2}, "r8": {1, 1, 1}, "rgba16f": {1, 1, 8},
	"bc1": {4, 4, 8}, "bc3": {4, 4, 16}, "bc4": {4, 4, 8}, "bc5": {4, 4, 16}, "bc6h": {4, 4, 16}, "bc7": {4, 4, 16},
	"etc2_rgb8": {4, 4, 8}, "etc2_rgba8": {4, 4, 16},
	"astc_4x4": {4, 4, 16}, "astc_5x5": {5, 5, 16}, "astc_6x6": {6, 6, 16}, "astc_8x8": {8, 8, 16},
}

// formatNames lists the formats with the default first.
func formatNames() []string {
	names := slices.Sorted(maps.Keys(gpuFormats))
	names = slices.DeleteFunc(names, func(n string) bool { return n == "bc7" })
	return append([]string{"bc7"}, names...)
}

// chainBytes is the size of a texture with all its mip levels down to one texel: each level halves both edges, rounded
// down and at least one (Khronos Data Format Specification; glTF leaves mip chains to the runtime), and takes whole
// blocks. For large maps it comes to 4/3 of the first level.
func (f gpuFormat) chainBytes(width, height int) int64 {
	var sum int64
	for {
		sum += int64((width+f.blockW-1)/f.blockW) * int64((height+f.blockH-1)/f.blockH) * int64(f.bytes)
		if width <= 1 && height <= 1 {
			return sum
		}
		width, height = max(1, width/2), max(1, height/2)
	}
}

var textureBytesDef = spec.Check{
	Name: "budget.texture_bytes", Scope: spec.PerDelivery, Title: "texture memory",
	What:   "Bytes of all maps that ship, at ship size, with mip levels, in the delivery format that the spec names. A map that two sets share, or that two files hold, counts once.",
	Why:    "Texture memory is what runs out first on the smallest machine the game is sold for.",
	Source: "Khronos Data Format Specification 1.3 (block sizes); Direct3D 11.3 Functional Specification, 19.5",
	Limits: []spec.Limit{
		{Key: "max_bytes", Kind: spec.AtMost, Unit: "bytes", Optional: true, What: "Bytes that the order allows.", Origin: spec.CommonPractice},
		{Key: "format", Kind: spec.Option, Words: formatNames(), What: "Format in which maps are delivered to players.", Origin: spec.CommonPractice},
		{Key: "map_formats", Kind: spec.Option, List: true, Optional: true,
			What: "Formats of single maps, each as map=format: normal=bc5.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromMaps, Metrics: []string{"bytes"},
}

// shippedMap is one map as it ships.
type shippedMap struct {
	name, set, from string
	width, height   int
	format          string
	bytes           int64
}

func budgetTextureBytes(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	formats, wrong := mapFormats(r)
	if wrong != "" {
		return unable("budget.texture_bytes.map_formats", words.Name(wrong), words.Names(formatNames()...))
	}
	list, unknown := shippedMaps(s)
	if len(unknown) > 0 {
		f := unable("budget.texture_bytes.unread", words.Count(len(unknown)), words.Name(unknown[0]))
		f.remedy("budget.texture_bytes.readable")
		return f
	}
	var sum int64
	w := worst{}
	for i := range list {
		m := &list[i]
		if m.format = formats[m.name]; m.format == "" {
			m.format = formats[""]
		}
		m.bytes = gpuFormats[m.format].chainBytes(m.width, m.height)
		sum += m.bytes
		w.add(float64(m.bytes), i)
	}
	f := judge(r, map[string]float64{"bytes": float64(sum)}, atMost("bytes", "max_bytes"))
	f.say("budget.texture_bytes.sum", words.Count(len(list)), words.Bytes(sum), formatsUsed(list))
	if len(list) == 0 {
		f.say("budget.texture_bytes.none")
	}
	if broke(f) {
		f.say("budget.texture_bytes.over", words.Count(len(list)), words.Bytes(sum), formatsUsed(list), words.Bytes(int64(r.Numbers["max_bytes"])))
		f.remedy("budget.texture_bytes.smaller")
		for _, e := range w.top() {
			m := list[e.at]
			p := Place{Value: &Value{Value: e.value, Unit: "bytes"}}
			p.note("budget.texture_bytes.map", words.Name(m.name), words.SizePx(m.width, m.height), words.Name(m.format), words.Name(m.from))
			f.Where = append(f.Where, p)
		}
	}
	return f
}

// mapFormats reads the rule's formats by map name; "" is for all others. wrong is the first entry that cannot be used.
func mapFormats(r spec.Rule) (formats map[string]string, wrong string) {
	formats = map[string]string{"": orElse(r.Words["format"], "bc7")}
	for _, entry := range r.Lists["map_formats"] {
		name, format, ok := strings.Cut(entry, "=")
		name, format = strings.TrimSpace(name), strings.TrimSpace(format)
		if _, known := gpuFormats[format]; !ok || !known {
			return nil, entry
		}
		formats[name] = format
	}
	return formats, ""
}

func formatsUsed(list []shippedMap) words.Arg {
	var used []string
	for _, m := range list {
		if !slices.Contains(used, m.format) {
			used = append(used, m.format)
		}
	}
	slices.Sort(used)
	return words.And(used...)
}

// shippedMaps lists the maps that ship, in the order of sets and names: files delivered for a set, and for map names
// without a file the textures of its materials. A raw bake is delivered but does not ship. unknown are those without a
// readable size.
func shippedMaps(s *Subject) (list []shippedMap, unknown []string) {
	seen := map[string]bool{} // by digest of the bytes
	add := func(t *Set, name, from, digest string, w, h int) {
		if seen[digest] {
			return
		}
		seen[digest] = true
		if w <= 0 || h <= 0 {
			unknown = append(unknown, from)
			return
		}
		w, h = shipSize(t.Def, w, h)
		list = append(list, shippedMap{name: name, set: t.Name, from: from, width: w, height: h})
	}
	for _, t := range s.Sets {
		for _, name := range slices.Sorted(maps.Keys(t.Maps)) {
			if f := t.Maps[name]; f != nil && name != "normal_baked" {
				add(t, name, f.Path, f.SHA256, f.WidthPx, f.HeightPx)
			}
		}
		for _, name := range mapNames {
			if mapFile(t, name) {
				continue
			}
			for _, r := range t.Game.Of {
				m := r.Scene.Prims[r.Draw.Prim].Material
				if m < 0 {
					continue
				}
				if ref, ok := textureOf(&r.Scene.Materials[m], name); ok && ref.Image < len(r.Scene.Images) {
					img := &r.Scene.Images[ref.Image]
					sum := sha256.Sum256(img.Data)
					add(t, name, orElse(img.Path, r.Scene.Path+" "+img.Pointer), hex.EncodeToString(sum[:]), img.Width, img.Height)
				}
			}
		}
	}
	return list, unknown
}

// mapFile says whether a set has a delivered file for what a texture of that name holds.
func mapFile(t *Set, name string) bool {
	if t.Maps[name] != nil {
		return true
	}
	switch name {
	case "orm":
		return t.Maps["metal_rough"] != nil || t.Maps["metallic"] != nil || t.Maps["roughness"] != nil
	case "occlusion":
		return t.Maps["orm"] != nil // packed into its red channel
	}
	return false
}

// shipSize scales a delivered size to ship size: a set's ship_px is its longer edge, and no map is scaled up.
func shipSize(def spec.Set, w, h int) (int, int) {
	longer := max(w, h)
	if def.ShipPx <= 0 || longer <= def.ShipPx {
		return w, h
	}
	return max(1, w*def.ShipPx/longer), max(1, h*def.ShipPx/longer)
}
