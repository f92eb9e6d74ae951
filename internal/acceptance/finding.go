// Package acceptance is the acceptance test: a spec and the files of one delivery in, findings and evidence out.
//
// It is a pure function of bytes, spec revision and engine version. It knows no database, no network and no clock,
// reads only the folder it is given and writes only into its scratch folder. Files hold metres; specs, findings and
// pages speak of millimetres and degrees. The result does not depend on the number of threads.
package acceptance

import (
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// Outcome is how one check came out on one target.
type Outcome string

// The outcomes.
const (
	Pass          Outcome = "pass"
	Warn          Outcome = "warn"
	Fail          Outcome = "fail"
	NotEvaluated  Outcome = "not_evaluated"
	NotApplicable Outcome = "not_applicable"
)

// Value is a number with its unit.
type Value struct {
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

// Finding is one check's outcome on one part, set, LOD, tile or pose.
type Finding struct {
	Check       string             `json:"check"`
	Set         string             `json:"set,omitempty"`
	Part        string             `json:"part,omitempty"`
	LOD         *int               `json:"lod,omitempty"`
	Tile        *int               `json:"tile,omitempty"`
	Pose        string             `json:"pose,omitempty"`
	File        string             `json:"file,omitempty"`
	Outcome     Outcome            `json:"outcome"`
	Blocks      bool               `json:"blocks"`
	FollowsFrom string             `json:"follows_from,omitempty"` // check of the headline finding that explains this one
	Sentence    string             `json:"sentence"`               // what is the matter, in words and numbers, in English
	Says        []words.Phrase     `json:"says,omitempty"`         // the same as data, for any language
	Measured    *Value             `json:"measured,omitempty"`
	Limit       map[string]float64 `json:"limit,omitempty"`
	Metrics     map[string]float64 `json:"metrics,omitempty"`
	Mode        spec.Mode          `json:"mode,omitempty"`     // of the rule that was in force
	Bounds      []Bound            `json:"bounds,omitempty"`   // which metric was held against which limit
	Settings    string             `json:"settings,omitempty"` // digest of the options and lists that were in force, where the check has any
	Labels      map[string]string  `json:"labels,omitempty"`
	Where       []Place            `json:"where,omitempty"` // the ten worst at most
	Why         string             `json:"why"`
	Remedy      string             `json:"remedy,omitempty"`
	Does        []words.Phrase     `json:"does,omitempty"` // the remedy as data
	Pictures    []string           `json:"pictures,omitempty"`
}

// Bound says that a finding's metric was held against one of its limits: with it the numbers can be judged again, by
// other limits, without the delivery.
type Bound struct {
	Metric string         `json:"metric"`
	Limit  string         `json:"limit"`
	Kind   spec.LimitKind `json:"kind"`           // at_most or at_least
	Soft   bool           `json:"soft,omitempty"` // breaking it warns at most
}

// Place is where a finding is.
type Place struct {
	Node      string        `json:"node,omitempty"`
	Triangles []int         `json:"triangles,omitempty"` // index within the node's mesh primitive, as drawn
	PointMM   *[3]float64   `json:"point_mm,omitempty"`  // world position
	UV        *[2]float64   `json:"uv,omitempty"`
	Pointer   string        `json:"pointer,omitempty"` // JSON pointer into the file
	Offset    *int64        `json:"offset,omitempty"`  // byte offset in the file
	Value     *Value        `json:"value,omitempty"`
	Side      string        `json:"side,omitempty"` // "left", "right", "front", "back", "top", "below" as the studio names it
	Note      string        `json:"note,omitempty"`
	Says      *words.Phrase `json:"says,omitempty"` // the note as data
}

// Verdict sums up the findings that block.
type Verdict string

// The verdicts.
const (
	VerdictPass         Verdict = "pass"
	VerdictFail         Verdict = "fail"
	VerdictNotEvaluated Verdict = "not_evaluated"
)

// Evidence is what an inspection leaves behind: evidence.json. Its canonical form (RFC 8785) is what is hashed and
// logged. It holds no time, no host name and no path outside the delivery.
type Evidence struct {
	Schema   string    `json:"schema"` // "proofhouse/evidence/1"
	Engine   Engine    `json:"engine"`
	Spec     SpecRef   `json:"spec"`
	Inputs   []Input   `json:"inputs"`
	Content  []Content `json:"content"`            // what the files hold, by part and map, whatever their bytes
	Previous *Previous `json:"previous,omitempty"` // the delivery that this one was compared with
	Only     []string  `json:"only,omitempty"`     // families that were checked, where not all were: the verdict speaks of those alone
	Verdict  Verdict   `json:"verdict"`
	Headline string    `json:"headline"` // "technical: clear" or "technical: 3 issues; the first: …"
	Findings []Finding `json:"findings"`
	Exempt   []Exempt  `json:"exempt,omitempty"`
	Pictures []PicRef  `json:"pictures"`
}

// Engine names the code that made the evidence. Digest covers the sources of internal/acceptance and the Go version.
type Engine struct {
	Version string `json:"version"`
	Commit  string `json:"commit"` // the engine digest where no commit is known
}

// SpecRef names the spec revision in force.
type SpecRef struct {
	Prop      string         `json:"prop"`
	Digest    string         `json:"digest"` // SHA-256 of the resolved spec's canonical JSON, hex
	Tier      spec.Tier      `json:"tier"`
	Milestone spec.Milestone `json:"milestone"`
	Setting   string         `json:"setting"` // SHA-256 of all in the spec that steers measurements: everything but the checks' limits and modes
}

// Input is one delivered file.
type Input struct {
	Path   string `json:"path"`
	Role   string `json:"role"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"` // hex
}

// Exempt says how much surface an annotation of the spec or a name suffix takes out of a check.
type Exempt struct {
	What      string         `json:"what"`
	Reason    string         `json:"reason"`
	Says      []words.Phrase `json:"says,omitempty"`    // what, as data
	Because   []words.Phrase `json:"because,omitempty"` // the reason as data
	AreaShare float64        `json:"area_share"`
}

// PicRef names one picture. SHA256 is over its pixels (size and raw RGBA), not over the file's compression; for a
// GLB it is over the file.
type PicRef struct {
	Name   string        `json:"name"`
	What   string        `json:"what"`
	Says   *words.Phrase `json:"says,omitempty"` // what, as data
	SHA256 string        `json:"sha256"`
}
