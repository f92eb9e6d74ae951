package acceptance

import "proofhouse/internal/acceptance/spec"

// ManifestName is the file in a delivery's folder that lists its files.
const ManifestName = "delivery.yaml"

// Manifest says what was delivered: delivery.yaml.
type Manifest struct {
	Prop      string         `json:"prop" yaml:"prop"`
	Milestone spec.Milestone `json:"milestone" yaml:"milestone"`
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
