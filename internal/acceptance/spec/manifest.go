package spec

import (
	"bytes"
	"fmt"
	"path"
	"strings"

	"gopkg.in/yaml.v3"
)

// Manifest says what was delivered: delivery.yaml.
type Manifest struct {
	Prop      string         `json:"prop" yaml:"prop"`
	Milestone Milestone      `json:"milestone" yaml:"milestone"`
	Revision  int            `json:"revision,omitempty" yaml:"revision,omitempty"`
	Files     []ManifestFile `json:"files" yaml:"files"`
}

// ManifestFile is one file of a delivery.
type ManifestFile struct {
	Path   string `json:"path" yaml:"path"` // relative to the folder, forward slashes
	Role   string `json:"role" yaml:"role"`
	SHA256 string `json:"sha256,omitempty" yaml:"sha256,omitempty"` // hex; empty: not declared
	Bytes  *int64 `json:"bytes,omitempty" yaml:"bytes,omitempty"`   // nil: not declared
}

func manifestShape() *shape {
	role := &shape{form: formText, what: "Its role.", maxLen: 80, expr: `[a-z][a-z_]*(?:\.[a-z0-9_]+)*(?:@[A-Za-z0-9._-]+)?`,
		exprWhat: "a role such as game, game.lod1, sculpt, map.normal or map.normal@lid"}
	return object("What was delivered.",
		must("prop", code("Code of the prop.")),
		may("milestone", word("What the delivery is for.", Milestones[:]...)),
		may("revision", integer("Which try it is.", 1, 1e6)),
		must("files", list("The files.", object("One file.",
			must("path", &shape{form: formText, what: "Path in the folder.", maxLen: 1000}),
			must("role", role),
			may("sha256", &shape{form: formText, what: "SHA-256 in hex.", expr: `(?:sha256:)?[0-9a-fA-F]{64}`, exprWhat: "a SHA-256 in 64 hex digits"}),
			may("bytes", integer("Its size.", 0, 1<<53)),
		))),
	)
}

// ParseManifest reads a delivery.yaml. An error is Faults: all of them, with line and column. Paths stay within the
// folder and no path stands twice.
func ParseManifest(name string, data []byte) (*Manifest, error) {
	node, faults := readNodes(name, data)
	if faults != nil {
		return nil, faults
	}
	r := &reader{file: name, label: "manifest"}
	root := r.read(node, manifestShape(), "")
	m := &Manifest{}
	if root != nil {
		m.Prop = root.get("prop").text
		setText((*string)(&m.Milestone), root.get("milestone"))
		if v := root.get("revision"); v != nil {
			m.Revision = int(v.num)
		}
	}
	seen := map[string]bool{}
	for i, v := range items(root.get("files")) {
		f := ManifestFile{Path: v.get("path").text, Role: v.get("role").text}
		if s := v.get("sha256"); s != nil {
			f.SHA256 = strings.ToLower(strings.TrimPrefix(s.text, "sha256:"))
		}
		if n := v.get("bytes"); n != nil {
			size := int64(n.num)
			f.Bytes = &size
		}
		if why := badPath(f.Path, seen); why != "" {
			at := v.get("path")
			r.faults.add(Fault{File: name, Line: at.line, Col: at.col, Path: fmt.Sprintf("files[%d].path", i), Message: why})
		}
		seen[f.Path] = true
		m.Files = append(m.Files, f)
	}
	if len(r.faults) > 0 {
		return nil, r.faults.sorted()
	}
	return m, nil
}

func badPath(p string, seen map[string]bool) string {
	switch {
	case strings.ContainsAny(p, "\\\x00") || path.IsAbs(p) || path.Clean(p) != p || p == "." || p == ".." || strings.HasPrefix(p, "../"):
		return fmt.Sprintf("%q does not stay in the delivery's folder: write it relative to the folder, with forward slashes, without . and ..", p)
	case seen[p]:
		return fmt.Sprintf("%q is listed twice", p)
	}
	return ""
}

// YAML writes the manifest as a delivery.yaml.
func (m *Manifest) YAML() ([]byte, error) {
	var b bytes.Buffer
	b.WriteString("# What this folder delivers. Written from the spec's name patterns; roles may be changed by hand.\n")
	enc := yaml.NewEncoder(&b)
	enc.SetIndent(2)
	if err := enc.Encode(m); err != nil {
		return nil, fmt.Errorf("write the manifest: %w", err)
	}
	return b.Bytes(), enc.Close()
}
