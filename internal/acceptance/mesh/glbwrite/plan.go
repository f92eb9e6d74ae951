package glbwrite

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"unsafe"

	"github.com/qmuntal/gltf"
)

// layout is a document and the arrays that follow it, in file order.
type layout struct {
	doc    *gltf.Document
	parts  []part
	size   uint64 // bytes of the binary chunk so far, a multiple of 4
	meshes map[*Mesh]int
	mats   map[*Material]int
	images map[*Image]int
}

// part is one buffer view's bytes: exactly one of the slices is set. idx16 is written with two bytes a number.
type part struct {
	f32   []float32
	u32   []uint32
	idx16 []uint32
	raw   []byte
}

func (p part) bytes() uint64 {
	return uint64(4*len(p.f32) + 4*len(p.u32) + 2*len(p.idx16) + len(p.raw))
}

// plan lays out the document and the binary chunk.
func plan(s Scene) (*layout, error) {
	doc := gltf.NewDocument()
	doc.Asset.Generator = s.Generator
	if s.Generator == "" {
		doc.Asset.Generator = "proofhouse glbwrite"
	}
	doc.Scenes[0].Name = ""
	l := &layout{doc: doc, meshes: map[*Mesh]int{}, mats: map[*Material]int{}, images: map[*Image]int{}}
	for _, r := range s.Roots {
		n, err := l.node(r)
		if err != nil {
			return nil, err
		}
		doc.Scenes[0].Nodes = append(doc.Scenes[0].Nodes, n)
	}
	if l.size > math.MaxUint32-1<<20 {
		return nil, fmt.Errorf("%d bytes are more than a .glb can hold", l.size)
	}
	if l.size > 0 {
		doc.Buffers = []*gltf.Buffer{{ByteLength: int(l.size)}}
	}
	return l, nil
}

func (l *layout) node(n *Node) (int, error) {
	g := &gltf.Node{Name: n.Name, Translation: n.Translation, Rotation: n.Rotation, Scale: n.Scale}
	if n.Rotation == ([4]float64{}) {
		g.Rotation = gltf.DefaultRotation
	}
	if n.Scale == ([3]float64{}) {
		g.Scale = gltf.DefaultScale
	}
	at := len(l.doc.Nodes)
	l.doc.Nodes = append(l.doc.Nodes, g)
	if n.Mesh != nil {
		m, err := l.mesh(n.Mesh)
		if err != nil {
			return 0, fmt.Errorf("node %q: %w", n.Name, err)
		}
		g.Mesh = gltf.Index(m)
	}
	for _, c := range n.Children {
		i, err := l.node(c)
		if err != nil {
			return 0, err
		}
		g.Children = append(g.Children, i)
	}
	return at, nil
}

func (l *layout) mesh(m *Mesh) (int, error) {
	if i, ok := l.meshes[m]; ok {
		return i, nil
	}
	g := &gltf.Mesh{Name: m.Name}
	for i, p := range m.Prims {
		gp, err := l.prim(p)
		if err != nil {
			return 0, fmt.Errorf("mesh %q, primitive %d: %w", m.Name, i, err)
		}
		g.Primitives = append(g.Primitives, gp)
	}
	if len(g.Primitives) == 0 {
		return 0, fmt.Errorf("mesh %q has no primitive", m.Name)
	}
	l.doc.Meshes = append(l.doc.Meshes, g)
	l.meshes[m] = len(l.doc.Meshes) - 1
	return l.meshes[m], nil
}

func (l *layout) prim(p Prim) (*gltf.Primitive, error) {
	n := len(p.Pos) / 3
	if n == 0 || len(p.Pos)%3 != 0 {
		return nil, fmt.Errorf("%d position values are not three a vertex", len(p.Pos))
	}
	g := &gltf.Primitive{Attributes: gltf.PrimitiveAttributes{}}
	for _, a := range []struct {
		name   string
		values []float32
		width  int
		typ    gltf.AccessorType
	}{
		{gltf.POSITION, p.Pos, 3, gltf.AccessorVec3}, {gltf.NORMAL, p.Nrm, 3, gltf.AccessorVec3},
		{gltf.TANGENT, p.Tan, 4, gltf.AccessorVec4}, {gltf.TEXCOORD_0, p.UV, 2, gltf.AccessorVec2},
		{gltf.TEXCOORD_1, p.UV2, 2, gltf.AccessorVec2}, {gltf.COLOR_0, p.Col, 4, gltf.AccessorVec4},
	} {
		if a.values == nil {
			continue
		}
		if len(a.values) != n*a.width {
			return nil, fmt.Errorf("%s has %d values for %d vertices of %d", a.name, len(a.values), n, a.width)
		}
		acc := &gltf.Accessor{Count: n, Type: a.typ, ComponentType: gltf.ComponentFloat,
			BufferView: gltf.Index(l.view(part{f32: a.values}, gltf.TargetArrayBuffer))}
		if a.name == gltf.POSITION {
			acc.Min, acc.Max = bounds(a.values)
		}
		g.Attributes[a.name] = l.accessor(acc)
	}
	for _, o := range p.Own {
		if len(o.Values) != n || len(o.Name) < 2 || o.Name[0] != '_' {
			return nil, fmt.Errorf("own values %q: %d for %d vertices, and the name must begin with an underscore", o.Name, len(o.Values), n)
		}
		g.Attributes[o.Name] = l.accessor(&gltf.Accessor{Count: n, Type: gltf.AccessorScalar, ComponentType: gltf.ComponentFloat,
			BufferView: gltf.Index(l.view(part{f32: o.Values}, gltf.TargetArrayBuffer))})
	}
	if p.Tri != nil {
		if len(p.Tri) == 0 || len(p.Tri)%3 != 0 {
			return nil, fmt.Errorf("%d indices are not three a triangle", len(p.Tri))
		}
		acc := &gltf.Accessor{Count: len(p.Tri), Type: gltf.AccessorScalar, ComponentType: gltf.ComponentUint}
		data := part{u32: p.Tri}
		if n < math.MaxUint16 {
			acc.ComponentType, data = gltf.ComponentUshort, part{idx16: p.Tri}
		}
		acc.BufferView = gltf.Index(l.view(data, gltf.TargetElementArrayBuffer))
		g.Indices = gltf.Index(l.accessor(acc))
	}
	if p.Material != nil {
		m, err := l.material(p.Material)
		if err != nil {
			return nil, fmt.Errorf("material %q: %w", p.Material.Name, err)
		}
		g.Material = gltf.Index(m)
	}
	return g, nil
}

// bounds returns the smallest and largest value of each axis, as glTF asks for positions.
func bounds(pos []float32) (lo, hi []float64) {
	l := [3]float32{pos[0], pos[1], pos[2]}
	h := l
	for i := 3; i < len(pos); i += 3 {
		for k := range 3 {
			l[k], h[k] = min(l[k], pos[i+k]), max(h[k], pos[i+k])
		}
	}
	return []float64{float64(l[0]), float64(l[1]), float64(l[2])}, []float64{float64(h[0]), float64(h[1]), float64(h[2])}
}

func (l *layout) accessor(a *gltf.Accessor) int {
	l.doc.Accessors = append(l.doc.Accessors, a)
	return len(l.doc.Accessors) - 1
}

func (l *layout) view(p part, target gltf.Target) int {
	l.doc.BufferViews = append(l.doc.BufferViews, &gltf.BufferView{
		ByteOffset: int(l.size), ByteLength: int(p.bytes()), Target: target,
	})
	l.parts = append(l.parts, p)
	l.size += (p.bytes() + 3) &^ 3
	return len(l.doc.BufferViews) - 1
}

func (l *layout) material(m *Material) (int, error) {
	if i, ok := l.mats[m]; ok {
		return i, nil
	}
	base := m.BaseColor
	if base == ([4]float64{}) {
		base = [4]float64{1, 1, 1, 1}
	}
	rough := m.Roughness
	if rough == 0 {
		rough = 1
	}
	pbr := &gltf.PBRMetallicRoughness{BaseColorFactor: &base, MetallicFactor: gltf.Float(m.Metallic), RoughnessFactor: gltf.Float(rough)}
	g := &gltf.Material{Name: m.Name, PBRMetallicRoughness: pbr, DoubleSided: m.DoubleSided, EmissiveFactor: m.Emissive}
	if m.Extras != nil {
		g.Extras = m.Extras
	}
	switch m.AlphaMode {
	case "", "OPAQUE":
	case "MASK":
		g.AlphaMode = gltf.AlphaMask
	case "BLEND":
		g.AlphaMode = gltf.AlphaBlend
	default:
		return 0, fmt.Errorf("alpha mode %q", m.AlphaMode)
	}
	var errs []error
	tex := func(img *Image) *int {
		if img == nil {
			return nil
		}
		i, err := l.texture(img)
		errs = append(errs, err)
		return gltf.Index(i)
	}
	info := func(img *Image) *gltf.TextureInfo {
		if i := tex(img); i != nil {
			return &gltf.TextureInfo{Index: *i}
		}
		return nil
	}
	pbr.BaseColorTexture = info(m.BaseColorMap)
	pbr.MetallicRoughnessTexture = info(m.MetalRoughMap)
	g.EmissiveTexture = info(m.EmissiveMap)
	if i := tex(m.NormalMap); i != nil {
		g.NormalTexture = &gltf.NormalTexture{Index: i}
		if m.NormalScale != 0 {
			g.NormalTexture.Scale = gltf.Float(m.NormalScale)
		}
	}
	if i := tex(m.OcclusionMap); i != nil {
		g.OcclusionTexture = &gltf.OcclusionTexture{Index: i}
	}
	l.doc.Materials = append(l.doc.Materials, g)
	l.mats[m] = len(l.doc.Materials) - 1
	return l.mats[m], errors.Join(errs...)
}

// texture returns the texture of an image; there is one texture for each image.
func (l *layout) texture(img *Image) (int, error) {
	if i, ok := l.images[img]; ok {
		return i, nil
	}
	g := &gltf.Image{Name: img.Name, URI: img.URI}
	if img.Data != nil {
		if g.URI, g.MimeType = "", imageType(img.Data); g.MimeType == "" {
			return 0, fmt.Errorf("image %q is neither PNG nor JPEG; glTF holds no others", img.Name)
		}
		g.BufferView = gltf.Index(l.view(part{raw: img.Data}, gltf.TargetNone))
	}
	l.doc.Images = append(l.doc.Images, g)
	at := len(l.doc.Images) - 1
	l.doc.Textures = append(l.doc.Textures, &gltf.Texture{Source: gltf.Index(at)})
	l.images[img] = len(l.doc.Textures) - 1
	return l.images[img], nil
}

// imageType tells an image by its first bytes (PNG, 5.2; JPEG, ITU-T T.81, B.1.1.3); "" for any other.
func imageType(data []byte) string {
	switch {
	case bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")):
		return "image/png"
	case bytes.HasPrefix(data, []byte("\xff\xd8\xff")):
		return "image/jpeg"
	}
	return ""
}

// write writes header, JSON chunk and binary chunk (glTF 2.0, section 4.4).
func (l *layout) write(w io.Writer) error {
	text, err := json.Marshal(l.doc)
	if err != nil {
		return err
	}
	for len(text)%4 != 0 {
		text = append(text, ' ')
	}
	total := 12 + 8 + uint64(len(text))
	if l.size > 0 {
		total += 8 + l.size
	}
	if total > math.MaxUint32 {
		return fmt.Errorf("%d bytes are more than a .glb can hold", total)
	}
	bw := bufio.NewWriterSize(w, 1<<18)
	head := []uint32{0x46546C67, 2, uint32(total), uint32(len(text)), 0x4E4F534A}
	if err := binary.Write(bw, binary.LittleEndian, head); err != nil {
		return err
	}
	if _, err := bw.Write(text); err != nil {
		return err
	}
	if l.size > 0 {
		if err := binary.Write(bw, binary.LittleEndian, []uint32{uint32(l.size), 0x004E4942}); err != nil {
			return err
		}
	}
	for _, p := range l.parts {
		if err := p.write(bw); err != nil {
			return err
		}
		if _, err := bw.Write(make([]byte, (4-p.bytes()%4)%4)); err != nil {
			return err
		}
	}
	return bw.Flush()
}

// littleEndian is true where arrays lie in memory as they must lie in the file.
var littleEndian = binary.NativeEndian.Uint16([]byte{1, 0}) == 1

func (p part) write(w *bufio.Writer) error {
	switch {
	case p.raw != nil:
		_, err := w.Write(p.raw)
		return err
	case p.idx16 != nil:
		var b [2]byte
		for _, v := range p.idx16 {
			binary.LittleEndian.PutUint16(b[:], uint16(v))
			if _, err := w.Write(b[:]); err != nil {
				return err
			}
		}
		return nil
	case p.f32 != nil && littleEndian:
		_, err := w.Write(unsafe.Slice((*byte)(unsafe.Pointer(&p.f32[0])), 4*len(p.f32)))
		return err
	case p.u32 != nil && littleEndian:
		_, err := w.Write(unsafe.Slice((*byte)(unsafe.Pointer(&p.u32[0])), 4*len(p.u32)))
		return err
	case p.f32 != nil:
		return binary.Write(w, binary.LittleEndian, p.f32)
	}
	return binary.Write(w, binary.LittleEndian, p.u32)
}
