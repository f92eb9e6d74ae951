// Package inspection runs the acceptance test over one delivery, apart from everything else: it pulls the sealed objects
// once while hashing them, starts a child process with limits of its own, stores what the child leaves behind and records
// the result under the lease it was given. It knows no rule of the ledger and no geometry.
package inspection

import (
	"encoding/json"
	"fmt"
	"io"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
)

// Job is what the child is told on its standard input: one JSON document.
type Job struct {
	SpecName  string               `json:"spec_name"` // what messages call the spec
	Spec      []byte               `json:"spec"`      // YAML or JSON, as published
	Parents   []Parent             `json:"parents,omitempty"`
	SpecDir   string               `json:"spec_dir,omitempty"` // where parents lie as files; "" on the server
	Folder    string               `json:"folder"`             // the delivery
	Out       string               `json:"out"`                // where evidence.json and the pictures go
	Manifest  *acceptance.Manifest `json:"manifest,omitempty"` // nil: told from the folder
	Milestone spec.Milestone       `json:"milestone,omitempty"`
	Threads   int                  `json:"threads,omitempty"`
	Pictures  bool                 `json:"pictures"`

	// MemoryBytes is what the child asks its own runtime to stay under; 0 for no limit.
	MemoryBytes int64 `json:"memory_bytes,omitempty"`
	// Confine closes the file system but for Folder and Out, and the network, where the kernel can.
	Confine bool `json:"confine,omitempty"`
}

// Parent is a spec that the job's spec extends.
type Parent struct {
	Spec     string `json:"spec"`
	Revision int    `json:"revision,omitempty"`
	Document []byte `json:"document"`
}

// Outcome is the child's last frame: how it ended. Exactly one of Refused and Verdict is set.
type Outcome struct {
	Verdict        acceptance.Verdict    `json:"verdict,omitempty"`
	Headline       string                `json:"headline,omitempty"`
	EvidenceSHA256 string                `json:"evidence_sha256,omitempty"` // of Out/evidence.json, hex
	Pictures       []Picture             `json:"pictures,omitempty"`
	Questions      []acceptance.Question `json:"questions,omitempty"`
	Manifest       *acceptance.Manifest  `json:"manifest,omitempty"` // as used

	// Refused says why nothing was inspected: the spec cannot be used. One sentence a line.
	Refused string `json:"refused,omitempty"`
}

// Picture is one file beside evidence.json.
type Picture struct {
	Name   string `json:"name"`
	What   string `json:"what"`
	MIME   string `json:"mime"`
	SHA256 string `json:"sha256"` // of the file's bytes, hex
	Bytes  int64  `json:"bytes"`
}

// frame is one line from the child on its standard output.
type frame struct {
	Beat     bool     `json:"beat,omitempty"`
	Doing    string   `json:"doing,omitempty"`
	Done     float64  `json:"done,omitempty"`
	InForce  []string `json:"in_force,omitempty"` // limits that hold in the child, for the log
	Outcome  *Outcome `json:"outcome,omitempty"`
	Finished bool     `json:"finished,omitempty"`
}

func writeFrame(w io.Writer, f frame) error {
	line, err := json.Marshal(f)
	if err != nil {
		return fmt.Errorf("inspection: frame: %w", err)
	}
	_, err = w.Write(append(line, '\n'))
	return err
}
