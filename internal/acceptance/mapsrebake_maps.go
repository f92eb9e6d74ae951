package acceptance

import (
	"math"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/bake"
	"proofhouse/internal/acceptance/image"
	"proofhouse/internal/acceptance/spec"
)

// normalMapsOf lists a set's maps of a name: one, or one for each tile of a UDIM set.
func normalMapsOf(s *Subject, set *Set, name string) []setMap {
	var out []setMap
	for _, m := range mapsOf(s, set) {
		if m.name != name {
			continue
		}
		if set.Def.Kind == spec.UDIM && m.tile == 0 {
			m.tile = 1001 // the first, where the file's name has no number
		}
		out = append(out, m)
		if set.Def.Kind != spec.UDIM {
			break // several materials with a texture of their own: the first stands for the set
		}
	}
	return out
}

// readNormal decodes a map and says how the contract has it read.
func readNormal(s *Subject, set *Set, m setMap) (*bake.Delivered, error) {
	r := &mapRead{setMap: m}
	img := (&reading{s: s, set: set, threads: s.Threads}).decode(r)
	if img == nil {
		return nil, r.fault
	}
	return asContracted(img, s, set, m.name), nil
}

// asContracted binds an image's channels to x, y and z: by the set, by the studio, else red, green and blue. A blue
// channel that is missing or holds one value is made from the other two.
func asContracted(img *image.Image, s *Subject, set *Set, name string) *bake.Delivered {
	d := &bake.Delivered{W: img.Width, H: img.Height, Channels: img.Channels, Pix8: img.Pix8, Pix16: img.Pix16, Y: 1, Z: 2,
		GreenDown: orElse(set.Def.Green, s.Spec.Conventions.Green) == "down"}
	said := set.Def.Channels[name]
	if len(said) == 0 {
		said = s.Spec.Conventions.Packing[name]
	}
	if x, y := axisChannel(said, "x", "red"), axisChannel(said, "y", "green"); x >= 0 && y >= 0 {
		d.X, d.Y, d.Z = x, y, axisChannel(said, "z", "blue")
	}
	if d.X >= img.Channels || d.Y >= img.Channels { // grey: told as such
		d.X, d.Y, d.Z = 0, 0, 0
		return d
	}
	if d.Z >= img.Channels || d.Z >= 0 && constantChannel(img, d.Z) {
		d.Z = -1
	}
	return d
}

// axisChannel finds the channel that holds an axis: "x", "normal_x", "normal x" or the name of its colour.
func axisChannel(said []string, axis, colour string) int {
	return slices.IndexFunc(said, func(w string) bool {
		w = strings.ToLower(w)
		return w == axis || w == colour || strings.HasSuffix(w, "_"+axis) || strings.HasSuffix(w, " "+axis)
	})
}

// constantChannel says whether a channel holds one value, give or take one in 255, wherever a grid of 64 by 64 looks.
func constantChannel(img *image.Image, c int) bool {
	lo, hi := float32(math.Inf(1)), float32(math.Inf(-1))
	for y := 0; y < img.Height; y += max(img.Height/64, 1) {
		for x := 0; x < img.Width; x += max(img.Width/64, 1) {
			v := img.Value(x, y, c)
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	return hi-lo <= 1.0/255
}
