package spec

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"strings"
)

// Document is a spec as written: checked against the catalogue, what it extends not yet read.
type Document struct {
	Name   string // as the caller named it
	Digest string // SHA-256 of its bytes, hex: what a spec that extends it is pinned to
	root   *value
	label  string
}

// Ref is one entry of extends.
type Ref struct {
	Spec     string // code in the ledger, or a file beside the one that names it
	Revision int    // 0 where not given
	Digest   string // hex; "" where not given
	From     string // name of the document that extends it
}

// String gives the parent as origins name it.
func (r Ref) String() string {
	if r.Revision > 0 {
		return fmt.Sprintf("%s@%d", r.Spec, r.Revision)
	}
	return fmt.Sprintf("%s@%.8s", r.Spec, r.Digest)
}

// Parents finds a spec that another extends and returns its bytes.
type Parents func(ref Ref) ([]byte, error)

// FileName is what a published revision is called where it lies on somebody's disk.
func FileName(code string, revision int) string {
	return fmt.Sprintf("%s-spec-%d.yaml", code, revision)
}

// Siblings finds parents as files in one folder: one that is pinned by digest under the name that extends gives it, a
// revision under its FileName. No path leads out of the folder. Whether a file is the revision that its name says, only
// the service knows; a spec's digest tells two readings apart.
func Siblings(folder string) Parents {
	return func(ref Ref) ([]byte, error) {
		if strings.Contains(ref.Spec, `\`) || !filepath.IsLocal(ref.Spec) || path.Clean(ref.Spec) != ref.Spec {
			return nil, fmt.Errorf("%q is not the name of a file beside the spec", ref.Spec)
		}
		name := ref.Spec
		if ref.Digest == "" {
			name = FileName(ref.Spec, ref.Revision)
		}
		root, err := os.OpenRoot(folder)
		if err != nil {
			return nil, err
		}
		defer root.Close()
		info, err := root.Stat(name)
		if err != nil {
			return nil, fmt.Errorf("there is no file %q beside the spec", name)
		}
		if info.Size() > maxBytes || !info.Mode().IsRegular() {
			return nil, fmt.Errorf("%q is not a spec: it is no plain file of at most %d bytes", name, maxBytes)
		}
		return root.ReadFile(name)
	}
}

// Parse reads a spec, YAML or JSON. name is what messages call it. An error is Faults: all of them, with line and
// column. The document need not be complete: what is missing may come from what it extends.
func Parse(name string, data []byte, c Catalogue) (*Document, error) {
	return parse(name, "spec", data, documentShape(c))
}

func parse(name, label string, data []byte, s *shape) (*Document, error) {
	node, faults := readNodes(name, data)
	if faults != nil {
		return nil, faults
	}
	r := &reader{file: name, label: label}
	root := r.read(node, s, "")
	r.crossCheck(root)
	if len(r.faults) > 0 {
		return nil, r.faults.sorted()
	}
	sum := sha256.Sum256(data)
	return &Document{Name: name, Digest: hex.EncodeToString(sum[:]), root: root, label: label}, nil
}

// crossCheck finds what no single value shows: names given twice.
func (r *reader) crossCheck(root *value) {
	for _, where := range []struct{ list, key string }{{"parts", "name"}, {"sets", "name"}, {"annotations", "suffix"}} {
		seen := map[string]bool{}
		l := root.get(where.list)
		if l == nil {
			continue
		}
		for i, item := range l.items {
			name := item.get(where.key)
			if name == nil {
				continue
			}
			if seen[name.text] {
				r.faults.add(Fault{File: r.file, Line: name.line, Col: name.col,
					Path: fmt.Sprintf("%s[%d].%s", where.list, i, where.key), Message: fmt.Sprintf("%q is given twice", name.text)})
			}
			seen[name.text] = true
		}
	}
}

// refs are the document's parents in order.
func (d *Document) refs() (refs []Ref, at []*value) {
	l := d.root.get("extends")
	if l == nil {
		return nil, nil
	}
	for _, item := range l.items {
		r := Ref{Spec: item.get("spec").text, From: d.Name}
		if v := item.get("revision"); v != nil {
			r.Revision = int(v.num)
		}
		if v := item.get("digest"); v != nil {
			r.Digest = strings.TrimPrefix(v.text, "sha256:")
		}
		refs, at = append(refs, r), append(at, item)
	}
	return refs, at
}
