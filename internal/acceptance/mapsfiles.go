package acceptance

import (
	"context"
	"fmt"
	"math/bits"
	"slices"
	"strconv"
	"strings"

	"proofhouse/internal/acceptance/image"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var mapsFilesDef = spec.Check{
	Name: "maps.files", Scope: spec.PerSet, Title: "maps as ordered",
	What:   "Maps of a set that are missing, have another size than ordered or no power of two, fewer bits than asked, a declared colour space that is not theirs, lossy compression where it shows, or channels that look packed in another order.",
	Why:    "A map of the wrong size, depth or packing is read by the engine all the same, and looks wrong without an error.",
	Source: "glTF 2.0, 3.8.4.5 (sizes), 3.9.2 and 3.9.3 (channels), 3.8.3 (colour spaces are told by use); sizes and depths are " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0),
			What: "Maps missing, of the wrong size or with too few bits.", Origin: spec.CommonPractice},
		{Key: "max_odd_count", Kind: spec.AtMost, Unit: "count", Default: same(0),
			What:   "Maps with a size that is no power of two, a colour space that is not theirs, lossy normals or channels that look swapped: more only warns.",
			Origin: spec.CommonPractice},
		{Key: "required", Kind: spec.Option, List: true, Optional: true,
			What: "Maps that each set must have, beside those that the spec's files ask for; where none is named, at least one.", Origin: spec.CommonPractice},
		{Key: "bits", Kind: spec.Option, List: true, DefaultList: []string{"normal_baked=16"},
			What: "Least bits of a channel, each as map=bits.", Origin: spec.CommonPractice},
	},
	Mode: [4]spec.Mode{spec.Warns, spec.Warns, spec.Blocks, spec.Blocks}, From: fromMaps,
	Metrics: []string{"count", "odd_count", "missing", "size_count", "depth_count", "power_of_two_count", "colour_space_count", "lossy_count", "packing_count"},
}

// mapFaults gathers what is wrong with a set's files.
type mapFaults struct {
	metrics map[string]float64
	where   []Place
}

func (m *mapFaults) add(metric, code string, args ...words.Arg) {
	m.metrics[metric]++
	var p Place
	p.note(code, args...)
	m.where = append(m.where, p)
}

func mapsFiles(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	m := measuredMaps(ctx, s, t.Set)
	faults := mapFaults{metrics: map[string]float64{}}
	for _, k := range mapsFilesDef.Metrics {
		faults.metrics[k] = 0
	}
	needed := neededMaps(s, t.Set, r)
	if len(m.maps) == 0 && len(needed) == 0 {
		if kind := t.Set.Def.Kind; r.Mode == spec.Reports || kind != spec.Baked && kind != spec.UDIM {
			return Finding{} // nothing is asked for yet, or the maps are several props' and come as a delivery of their own
		}
		// Where maps count and none is named, a set without a single one is not taken for a set that has all of them.
		faults.add("missing", "maps.files.not_one")
	}
	least, bad := leastBits(r)
	if bad != "" {
		return unable("maps.files.bits_unread", words.Name(bad))
	}
	var names []string
	for _, one := range m.maps {
		if !slices.Contains(names, one.name) {
			names = append(names, one.name)
		}
		if one.header.Width > 0 {
			faults.file(s, t.Set, one, least[one.name])
		}
	}
	for _, name := range needed {
		if !hasMap(s, t.Set, m, name) {
			faults.add("missing", "maps.files.missing", words.Name(name))
		}
	}
	x := faults.metrics
	x["count"] = x["missing"] + x["size_count"] + x["depth_count"]
	x["odd_count"] = x["power_of_two_count"] + x["colour_space_count"] + x["lossy_count"] + x["packing_count"]
	f := judge(r, x, atMost("count", "max_count"), atMost("odd_count", "max_odd_count").warns())
	f.Where = faults.where
	if len(m.maps) == 0 {
		f.say("maps.files.none")
	} else {
		f.say("maps.files.read", words.Count(len(m.maps)), words.Names(names...))
	}
	f.tellFaults()
	return f
}

// tellFaults adds a sentence and a remedy for each kind of fault that there is.
func (f *Finding) tellFaults() {
	for _, k := range []struct {
		metric, says, does string
	}{
		{"missing", "maps.files.n_missing", "maps.files.deliver"},
		{"size_count", "maps.files.n_size", "maps.files.resize"},
		{"depth_count", "maps.files.n_depth", "maps.files.export_16"},
		{"power_of_two_count", "maps.files.n_power", "maps.files.resize"},
		{"colour_space_count", "maps.files.n_colour", "maps.files.export_plain"},
		{"lossy_count", "maps.files.n_lossy", "maps.files.export_lossless"},
		{"packing_count", "maps.files.n_packing", "maps.files.repack"},
	} {
		n := int(f.Metrics[k.metric])
		if n == 0 {
			continue
		}
		f.also(k.says, words.Count(n))
		if !slices.ContainsFunc(f.Does, func(p words.Phrase) bool { return p.Code == k.does }) {
			f.alsoRemedy(k.does)
		}
	}
}

// file looks at one map's header and channels.
func (m *mapFaults) file(s *Subject, set *Set, r *mapRead, least int) {
	h := r.header
	name := words.Name(r.from)
	edge := max(h.Width, h.Height)
	author, ship := set.Def.AuthorPx, set.Def.ShipPx
	if full := r.name == "base_color" || strings.HasPrefix(r.name, "normal") || r.name == set.Def.ReferenceMap; full {
		switch {
		case author > 0 && edge != author:
			m.add("size_count", "maps.files.size", name, words.SizePx(h.Width, h.Height), words.Px(float64(author)))
		case author == 0 && ship > 0 && edge < ship:
			m.add("size_count", "maps.files.small", name, words.SizePx(h.Width, h.Height), words.Px(float64(ship)))
		}
	}
	if bits.OnesCount(uint(h.Width)) != 1 || bits.OnesCount(uint(h.Height)) != 1 {
		m.add("power_of_two_count", "maps.files.power", name, words.SizePx(h.Width, h.Height))
	}
	if h.FileBits < least {
		m.add("depth_count", "maps.files.depth", name, words.Count(h.FileBits), words.Count(least))
	}
	switch colour, data := holds(r.name); {
	case h.ColourFrom == "gAMA chunk": // many programs write one into every file, and no engine reads it
	case data && h.Colour == image.SRGB, colour && h.Colour == image.Linear:
		m.add("colour_space_count", "maps.files.colour", name, words.Name(string(h.Colour)), words.Name(h.ColourFrom))
	}
	if h.Format == image.JPEG && strings.HasPrefix(r.name, "normal") {
		m.add("lossy_count", "maps.files.lossy", name)
	}
	if looks := packedAs(channels(s, set, r.name), r); looks != "" {
		m.add("packing_count", "maps.files.packing", name, words.Name(looks))
	}
}

// holds says whether a map's name is one of colours or of data; it is neither where the name does not tell.
func holds(name string) (colour, data bool) {
	for _, w := range []string{"color", "colour", "emissive", "albedo", "diffuse"} {
		colour = colour || strings.Contains(name, w)
	}
	for _, w := range []string{"normal", "orm", "rough", "metal", "occlusion", "height", "opacity"} {
		data = data || strings.Contains(name, w)
	}
	return colour, data && !colour
}

// What tells a metallic channel from an occlusion channel by its values alone. Common practice, no source.
const (
	metalIsSure   = 0.98 // share of a metallic channel that is near black or near white, where a metal is there at all
	occlusionMid  = 0.10 // least share of an occlusion channel that is neither
	occlusionMean = 0.60 // and its least mean: most of a surface is open
)

// packedAs says as what a packed map looks if occlusion and metallic have changed places; "" where it looks as ordered,
// or where its values do not tell.
func packedAs(order []string, r *mapRead) string {
	at := func(meaning string) int { return slices.Index(order, meaning) }
	occ, metal := at("occlusion"), at("metallic")
	if r.fault != nil || occ < 0 || metal < 0 || max(occ, metal) >= r.header.Channels {
		return ""
	}
	sure := func(c int) bool { // black or white nearly all over, and both of them
		lo, mid, hi, _ := thirds(&r.values[c], 1)
		return lo+hi >= metalIsSure && lo > 0 && hi > 0 && mid < occlusionMid
	}
	shaded := func(c int) bool {
		_, mid, _, mean := thirds(&r.values[c], 1)
		return mid >= occlusionMid && mean >= occlusionMean
	}
	if !sure(occ) || !shaded(metal) {
		return ""
	}
	swapped := slices.Clone(order)
	swapped[occ], swapped[metal] = swapped[metal], swapped[occ]
	return strings.Join(swapped, ", ")
}

// thirds are the shares of a channel's values under 0.1, between, and over 0.9, and their mean, each times a factor.
func thirds(h *[256]int, factor float64) (lo, mid, hi, mean float64) {
	n, sum := 0, 0
	var count [3]int
	for v, k := range h {
		n += k
		sum += v * k
		switch x := float64(v) / 255 * factor; {
		case x < 0.1:
			count[0] += k
		case x > 0.9:
			count[2] += k
		default:
			count[1] += k
		}
	}
	if n == 0 {
		return 0, 0, 0, 0
	}
	return shareOf(count[0], n), shareOf(count[1], n), shareOf(count[2], n), float64(sum) / float64(n) / 255 * factor
}

// neededMaps are the maps that a set must have: by the rule, and by the roles that the spec's files ask for.
func neededMaps(s *Subject, set *Set, r spec.Rule) []string {
	out := slices.Clone(r.Lists["required"])
	for _, f := range s.Spec.Files {
		name, of, ok := mapRole(f.Role)
		if ok && f.Needed && !strings.ContainsAny(name, "{*") && (of == "" || strings.EqualFold(of, set.Name)) && !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// hasMap says whether a set has a map of a name, alone or as a channel of a packed one.
func hasMap(s *Subject, set *Set, m *mapsMeasure, name string) bool {
	for _, r := range m.maps {
		if r.name == name || slices.Contains(channels(s, set, r.name), name) ||
			name == "orm" && r.name == "metal_rough" && hasMap(s, set, m, "occlusion") {
			return true
		}
	}
	return false
}

// leastBits reads the rule's list of depths; bad is the entry that cannot be read.
func leastBits(r spec.Rule) (least map[string]int, bad string) {
	least = map[string]int{}
	for _, entry := range r.Lists["bits"] {
		name, n, ok := strings.Cut(entry, "=")
		v, err := strconv.Atoi(strings.TrimSpace(n))
		if !ok || err != nil || v < 1 || v > 32 {
			return nil, fmt.Sprintf("%q", entry)
		}
		least[strings.TrimSpace(name)] = v
	}
	return least, ""
}
