package desk

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/url"
	"path"
	"path/filepath"
	"strings"
)

// Names within glTF 2.0 (sections 4.4 GLB and 5, properties `name` and `uri`) are exchanged in the JSON text itself: every other byte
// stays, so that nothing of the geometry can change.

const (
	glbMagic     = 0x46546c67 // "glTF"
	glbJSON      = 0x4e4f534a // "JSON"
	gltfJSONMost = 256 << 20
)

var errNotGLTF = errors.New("is no glTF that can be read")

// gltfKinds are the arrays of a glTF whose objects' names are of a kind.
var gltfKinds = map[string]string{"nodes": "node", "meshes": "mesh", "materials": "material", "images": "image"}

// gltfText reads the JSON of a .glb or .gltf; rest is what comes behind it, unread.
func gltfText(r io.Reader, binaryFile bool) (text []byte, rest io.Reader, err error) {
	if !binaryFile {
		text, err = io.ReadAll(io.LimitReader(r, gltfJSONMost))
		return text, bytes.NewReader(nil), err
	}
	var head [20]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return nil, nil, fmt.Errorf("%w: %w", errNotGLTF, err)
	}
	size := binary.LittleEndian.Uint32(head[12:])
	if binary.LittleEndian.Uint32(head[:]) != glbMagic || binary.LittleEndian.Uint32(head[16:]) != glbJSON || size > gltfJSONMost {
		return nil, nil, errNotGLTF
	}
	text = make([]byte, size)
	if _, err := io.ReadFull(r, text); err != nil {
		return nil, nil, fmt.Errorf("%w: %w", errNotGLTF, err)
	}
	return text, r, nil
}

// writeGLTF writes the text with what comes behind it, restBytes long.
func writeGLTF(w io.Writer, text []byte, rest io.Reader, restBytes int64, binaryFile bool) error {
	if binaryFile {
		text = bytes.TrimRight(text, " ")
		for len(text)%4 != 0 {
			text = append(text, ' ')
		}
		total := 20 + int64(len(text)) + restBytes
		if total > math.MaxUint32 {
			return fmt.Errorf("%w: longer than its format allows", errNotGLTF)
		}
		var head [20]byte
		for i, v := range []uint32{glbMagic, 2, uint32(total), uint32(len(text)), glbJSON} {
			binary.LittleEndian.PutUint32(head[4*i:], v)
		}
		if _, err := w.Write(head[:]); err != nil {
			return err
		}
	}
	if _, err := w.Write(text); err != nil {
		return err
	}
	_, err := io.Copy(w, rest)
	return err
}

// renamedText gives the JSON with other names: name is asked for each name of a kind, uri for each reference to a file.
func renamedText(text []byte, name func(kind, old string) string, uri func(string) string) ([]byte, error) {
	d := json.NewDecoder(bytes.NewReader(text))
	var out bytes.Buffer
	kept := 0
	var at []string // keys from the outside in; "" for a place in a list
	var walk func() error
	walk = func() error {
		before := int(d.InputOffset())
		token, err := d.Token()
		if err != nil {
			return fmt.Errorf("%w: %w", errNotGLTF, err)
		}
		switch v := token.(type) {
		case json.Delim:
			for d.More() {
				key := ""
				if v == '{' {
					k, err := d.Token()
					if err != nil {
						return fmt.Errorf("%w: %w", errNotGLTF, err)
					}
					key, _ = k.(string)
				}
				at = append(at, key)
				if err := walk(); err != nil {
					return err
				}
				at = at[:len(at)-1]
			}
			_, err := d.Token()
			return err
		case string:
			now := v
			if kind := leafKind(at); kind == "uri" {
				now = uri(v)
			} else if kind != "" {
				now = name(kind, v)
			}
			if now == v {
				return nil
			}
			start, end := before+bytes.IndexByte(text[before:], '"'), int(d.InputOffset())
			out.Write(text[kept:start])
			quote := json.NewEncoder(&out)
			quote.SetEscapeHTML(false)
			if err := quote.Encode(now); err != nil {
				return err
			}
			out.Truncate(out.Len() - 1) // the line end that an encoder adds
			kept = end
		}
		return nil
	}
	if err := walk(); err != nil {
		return nil, err
	}
	out.Write(text[kept:])
	return out.Bytes(), nil
}

// leafKind says what a text at a place in a glTF names: a kind of name, "uri", or "" for all else.
func leafKind(at []string) string {
	if len(at) != 3 || at[1] != "" {
		return ""
	}
	switch {
	case at[2] == "name":
		return gltfKinds[at[0]]
	case at[2] == "uri" && (at[0] == "buffers" || at[0] == "images"):
		return "uri"
	}
	return ""
}

// movedURI gives a file's reference to another one once both may have other names; files are by their old paths.
func movedURI(old, ofOld, ofNew string, files map[string]string) string {
	if strings.HasPrefix(old, "data:") {
		return old
	}
	plain, err := url.PathUnescape(old)
	if err != nil {
		return old
	}
	moved, known := files[path.Join(path.Dir(ofOld), plain)]
	if !known {
		return old
	}
	now, err := filepath.Rel(path.Dir(ofNew), moved)
	if err != nil {
		return old
	}
	if now = filepath.ToSlash(now); now == plain {
		return old
	}
	return (&url.URL{Path: now}).EscapedPath()
}
