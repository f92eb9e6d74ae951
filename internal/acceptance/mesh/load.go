package mesh

import (
	"bytes"
	"errors"
	"fmt"
	"path"
	"strings"
)

// Load reads one geometry file of a delivery and checks its structure on the way. The format comes from the path's
// extension (.glb, .gltf, .obj, .ply).
//
// The scene is nil where nothing could be read; otherwise it holds what is sound, and every primitive in it is safe
// to use: indices are in range, positions are finite. Issues are faults of format in file order, at most
// issuesPerCode of each code; codes that start with "self_contained." are about files outside the delivery, codes
// that start with "limits." about size. Load never panics on hostile bytes and never allocates more than a small
// multiple of the file before the limits were checked.
//
// Arrays of the scene may be views into the mapped file: call Scene.Close when done with it.
func Load(src Source, name string, lim Limits) (*Scene, []Issue) {
	lim = lim.withDefaults()
	is := newIssues(name)
	blob, err := src.Open(name, lim.FileBytes)
	if err != nil {
		is.addOpenError(err)
		return nil, is.list()
	}
	s := &Scene{Path: name}
	s.keep(blob)
	if !load(src, s, blob.Data, lim, is) {
		s.Close()
		return nil, is.list()
	}
	return s, is.list()
}

// load fills the scene and tells whether it is of any use.
func load(src Source, s *Scene, data []byte, lim Limits, is *issues) bool {
	ext := strings.ToLower(path.Ext(s.Path))
	switch ext {
	case ".glb", ".gltf":
		if len(data) == 0 {
			is.error("container.empty", "", 0, "The file is empty; export and send it again.")
			return false
		}
		binary := bytes.HasPrefix(data, glbMagic)
		if named := map[bool]string{true: ".glb", false: ".gltf"}[binary]; named != ext && (binary || looksLikeJSON(data)) {
			is.error("container.wrong_extension", "", 0, fmt.Sprintf("The file is named %s and holds what belongs into %s; rename it.", ext, named))
			ext = named
		}
		if ext == ".glb" {
			s.Format = "glb"
			g, ok := splitGLB(data, is)
			return ok && loadGLTF(src, s, g.json, g.jsonAt, &g, lim, is)
		}
		s.Format = "gltf"
		return loadGLTF(src, s, data, 0, nil, lim, is)
	case ".obj":
		return loadOBJ(src, s, data, lim, is)
	case ".ply":
		return loadPLY(s, data, lim, is)
	}
	is.error("container.unknown_format", "", -1,
		fmt.Sprintf("A file that ends in %q is not a geometry format that is read here; deliver .glb, .gltf, .obj or .ply.", ext))
	return false
}

func looksLikeJSON(data []byte) bool {
	trimmed := bytes.TrimLeft(data[:min(len(data), 64)], " \t\r\n")
	return len(trimmed) > 0 && trimmed[0] == '{'
}

// keep makes the scene own a blob.
func (s *Scene) keep(b Blob) { s.blobs = append(s.blobs, b) }

// Close releases mapped files. Arrays of the scene that are views must not be read afterwards, nor surfaces that Flatten
// made of them. It is safe to call twice and on nil.
func (s *Scene) Close() error {
	if s == nil {
		return nil
	}
	var errs []error
	for i := range s.blobs {
		errs = append(errs, s.blobs[i].Close())
	}
	s.blobs = nil
	return errors.Join(errs...)
}
