package mesh

import (
	"fmt"
	"path"
	"slices"
	"strings"
)

// document is a glTF file on its way into a Scene: the JSON tape, and buffers, views and accessors whose bounds are
// checked. A thing that fails a check is marked and never read; everything else is.
type document struct {
	t    *tape
	is   *issues
	lim  Limits
	src  Source
	s    *Scene
	bad  map[int]bool // JSON values that are not as they must be
	glb  *glb         // nil for .gltf
	read map[string]*delivered

	buffers []buffer
	views   []view
	accs    []accessor
	budget  int64 // bytes that may still be allocated for decoded arrays
	quant   bool  // KHR_mesh_quantization is used

	morphs []int        // by mesh: targets of its primitives
	joints map[int]bool // meshes with JOINTS_0
	nodeAt []int        // nodes on the tape

	jointRange map[int]int // by mesh: the highest joint that it uses
}

// loadGLTF fills the scene from a JSON text, with the container it came in or nil.
func loadGLTF(src Source, s *Scene, text []byte, base int64, container *glb, lim Limits, is *issues) bool {
	if int64(len(text)) > min(lim.JSONBytes, 1<<31) {
		is.error("limits.json_bytes", "", base, fmt.Sprintf("The JSON is %d bytes long and %d are allowed; deliver buffers as separate files or as .glb.", len(text), lim.JSONBytes))
		return false
	}
	t, fault := parseJSON(text, base, func(key string, at int) {
		is.error("json.duplicate_key", "", base+int64(at), fmt.Sprintf("The key %q stands twice in one object, so readers disagree on what it means; write it once.", clip(key)))
	})
	if fault != nil {
		is.error(fault.code, "", base+int64(fault.at), fmt.Sprintf("The JSON cannot be read: %s; export it again.", fault.what))
		return false
	}
	if t.kind(0) != '{' {
		is.error("schema.type", "", base, "The JSON is not an object, so this is no glTF; export it again.")
		return false
	}
	d := &document{t: t, is: is, lim: lim, src: src, s: s, glb: container, read: map[string]*delivered{}, joints: map[int]bool{}, jointRange: map[int]int{}}
	if !d.version() {
		return false
	}
	used := d.extensionLists()
	check := schemaCheck{t: t, is: is, sizes: map[string]int{}, used: used, bad: map[int]bool{}}
	for k := range t.keys(0) {
		if t.kind(k+1) == '[' {
			check.sizes[t.string(k)] = t.len(k + 1)
		}
	}
	if n := check.sizes["nodes"]; n > lim.Nodes {
		is.error("limits.nodes", "/nodes", -1, fmt.Sprintf("The file has %d nodes and %d are allowed; join or split it.", n, lim.Nodes))
		return false
	}
	check.sizes["lights"] = t.len(t.path(0, "extensions", "KHR_lights_punctual", "lights"))
	d.bad = check.bad
	d.quant = used["KHR_mesh_quantization"]
	check.object(0, rootShape)
	if !d.required() {
		return false
	}
	d.loadBuffers()
	d.loadViews()
	d.loadAccessors()
	d.loadImages()
	d.loadMaterials()
	d.loadMeshes()
	d.checkStats()
	d.loadNodes()
	d.checkSkins()
	d.checkAnimations()
	d.checkLights()
	return true
}

// version looks at asset.version (glTF 2.0, section 3.2).
func (d *document) version() bool {
	asset := d.t.get(0, "asset")
	d.s.Generator = d.t.string(d.t.get(asset, "generator"))
	v := d.t.string(d.t.get(asset, "version"))
	if !versionPattern.MatchString(v) {
		return true // the schema says it
	}
	major, minor, _ := strings.Cut(v, ".")
	if major != "2" {
		d.is.error("asset.version", "/asset/version", -1, fmt.Sprintf("The file is glTF %s and only 2.x is read; export as glTF 2.0.", clip(v)))
		return false
	}
	if minor != "0" {
		d.is.warn("asset.version", "/asset/version", -1, fmt.Sprintf("The file is glTF %s; it is read as 2.0.", clip(v)))
	}
	if m := d.t.string(d.t.get(asset, "minVersion")); versionPattern.MatchString(m) && m > v && len(m) >= len(v) {
		d.is.error("asset.min_version", "/asset/minVersion", -1, fmt.Sprintf("minVersion %s is above version %s; correct one of them.", clip(m), clip(v)))
	}
	return true
}

// extensionLists reads extensionsUsed, and checks that what is required is used.
func (d *document) extensionLists() map[string]bool {
	used := map[string]bool{}
	for _, e := range d.t.elems(d.t.get(0, "extensionsUsed")) {
		if name := d.t.string(e); name != "" && !used[name] {
			used[name] = true
			d.s.Extensions = append(d.s.Extensions, name)
		}
	}
	slices.Sort(d.s.Extensions)
	required := map[string]bool{}
	for i, e := range d.t.elems(d.t.get(0, "extensionsRequired")) {
		name := d.t.string(e)
		required[name] = true
		if !used[name] {
			d.is.error("extension.unused_required", fmt.Sprintf("/extensionsRequired/%d", i), d.t.offset(e),
				fmt.Sprintf("The extension %s is required and not listed in extensionsUsed.", clip(name)))
		}
	}
	if used["KHR_mesh_quantization"] && !required["KHR_mesh_quantization"] {
		d.is.error("extension.must_be_required", "/extensionsUsed", -1, "KHR_mesh_quantization is used and must also be in extensionsRequired.")
	}
	return used
}

// required refuses files that need an extension which is not decoded here. One that concerns textures only leaves
// the geometry readable.
func (d *document) required() bool {
	ok := true
	for i, e := range d.t.elems(d.t.get(0, "extensionsRequired")) {
		name := d.t.string(e)
		if name == "" || decodedExtensions[name] {
			continue
		}
		d.is.undecoded("extension.not_decoded", fmt.Sprintf("/extensionsRequired/%d", i), d.t.offset(e),
			fmt.Sprintf("The file requires %s, which is not decoded here; export without it.", clip(name)))
		if name != "KHR_texture_basisu" && name != "EXT_texture_webp" {
			ok = false
		}
	}
	return ok
}

// val returns the value of a key that is as it must be, or -1.
func (d *document) val(obj int, key string) int {
	i := d.t.get(obj, key)
	if i < 0 || d.bad[i] {
		return -1
	}
	return i
}

func (d *document) intOf(obj int, key string, def int64) int64 {
	if n, ok := d.t.int(d.val(obj, key)); ok {
		return n
	}
	return def
}

func (d *document) index(obj int, key string) int { return int(d.intOf(obj, key, -1)) }

func (d *document) float(obj int, key string, def float64) float64 {
	if f, ok := d.t.float(d.val(obj, key)); ok {
		return f
	}
	return def
}

func (d *document) name(obj int) string { return d.t.string(d.val(obj, "name")) }

// vec reads an array of numbers into out where it is given and right.
func (d *document) vec(obj int, key string, out []float64) bool {
	v := d.val(obj, key)
	if v < 0 || d.t.len(v) != len(out) {
		return false
	}
	for i, e := range d.t.elems(v) {
		out[i], _ = d.t.float(e)
	}
	return true
}

// each yields position, index and JSON pointer of the objects of a top-level array.
func (d *document) each(key string) func(yield func(int, int) bool) {
	return func(yield func(int, int) bool) {
		for i, e := range d.t.elems(d.t.get(0, key)) {
			if !yield(i, e) {
				return
			}
		}
	}
}

func pointer(collection string, i int) string { return fmt.Sprintf("/%s/%d", collection, i) }

// dir is the folder of the file within the delivery; URIs are relative to it.
func (d *document) dir() string { return path.Dir(d.s.Path) }
