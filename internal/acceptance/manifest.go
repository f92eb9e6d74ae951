package acceptance

import "proofhouse/internal/acceptance/spec"

// ManifestName is the file in a delivery's folder that lists its files.
const ManifestName = "delivery.yaml"

// Manifest says what was delivered: delivery.yaml.
type Manifest = spec.Manifest

// ManifestFile is one file of a delivery.
type ManifestFile = spec.ManifestFile
