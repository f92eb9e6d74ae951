// Package inspection runs the acceptance test over one delivery, apart from everything else: it pulls the sealed objects
// once while hashing them, starts a child process with limits of its own, stores what the child leaves behind and records
// the result under the lease it was given. It knows no rule of the ledger and no geometry.
//
// The child is this program, started again. It gets its Job on standard input after its limits are set, and answers with
// frames, one JSON document a line, on standard output. How it ended is read from its last frame and never from its exit
// code. What it leaves on disk is read as a stranger's: nothing outside its own folder, and no more than it may write.
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
	SpecName  string               `json:"spec_name"`          // what messages call the spec
	Spec      []byte               `json:"spec"`               // YAML or JSON, as published
	Parents   []Parent             `json:"parents,omitempty"`  // what it extends, on the server
	SpecDir   string               `json:"spec_dir,omitempty"` // where specs that it extends lie as files; "" on the server
	Folder    string               `json:"folder"`             // the delivery
	Out       string               `json:"out"`                // where evidence.json and the pictures go
	Manifest  *acceptance.Manifest `json:"manifest,omitempty"` // nil: told from the folder
	Hashes    map[string]string    `json:"hashes,omitempty"`   // SHA-256 in hex by path, computed while the files arrived
	Milestone spec.Milestone       `json:"milestone,omitempty"`
	Previous  []byte               `json:"previous,omitempty"` // evidence.json of the delivery before, as it was stored
	Threads   int                  `json:"threads,omitempty"`

	// On a vendor's own machine only: the families of checks to make, and findings that need no second measurement
	// (acceptance.Job).
	Only  []string                        `json:"only,omitempty"`
	Known map[string][]acceptance.Finding `json:"known,omitempty"`

	Trace string `json:"trace,omitempty"` // the id of the request that asked for it, for logs; no evidence

	Pictures bool `json:"pictures"`
	KeepBake bool `json:"keep_bake,omitempty"` // leave our own bakes in Out

	// MemoryBytes is what the child asks its own runtime to stay under; 0 for no limit. Spawn sets it.
	MemoryBytes int64 `json:"memory_bytes,omitempty"`
	// Confine closes the file system but for Folder, SpecDir and Out, and the network, where the kernel can. Spawn sets it.
	Confine bool `json:"confine,omitempty"`
}

// Outcome is how the child ended. Exactly one of Verdict, Refused and Unreadable is set.
type Outcome struct {
	Verdict        acceptance.Verdict    `json:"verdict,omitempty"`
	Headline       string                `json:"headline,omitempty"`
	EvidenceSHA256 string                `json:"evidence_sha256,omitempty"` // of Out/evidence.json, hex
	Pictures       []Picture             `json:"pictures,omitempty"`
	Questions      []acceptance.Question `json:"questions,omitempty"`
	Manifest       *acceptance.Manifest  `json:"manifest,omitempty"` // as used

	// Refused says why nothing was inspected: the spec cannot be used. One sentence a line.
	Refused string `json:"refused,omitempty"`
	// Unreadable says why nothing was inspected: the delivery as a whole cannot be read.
	Unreadable string `json:"unreadable,omitempty"`

	// Trace is the job's, as the child had it.
	Trace string `json:"trace,omitempty"`

	// PeakBytes is the most memory that the child held at any time, mapped files included; 0 where the system does not say.
	PeakBytes int64 `json:"peak_bytes,omitempty"`
}

// Picture is one file beside evidence.json.
type Picture struct {
	Name   string `json:"name"`
	What   string `json:"what"`
	MIME   string `json:"mime"`
	SHA256 string `json:"sha256"` // of the file's bytes, hex
	Bytes  int64  `json:"bytes"`
}

// evidenceName is the file in Out that holds the evidence.
const evidenceName = "evidence.json"

// frame is one line from the child.
type frame struct {
	Beat    bool     `json:"beat,omitempty"` // alive, nothing new
	Doing   string   `json:"doing,omitempty"`
	Done    float64  `json:"done,omitempty"`
	InForce []string `json:"in_force,omitempty"` // limits that hold in the child, for the log
	Outcome *Outcome `json:"outcome,omitempty"`  // the last frame of a child that came to an end
	Failed  string   `json:"failed,omitempty"`   // or this: our own machinery failed, for example a full disk
	TooMuch bool     `json:"too_much,omitempty"` // beside Failed: it wrote a larger file than it may

	flood bool // set by the reader: the child said more than any does
}

// frameMax bounds one frame. A delivery of 10,000 files with a question for each stays under it.
const frameMax = 32 << 20

func writeFrame(w io.Writer, f frame) error {
	line, err := json.Marshal(f)
	if err != nil {
		return fmt.Errorf("inspection: frame: %w", err)
	}
	_, err = w.Write(append(line, '\n'))
	return err
}
