package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// Job is one delivery to inspect.
type Job struct {
	Spec   *spec.Spec // resolved for the delivery's milestone
	Folder string     // the delivery; nothing outside it is ever opened

	// Manifest says which files were delivered and in which role. Nil: delivery.yaml in the folder, and where there is
	// none, one told from the spec's name patterns.
	Manifest *Manifest

	// Milestone of the delivery; empty: the manifest's, or where it names none, the spec's own.
	Milestone spec.Milestone

	// Hashes are SHA-256 digests (hex) by path that the caller computed over the very bytes on this disk; those files are
	// not hashed again. Nil: all are hashed here.
	Hashes map[string]string

	// Previous is the evidence of the delivery before this one, of the same prop and milestone: what revision.* compares
	// with. Nil for a first delivery. The evidence names it, so that it is among what the result follows from.
	Previous *Evidence

	// Only names the families of checks to make; none means all. The evidence says so, and its verdict speaks of those alone.
	Only []string

	// Known are findings of an earlier inspection, by family (Reusable), that are taken instead of measuring again. The caller
	// vouches that nothing changed that the family reads: engine, spec, paths, roles and the bytes of files (Reads).
	Known map[string][]Finding

	Threads  int  // below 1 means all cores. The evidence does not depend on it
	Pictures bool // whether to make pictures
	KeepBake bool // whether to leave our own bakes (normals, positions, occlusion) among the pictures

	// Progress, where set, is told what is being done and the share of the whole that is done, 0 to 1. It is called
	// from one goroutine at a time and must return quickly.
	Progress func(what string, done float64)
}

// Result is what an inspection leaves behind.
type Result struct {
	Evidence  *Evidence
	Canonical []byte // the evidence's RFC 8785 form: what is hashed, stored and signed
	SHA256    string // of Canonical, hex
	Pictures  []Picture
	Manifest  *Manifest  // as used
	Questions []Question // what the name patterns left open
}

// Picture is one picture or model made for people, named in Evidence.Pictures.
type Picture struct {
	Name   string // file name, for example "deviation_front.png" or "deviation.glb"
	What   string // one sentence: what it shows
	MIME   string // "image/png" or "model/gltf-binary"
	Bytes  []byte
	SHA256 string   // hex. For a PNG over width, height (4 bytes each, little-endian) and raw RGBA; for a GLB over Bytes
	Checks []string // checks whose findings should name it
}

// Question is one file or node whose role the name patterns do not settle.
type Question struct {
	Path       string   `json:"path"` // file, or "file#node"
	Why        string   `json:"why"`  // one sentence, in English
	Candidates []string `json:"candidates,omitempty"`

	Says words.Phrase `json:"-"` // the sentence as data
}

// In is why it is asked, in a language.
func (q Question) In(l *words.Language) string {
	if q.Says.Code == "" {
		return q.Why
	}
	return l.Sentence(q.Says)
}

// question asks about a file in a sentence that any language says.
func question(path, code string, args ...words.Arg) Question {
	says := phrase(code, args)
	return Question{Path: path, Why: words.English().Sentence(says), Says: says}
}

// Inspect judges one delivery. It returns an error only where our own machinery fails or ctx ends; whatever is wrong
// with the delivery is a finding.
func Inspect(ctx context.Context, job Job) (*Result, error) { return inspect(ctx, job) }
