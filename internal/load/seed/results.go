package seed

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math/rand/v2"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/canon"
)

// result is one drawn inspection: what every delivery that draws it was found to be.
type result struct {
	verdict, headline, cause string
	evidence                 []byte // evidence.json; nil where nothing was evaluated
	evidenceSHA256           []byte
	findingsSHA256           []byte
	lines                    []line
	packed                   [][]byte // of each finding, its columns behind the ids in COPY's form
	issues                   int
}

// line is a finding as the ledger hashes it.
type line struct {
	Ord         int      `json:"ord"`
	Check       string   `json:"check"`
	Part        string   `json:"part"`
	Set         string   `json:"set"`
	LOD         *int     `json:"lod"`
	Tile        *int     `json:"tile"`
	Pose        string   `json:"pose"`
	File        string   `json:"file"`
	Outcome     string   `json:"outcome"`
	Blocks      bool     `json:"blocks"`
	FollowsFrom string   `json:"follows_from"`
	Measured    *float64 `json:"measured"`
	Unit        string   `json:"unit"`
	LimitKey    string   `json:"limit_key"`
	Limit       *float64 `json:"limit"`
}

// results are the drawn inspections by verdict.
type results struct{ pass, fail, unable []*result }

const (
	passes, failures, unables = 20, 34, 6
	engineName                = "seeded"
	engineDigest              = "5eeded"
)

// findingsMin to findingsMax findings an inspection, 20 in the mean.
const findingsMin, findingsMax = 16, 24

func drawResults(rng *rand.Rand) (results, error) {
	var out results
	for _, kind := range []struct {
		verdict string
		n       int
		to      *[]*result
	}{{"pass", passes, &out.pass}, {"fail", failures, &out.fail}, {"not_evaluated", unables, &out.unable}} {
		for range kind.n {
			r, err := drawResult(rng, kind.verdict)
			if err != nil {
				return out, err
			}
			*kind.to = append(*kind.to, r)
		}
	}
	return out, nil
}

func drawResult(rng *rand.Rand, verdict string) (*result, error) {
	r := &result{verdict: verdict}
	checks := acceptance.Catalogue()
	first, n := rng.IntN(len(checks)), findingsMin+rng.IntN(findingsMax-findingsMin+1)
	fails := 0
	if verdict == "fail" {
		fails = 1 + rng.IntN(3)
	}
	for i := range n {
		c := checks[(first+i*3)%len(checks)]
		l := line{Ord: i, Check: c.Name, Part: []string{"", "body", "lid"}[rng.IntN(3)], Outcome: "pass", Blocks: rng.IntN(3) > 0}
		for _, limit := range c.Limits {
			if !limit.List && (limit.Kind == spec.AtMost || limit.Kind == spec.AtLeast) {
				bound := 1 + rng.Float64()*9
				measured := bound * 0.8
				l.LimitKey, l.Unit, l.Limit, l.Measured = limit.Key, limit.Unit, &bound, &measured
				break
			}
		}
		switch {
		case verdict == "not_evaluated" && i < 2:
			l.Outcome, l.Blocks = "not_evaluated", true
		case i < fails:
			l.Outcome, l.Blocks = "fail", true
		case rng.IntN(12) == 0:
			l.Outcome, l.Blocks = "warn", false
		}
		if l.Blocks && (l.Outcome == "fail" || l.Outcome == "not_evaluated") {
			r.issues++
		}
		r.lines = append(r.lines, l)
		r.packed = append(r.packed, packed(l))
	}
	return r, r.finish()
}

// finish says the headline and makes the digests.
func (r *result) finish() error {
	findings, err := canon.Marshal(r.lines)
	if err != nil {
		return fmt.Errorf("findings: %w", err)
	}
	r.findingsSHA256 = sum(findings)
	switch r.verdict {
	case "pass":
		r.headline = "technical: clear"
	case "fail":
		r.headline = fmt.Sprintf("technical: %d issues; the first: %s", r.issues, r.lines[0].Check)
	default:
		r.headline, r.cause = "not evaluated", "memory"
		return nil // the child died: there is no evidence
	}
	e := acceptance.Evidence{Schema: "proofhouse/evidence/1", Engine: acceptance.Engine{Version: engineName, Commit: engineDigest}, Verdict: acceptance.Verdict(r.verdict), Headline: r.headline,
		Spec: acceptance.SpecRef{Prop: "bollard", Digest: hex.EncodeToString(r.findingsSHA256), Tier: "mid", Milestone: "final"}}
	for _, l := range r.lines {
		f := acceptance.Finding{Check: l.Check, Part: l.Part, Outcome: acceptance.Outcome(l.Outcome), Blocks: l.Blocks, Sentence: "Drawn for measuring speed: the check " + l.Outcome + "ed on this part.", Why: "Drawn."}
		if l.Measured != nil {
			f.Measured = &acceptance.Value{Value: *l.Measured, Unit: l.Unit}
			f.Limit = map[string]float64{l.LimitKey: *l.Limit}
		}
		e.Findings = append(e.Findings, f)
	}
	if r.evidence, err = json.Marshal(e); err != nil {
		return fmt.Errorf("evidence: %w", err)
	}
	r.evidenceSHA256 = sum(r.evidence)
	return nil
}

func packed(l line) []byte {
	var r rows
	r.i4(l.Ord).text(l.Check).text(l.Part).text(l.Set).null().null().text(l.Pose).text(l.File).text(l.Outcome).bool(l.Blocks).text(l.FollowsFrom)
	r.number(l.Measured).text(l.Unit).text(l.LimitKey).number(l.Limit)
	return r.data
}
