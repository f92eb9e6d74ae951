package desk

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
	"proofhouse/internal/inspection"
)

// call is what the flags say that inspect and send have in common.
type call struct {
	specPath  string
	out       string
	milestone string
	threads   int
	memoryMB  int
	noPics    bool
	noCache   bool
	only      families
	language  string
	keepBake  bool // of inspect alone
	previous  string

	document []byte     // of the spec
	resolved *spec.Spec // the spec as it counts at the milestone
	lang     *words.Language
	cache    *cache
}

func (c *call) flags(name, usage string, s Streams) *flag.FlagSet {
	f := flag.NewFlagSet(name, flag.ContinueOnError)
	f.StringVar(&c.specPath, "spec", "", "the `file` of the spec, YAML or JSON")
	f.StringVar(&c.out, "out", "", "the `folder` for evidence.json and the pictures (default: FOLDER-evidence; for a batch nothing is kept)")
	f.StringVar(&c.milestone, "milestone", "", "judge it as this `milestone`: "+milestoneWords+" (default: delivery.yaml's, else the spec's)")
	f.IntVar(&c.threads, "threads", 0, "how many processor `cores` to use; the evidence is the same with any number (default: all)")
	f.IntVar(&c.memoryMB, "memory-mb", 4096, "most memory of one inspection, the same as the studio's unless it says otherwise; 0 for no limit")
	f.BoolVar(&c.noPics, "no-pictures", false, "measure only")
	f.BoolVar(&c.noCache, "no-cache", false, "measure everything anew, even what has not changed since the last time")
	f.StringVar(&c.language, "language", "", "of the table and the report: `en` or de (default: the system's)")
	f.StringVar(&c.previous, "previous", "", "compare with this evidence.json `file` of an earlier delivery (default: what an earlier inspection left beside the folder)")
	f.Usage = func() { fmt.Fprintf(s.Out, "%s\n", usage); f.PrintDefaults() }
	return f
}

const milestoneWords = "block_out, sculpt, game_mesh, maps or final"

// prepare reads the spec once, so that a fault in it is told once, however many deliveries there are.
func (c *call) prepare(s Streams, f *flag.FlagSet) (code int, ok bool) {
	if c.specPath == "" {
		return wrongCall(s, f, "say which spec to judge by: --spec FILE"), false
	}
	if c.threads < 0 || c.memoryMB < 0 {
		return wrongCall(s, f, "--threads and --memory-mb cannot be negative"), false
	}
	if l, ok := words.In(c.language); c.language != "" && !ok {
		return wrongCall(s, f, "it does not speak %q: --language is en or de", c.language), false
	} else if c.lang = l; c.language == "" {
		c.lang, _ = words.In(s.Language)
	}
	if !c.noCache {
		c.cache = openCache(s.CacheDir)
	}
	var err error
	if c.document, c.resolved, err = readSpec(c.specPath, c.milestone); err != nil {
		fmt.Fprintf(s.Err, "worker %s: %v\n", f.Name(), err)
		return ExitWrongCall, false
	}
	return 0, true
}

// readSpec reads a spec's file and what it extends. The error is one sentence a line.
func readSpec(path, milestone string) ([]byte, *spec.Spec, error) {
	if milestone != "" && !isMilestone(milestone) {
		return nil, nil, fmt.Errorf("there is no milestone %q: it is %s", milestone, milestoneWords)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, nil, fmt.Errorf("the spec cannot be read: %w", err)
	}
	resolved, err := inspection.ResolveSpec(inspection.Job{
		SpecName: filepath.Base(path), Spec: data, SpecDir: filepath.Dir(path), Milestone: spec.Milestone(milestone),
	})
	return data, resolved, err
}

func isMilestone(word string) bool {
	for _, m := range spec.Milestones {
		if string(m) == word {
			return true
		}
	}
	return false
}

// run inspects one folder into out and returns how it ended. What has not changed since it was measured last is taken from
// the cache.
func (c *call) run(ctx context.Context, exe, folder, out string, threads int, progress func(string, float64)) (*inspection.Outcome, error) {
	job, err := c.job(folder, out, threads)
	if err != nil {
		return nil, err
	}
	look := c.cache.look(ctx, c.resolved, job, progress)
	if before := look.whole(); before != nil {
		return before, nil
	}
	if err := clearOut(job.Out); err != nil {
		return nil, err
	}
	job.Hashes, job.Known = look.digests, look.known
	limits := inspection.Limits{MemoryBytes: int64(c.memoryMB) << 20, Confine: true}
	o, err := inspection.Spawn(ctx, exe, job, limits, progress, nil)
	if err == nil && look.changedSince() { // a file was written while it was read: its digest may be another one's
		job.Hashes, job.Known = nil, nil
		if err := clearOut(job.Out); err != nil {
			return nil, err
		}
		return inspection.Spawn(ctx, exe, job, limits, progress, nil)
	}
	if err == nil {
		look.keep(o)
	}
	return o, err
}

// job is what the inspector is told.
func (c *call) job(folder, out string, threads int) (inspection.Job, error) {
	job := inspection.Job{
		SpecName: filepath.Base(c.specPath), Spec: c.document, Milestone: spec.Milestone(c.milestone),
		Threads: threads, Pictures: !c.noPics, Only: c.only,
	}
	for _, p := range []struct {
		to   *string
		path string
	}{{&job.Folder, folder}, {&job.Out, out}, {&job.SpecDir, filepath.Dir(c.specPath)}} {
		abs, err := filepath.Abs(p.path)
		if err != nil {
			return job, err
		}
		*p.to = abs
	}
	var err error
	job.Previous, err = earlierEvidence(c.previous, job.Folder, job.Out)
	return job, err
}

// clearOut makes the evidence's folder and takes away what an earlier inspection left in it: an old verdict beside a new
// failure would be taken for the new one's.
func clearOut(out string) error {
	if err := os.MkdirAll(out, 0o755); err != nil {
		return fmt.Errorf("make the folder for the evidence: %w", err)
	}
	root, err := os.OpenRoot(out)
	if err != nil {
		return fmt.Errorf("open the folder for the evidence: %w", err)
	}
	defer root.Close()
	if _, err := root.Stat("evidence.json"); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	old, _, err := inspection.ReadEvidence(out)
	if err != nil || !strings.HasPrefix(old.Schema, "proofhouse/evidence/") {
		return fmt.Errorf("%s holds an evidence.json that is not one of ours; choose another folder with --out", out)
	}
	for _, p := range old.Pictures {
		if err := root.Remove(filepath.Base(p.Name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("remove an old picture: %w", err)
		}
	}
	for _, name := range []string{"evidence.json", ReportName} {
		if err := root.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("remove the old %s: %w", name, err)
		}
	}
	return nil
}

// inspected is one folder's inspection that came to an end.
type inspected struct {
	evidence *acceptance.Evidence
	raw      []byte
	outcome  *inspection.Outcome
}

// inspect runs the inspection of one folder with a progress bar, and again after questions were answered. ok is false
// where there is no evidence; the exit code says why.
func (c *call) inspect(ctx context.Context, s Streams, exe, folder, out, label string) (got inspected, code int, ok bool) {
	for {
		b := &bar{s: s, label: label}
		o, err := c.run(ctx, exe, folder, out, c.threads, b.set)
		b.clear()
		switch {
		case err != nil:
			return got, failed(ctx, s, err), false
		case o.Refused != "":
			fmt.Fprintln(s.Err, o.Refused)
			return got, ExitWrongCall, false
		case o.Unreadable != "":
			fmt.Fprintf(s.Err, "Not evaluated: %s.\n", strings.TrimSuffix(o.Unreadable, "."))
			return got, ExitNotEvaluated, false
		}
		if got.evidence, got.raw, err = inspection.ReadEvidence(out); err != nil {
			return got, failed(ctx, s, err), false
		}
		got.outcome = o
		if len(answerable(o.Questions)) == 0 || s.In == nil {
			return got, 0, true
		}
		again, err := ask(s, folder, o.Manifest, answerable(o.Questions))
		if err != nil {
			return got, failed(ctx, s, err), false
		}
		if !again {
			return got, 0, true
		}
	}
}
