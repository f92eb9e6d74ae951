package acceptance

import (
	"image"
	"slices"
	"sync"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/raster"
)

// pictureLimits bound the maps that pictures decode. A larger one is drawn as if it were not there: the finding of its
// own check says why.
var pictureLimits = mesh.Limits{ImageEdge: 8192, ImagePixel: 8192 * 8192}

// drawnProp is what ships of LOD 0 as the stills draw it. It is nil where there are no triangles.
func drawnProp(s *Subject, set map[drawKey]*Set) *raster.Prop {
	ranges := shipped(s, 0)
	if len(ranges) == 0 {
		return nil
	}
	sf := &s.LODs[0].Surface
	p := &raster.Prop{Pos: sf.Pos, Nrm: sf.Nrm}
	uv := slices.Clone(sf.UV)
	maps := newMapCache(s)
	type key struct {
		scene    *mesh.Scene
		material int
	}
	known := map[key]*raster.Material{}
	for _, r := range ranges {
		first := len(p.Tri) / 3
		p.Tri = append(p.Tri, sf.Tri[3*r.First:3*r.End]...)
		prim := &r.Scene.Prims[r.Draw.Prim]
		k := key{r.Scene, prim.Material}
		if known[k] == nil {
			known[k] = maps.material(r.Scene, prim.Material, set[keyOf(r)])
		}
		if at := baseUVSet(r.Scene, prim.Material); at > 0 && at < len(prim.UV) && len(prim.UV[at]) == 2*(r.VEnd-r.VFirst) {
			copy(uv[2*r.VFirst:], prim.UV[at])
		}
		p.Pieces = append(p.Pieces, raster.Piece{First: first, End: len(p.Tri) / 3, Material: known[k]})
	}
	if len(p.Tri) == 0 {
		return nil
	}
	if len(uv) == len(p.Pos)/3*2 {
		p.UV = uv
	}
	maps.decode(s.Threads)
	return p
}

// baseUVSet is the UV set that a material's colour is read by; pictures read all maps of a material by it.
func baseUVSet(sc *mesh.Scene, material int) int {
	if material < 0 || material >= len(sc.Materials) || sc.Materials[material].BaseTex.Image < 0 {
		return 0
	}
	return sc.Materials[material].BaseTex.UVSet
}

// mapCache collects the maps that are wanted, so that each is decoded once, several at a time.
type mapCache struct {
	s    *Subject
	want []*wantedMap
}

type wantedMap struct {
	file  *File       // a delivered map, or
	image *mesh.Image // one inside a geometry file
	srgb  bool
	tex   *raster.Texture
	use   []*raster.Map
}

func newMapCache(s *Subject) *mapCache { return &mapCache{s: s} }

// bind asks for a map: the delivered file of one of the names, which is what ships, else the image that the material
// refers to.
func (m *mapCache) bind(to *raster.Map, sc *mesh.Scene, set *Set, ref mesh.TexRef, srgb bool, names ...string) (name string) {
	w := wantedMap{srgb: srgb}
	if set != nil {
		for _, n := range names {
			if f := set.Maps[n]; f != nil && f.WidthPx > 0 {
				w.file, name = f, n
				break
			}
		}
	}
	if w.file == nil && ref.Image >= 0 && ref.Image < len(sc.Images) {
		w.image = &sc.Images[ref.Image]
	}
	if w.file == nil && w.image == nil {
		return ""
	}
	if moves(ref) {
		at := make([]float32, 6)
		transformUV(at, []float32{0, 0, 1, 0, 0, 1}, ref)
		u0, v0 := float64(at[0]), float64(at[1])
		to.M = [6]float64{float64(at[2]) - u0, float64(at[4]) - u0, u0, float64(at[3]) - v0, float64(at[5]) - v0, v0}
	}
	for _, have := range m.want {
		if have.file == w.file && have.image == w.image && have.srgb == srgb {
			have.use = append(have.use, to)
			return name
		}
	}
	w.use = []*raster.Map{to}
	m.want = append(m.want, &w)
	return name
}

// channel asks for the map that holds a meaning in one of its channels.
func (m *mapCache) channel(to *raster.Channel, sc *mesh.Scene, set *Set, ref mesh.TexRef, meaning string, standard int) {
	names := []string{"orm", "metal_rough", meaning}
	if set != nil {
		for _, n := range sortedKeys(set.Maps) {
			if !slices.Contains(names, n) && slices.Contains(m.packing(set, n), meaning) {
				names = append([]string{n}, names...)
			}
		}
	}
	if meaning == "occlusion" {
		names = slices.DeleteFunc(names, func(n string) bool { return n == "metal_rough" })
	}
	name := m.bind(&to.Map, sc, set, ref, false, names...)
	to.C = standard
	switch {
	case name == meaning:
		to.C = 0
	case name != "":
		if at := slices.Index(m.packing(set, name), meaning); at >= 0 {
			to.C = at
		}
	}
}

func (m *mapCache) packing(set *Set, name string) []string {
	if c := set.Def.Channels[name]; c != nil {
		return c
	}
	return m.s.Spec.Conventions.Packing[name]
}

// material translates a material and asks for its maps.
func (m *mapCache) material(sc *mesh.Scene, i int, set *Set) *raster.Material {
	none := mesh.TexRef{Image: -1}
	src := mesh.Material{BaseColor: [4]float64{1, 1, 1, 1}, Metallic: 1, Roughness: 1, NormalScale: 1,
		BaseTex: none, MetalRough: none, Normal: none, Occlusion: none, Emissive: none}
	if i >= 0 && i < len(sc.Materials) {
		src = sc.Materials[i]
	}
	out := &raster.Material{
		Colour:  [3]float32{float32(src.BaseColor[0]), float32(src.BaseColor[1]), float32(src.BaseColor[2])},
		Opacity: float32(src.BaseColor[3]), Metallic: float32(src.Metallic), Roughness: float32(src.Roughness),
		NormalScale: float32(src.NormalScale), Cutoff: float32(src.AlphaCutoff), TwoSided: src.DoubleSided,
	}
	switch src.AlphaMode {
	case "MASK":
		out.Alpha = raster.Mask
	case "BLEND":
		out.Alpha = raster.Blend
	}
	m.bind(&out.Base, sc, set, src.BaseTex, true, "base_color")
	m.bind(&out.Normal, sc, set, src.Normal, false, "normal")
	m.bind(&out.Emissive, sc, set, src.Emissive, true, "emissive")
	m.channel(&out.Ambient, sc, set, src.Occlusion, "occlusion", 0)
	before := len(m.want)
	m.channel(&out.Rough, sc, set, src.MetalRough, "roughness", 1)
	m.channel(&out.Metal, sc, set, src.MetalRough, "metallic", 2)
	green := m.s.Spec.Conventions.Green
	if set != nil && set.Def.Green != "" {
		green = set.Def.Green
	}
	out.GreenDown = green == "down"
	// The standard's material of a mesh that brings none is rough metal, which no vendor means: draw it as matt grey.
	bare := src.MetalRough.Image < 0 && len(m.want) == before && set.noMaps() && src.BaseTex.Image < 0
	if bare && src.Metallic == 1 && src.Roughness == 1 && out.Colour == [3]float32{1, 1, 1} {
		out.Metallic, out.Roughness = 0, 0.7
		out.Colour = raster.Colour{R: 176, G: 173, B: 168}.Linear()
	}
	return out
}

func (t *Set) noMaps() bool { return t == nil || len(t.Maps) == 0 }

// decode reads all maps that were asked for. One that cannot be read is left out; its own check says so.
func (m *mapCache) decode(threads int) {
	var paths []string
	for _, w := range m.want {
		if w.file != nil {
			paths = append(paths, w.file.Path)
		}
	}
	src, err := mesh.DirSource(m.s.Folder, paths)
	if err == nil {
		defer src.Close()
	}
	var wg sync.WaitGroup
	slots := make(chan struct{}, min(max(threads, 1), 4))
	for _, w := range m.want {
		wg.Go(func() {
			slots <- struct{}{}
			defer func() { <-slots }()
			img := w.read(src)
			if img == nil {
				return
			}
			w.tex = raster.NewTexture(img, w.srgb)
			for _, to := range w.use {
				to.Texture = w.tex
			}
		})
	}
	wg.Wait()
}

// read decodes the image; nil where that cannot be done. Decoders are a library's and the bytes a stranger's.
func (w *wantedMap) read(src *mesh.Dir) (img image.Image) {
	defer func() {
		if recover() != nil {
			img = nil
		}
	}()
	data, name := []byte(nil), ""
	if w.image != nil {
		data = w.image.Data
	} else if src != nil {
		blob, err := src.Open(w.file.Path, maxMapBytes)
		if err != nil {
			return nil
		}
		defer blob.Close()
		data, name = blob.Data, w.file.Path
	}
	img, err := mesh.DecodeImage(name, data, pictureLimits)
	if err != nil {
		return nil
	}
	return img
}

// setsByDraw tells which texture set each draw of LOD 0 uses.
func setsByDraw(s *Subject) map[drawKey]*Set {
	m := map[drawKey]*Set{}
	for _, t := range s.Sets {
		for _, r := range t.Game.Of {
			m[keyOf(r)] = t
		}
	}
	return m
}
