package acceptance

import (
	"fmt"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"

	"proofhouse/internal/acceptance/bake"
	"proofhouse/internal/acceptance/image"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// normalMap is a delivered normal map of a set: a file, or an image inside the game mesh's own file.
type normalMap struct {
	name     string // "normal" or "normal_baked"
	from     string // for people
	tile     int    // UDIM tile, 0 for none
	file     *File
	embedded *mesh.Image
}

// normalMapsOf lists a set's maps of a name: one, or one for each tile.
func normalMapsOf(s *Subject, set *Set, name string) []normalMap {
	if f := set.Maps[name]; f != nil {
		if set.Def.Kind != spec.UDIM {
			return []normalMap{{name: name, from: f.Path, file: f}}
		}
		var out []normalMap
		for _, f := range s.Files {
			if of, _, ok := mapRole(f.Role); ok && of == name && f.Set == set.Name {
				out = append(out, normalMap{name: name, from: f.Path, file: f, tile: udimTile(f.Path)})
			}
		}
		return out
	}
	if name != "normal" {
		return nil
	}
	for _, r := range set.Game.Of {
		m := r.Scene.Prims[r.Draw.Prim].Material
		if m < 0 {
			continue
		}
		if ref := r.Scene.Materials[m].Normal; ref.Image >= 0 && ref.Image < len(r.Scene.Images) && len(r.Scene.Images[ref.Image].Data) > 0 {
			img := &r.Scene.Images[ref.Image]
			return []normalMap{{name: name, from: orElse(img.Path, r.Scene.Path+" "+img.Pointer), embedded: img}}
		}
	}
	return nil
}

// udimTile reads the number of a UDIM tile from the end of a file's name; 1001, the first, where it has none.
func udimTile(name string) int {
	stem := strings.TrimSuffix(path.Base(name), path.Ext(name))
	if n, err := strconv.Atoi(stem[max(len(stem)-4, 0):]); err == nil && n >= 1001 && n <= 1999 {
		return n
	}
	return 1001
}

// read decodes a map and says how the contract has it read.
func (m *normalMap) read(s *Subject, set *Set) (*bake.Delivered, error) {
	var data []byte
	name := m.from
	if m.embedded != nil {
		data = m.embedded.Data
	} else {
		src, err := mesh.DirSource(s.Folder, []string{m.file.Path})
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", m.from, err)
		}
		defer src.Close()
		blob, err := src.Open(m.file.Path, maxMapBytes)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", m.from, err)
		}
		defer blob.Close()
		data, name = blob.Data, m.file.Path
	}
	img, err := image.Decode(name, data, image.Limits{}, s.Threads)
	if err != nil {
		return nil, err
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
