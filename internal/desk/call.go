package desk

import (
	"context"
	"errors"
	"flag"
	"fmt"
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
	keepBake  bool // of inspect alone: measured anew, for what is kept has no bakes
	previous  string
	remote    remote

	document []byte     // of the spec
	resolved *spec.Spec // the spec as it counts at the milestone
	lang     *words.Language
	cache    *cache
}

// flags are those that inspect and send share; usage is the code of what stands above them.
func (c *call) flags(name, usage string, s Streams) *flag.FlagSet {
	l := c.lang
	f := flag.NewFlagSet(name, flag.ContinueOnError)
	f.StringVar(&c.specPath, "spec", "", l.Say("desk.flag_spec"))
	f.StringVar(&c.out, "out", "", l.Say("desk.flag_out"))
	f.StringVar(&c.milestone, "milestone", "", l.Say("desk.flag_milestone", words.Name(milestoneWords)))
	f.IntVar(&c.threads, "threads", 0, l.Say("desk.flag_threads"))
	f.IntVar(&c.memoryMB, "memory-mb", 4096, l.Say("desk.flag_memory"))
	f.BoolVar(&c.noPics, "no-pictures", false, l.Say("desk.flag_no_pictures"))
	f.BoolVar(&c.noCache, "no-cache", false, l.Say("desk.flag_no_cache"))
	f.StringVar(&c.language, "language", "", l.Say("desk.flag_language"))
	f.StringVar(&c.previous, "previous", "", l.Say("desk.flag_previous"))
	c.remote.flags(f, l)
	f.Usage = func() { fmt.Fprintln(s.Out, l.Say(usage)); f.PrintDefaults() }
	return f
}

const milestoneWords = "block_out, sculpt, game_mesh, maps, final"

// prepare checks what the flags say and opens the cache.
func (c *call) prepare(s Streams, f *flag.FlagSet) (code int, ok bool) {
	l := c.lang
	switch {
	case c.threads < 0 || c.memoryMB < 0:
		return wrongCall(s, l, f, "desk.negative"), false
	case c.milestone != "" && !isMilestone(c.milestone):
		return wrongCall(s, l, f, "desk.milestone_none", words.Name(c.milestone), words.Name(milestoneWords)), false
	}
	if _, ok := words.In(c.language); c.language != "" && !ok {
		return wrongCall(s, l, f, "desk.speaks_not", words.Name(c.language)), false
	}
	if !c.noCache {
		c.cache = openCache(s.CacheDir)
	}
	return 0, true
}

// load reads the spec once, so that a fault in it is told once, however many deliveries there are.
func (c *call) load(s Streams, f *flag.FlagSet) (code int, ok bool) {
	var err error
	if c.document, c.resolved, err = readSpec(c.lang, c.specPath, c.milestone); err != nil {
		fmt.Fprintf(s.Err, "worker %s: %v\n", f.Name(), err)
		return ExitWrongCall, false
	}
	return 0, true
}

// readSpec reads a spec's file and what it extends. The error is one sentence a line.
func readSpec(l *words.Language, path, milestone string) ([]byte, *spec.Spec, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, nil, errors.New(l.Say("desk.spec_unreadable", words.Name(err.Error())))
	}
	resolved, err := inspection.ResolveSpec(inspection.Job{
		SpecName: filepath.Base(path), Spec: data, SpecDir: filepath.Dir(path), Milestone: judgedAs(milestone),
	})
	return data, resolved, err
}

// maintenance is a milestone of orders that no spec knows: it is judged as what it takes the place of.
const maintenance = "maintenance"

// judgedAs is a milestone as a spec counts it.
func judgedAs(kind string) spec.Milestone {
	if kind == maintenance {
		return spec.Final
	}
	return spec.Milestone(kind)
}

func isMilestone(word string) bool {
	if word == maintenance {
		return true
	}
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
	if before := look.whole(); before != nil && !c.keepBake { // what is kept has no bakes
		return before, nil
	}
	job.Hashes, job.Known = look.digests, look.known
	o, err := c.measure(ctx, exe, job, progress)
	if err == nil && look.changedSince() { // a file was written while it was read: its digest may be another one's
		job.Hashes, job.Known = nil, nil
		return c.measure(ctx, exe, job, progress)
	}
	if err == nil {
		look.keep(o)
	}
	return o, err
}

// job is what the inspector is told.
func (c *call) job(folder, out string, threads int) (inspection.Job, error) {
	job := inspection.Job{
		SpecName: filepath.Base(c.specPath), Spec: c.document, Milestone: judgedAs(c.milestone),
		Threads: threads, Pictures: !c.noPics, Only: c.only.list, KeepBake: c.keepBake,
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
		b := &bar{s: s, l: c.lang, label: label}
		o, err := c.run(ctx, exe, folder, out, c.threads, b.set)
		b.clear()
		switch {
		case err != nil:
			code := failed(ctx, s, c.lang, err)
			if _, err := os.Stat(filepath.Join(out, evidenceName)); err == nil && label != "" {
				fmt.Fprintln(s.Err, c.lang.Say("desk.earlier_stays", words.Name(out)))
			}
			return got, code, false
		case o.Refused != "":
			fmt.Fprintln(s.Err, o.Refused)
			return got, ExitWrongCall, false
		case o.Unreadable != "":
			fmt.Fprintln(s.Err, c.lang.Say("desk.not_evaluated", words.Name(strings.TrimSuffix(o.Unreadable, "."))))
			return got, ExitNotEvaluated, false
		}
		if got.evidence, got.raw, err = inspection.ReadEvidence(out); err != nil {
			return got, failed(ctx, s, c.lang, err), false
		}
		got.outcome = o
		if len(answerable(o.Questions)) == 0 || s.In == nil {
			return got, 0, true
		}
		again, err := ask(s, c.lang, folder, o.Manifest, answerable(o.Questions))
		if err != nil {
			return got, failed(ctx, s, c.lang, err), false
		}
		if !again {
			return got, 0, true
		}
	}
}
