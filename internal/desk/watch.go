package desk

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/words"
)

// How a folder is watched: by looking, which works on every system and on network drives. A change counts once nothing has
// been written for settled, so that a file is not read while an editor still writes it.
const (
	lookEvery = 200 * time.Millisecond
	settled   = 300 * time.Millisecond
)

// slow are the families that compare surfaces point by point: where one of them has to measure, the others answer first.
var slow = []string{"surface", "bake", "maps"}

// watchFolder inspects a folder whenever it changes, until ctx ends. After a change the answer comes in two steps: in words,
// at once, from what is quick and what is known; then whole, with pictures and the report.
func (c inspectCall) watchFolder(ctx context.Context, s Streams, exe, folder string) int {
	out := c.out
	if out == "" {
		out = beside(folder, "-evidence")
	}
	last, opened := snapshot{}, false
	for {
		now, err := c.waitForChange(ctx, folder, last)
		if err != nil {
			return ExitPass // Ctrl-C is how this ends
		}
		for _, name := range now.changed(last) {
			fmt.Fprintln(s.Out, c.lang.Say("desk.saved", words.Name(name)))
		}
		last = now
		if !c.prepareAgain(s) {
			fmt.Fprintln(s.Out, c.lang.Say("desk.spec_broken"))
			continue
		}
		page, err := c.answer(ctx, s, exe, folder, out, last)
		switch {
		case interrupted(ctx):
			return ExitPass
		case err != nil:
			fmt.Fprintf(s.Err, "%v\n", err)
		case page != "" && !opened && c.open:
			show(s, c.lang, page)
			opened = true
		}
		fmt.Fprintln(s.Out, c.lang.Say("desk.watching", words.Name(folder)))
	}
}

// prepareAgain reads the spec anew: it may be what was saved.
func (c *inspectCall) prepareAgain(s Streams) bool {
	document, resolved, err := readSpec(c.lang, c.specPath, c.milestone)
	if err != nil {
		fmt.Fprintf(s.Err, "%v\n", err)
		return false
	}
	c.document, c.resolved = document, resolved
	return true
}

// answer is one round. It gives up, with no page, as soon as the folder changes again.
func (c inspectCall) answer(ctx context.Context, s Streams, exe, folder, out string, of snapshot) (page string, err error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	go func() { // a further change makes this round's answer old
		if _, err := c.waitForChange(ctx, folder, of); err == nil {
			stop()
		}
	}()
	quick := c.call
	quick.noPics = true
	if len(c.only.list) == 0 && !c.slowKnown(ctx, folder, out) {
		quick.only.list = slices.DeleteFunc(acceptance.Families(), func(f string) bool { return slices.Contains(slow, f) })
	}
	aside, err := os.MkdirTemp("", "proofhouse-quick-") // the evidence beside the folder is of whole inspections
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(aside)
	first, _, ok := quick.inspect(ctx, quiet(s), exe, folder, aside, "")
	if !ok {
		return "", nil // why was told
	}
	c.tell(s, first.evidence)
	whole, _, ok := c.inspect(ctx, quiet(s), exe, folder, out, "")
	if !ok {
		return "", nil // what stopped it comes again in the next round
	}
	if len(quick.only.list) > 0 {
		c.tell(s, whole.evidence)
	}
	if err := keepManifest(folder, out, whole.outcome.Manifest); err != nil {
		return "", err
	}
	page, err = saveReport(c.lang, whole.evidence, c.resolved, out, filepath.Base(beside(folder, "")), whole.outcome.Questions)
	if err == nil {
		fmt.Fprintln(s.Out, c.lang.Say("desk.report_is", words.Name(page)))
	}
	return page, err
}

// slowKnown says whether nothing slow has to be measured.
func (c inspectCall) slowKnown(ctx context.Context, folder, out string) bool {
	job, err := c.job(folder, out, 0)
	if err != nil {
		return false
	}
	look := c.cache.look(ctx, c.resolved, job, nil)
	families := acceptance.Families()
	for _, f := range slow {
		if _, ok := look.known[f]; !ok && slices.Contains(families, f) {
			return false
		}
	}
	return look.keys != nil
}

// quiet asks nothing and draws no progress: a round must not wait for a person.
func quiet(s Streams) Streams { return Streams{Out: s.Out, Err: s.Err} }

// tell prints a round's answer: the headline, and a line for each thing that is not in order.
func (c inspectCall) tell(s Streams, e *acceptance.Evidence) {
	e = acceptance.In(c.lang, e)
	fmt.Fprintln(s.Out, e.Headline)
	for _, part := range acceptance.Sections(e) {
		if part.Code == "report.not_evaluated_soft" || part.Code == "report.reported_only" {
			continue
		}
		fmt.Fprintln(s.Out, "  "+c.lang.Say(part.Code))
		for _, f := range part.Findings {
			head := f.Check
			if target := acceptance.TargetWords(c.lang, f); target != "" {
				head += " · " + target
			}
			fmt.Fprintf(s.Out, "    %s: %s\n", head, f.Sentence)
		}
	}
}

// snapshot is what a folder and its spec look like: size and time of each file by path.
type snapshot map[string]fileSeen

func (c inspectCall) look(folder string) snapshot {
	s := snapshot{}
	add := func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return nil // it went away while we looked: the next look sees that
		}
		if info, err := d.Info(); err == nil && info.Mode().IsRegular() {
			s[path] = fileSeen{size: info.Size(), at: info.ModTime()}
		}
		return nil
	}
	_ = filepath.WalkDir(folder, add)
	specs, err := filepath.Glob(filepath.Join(filepath.Dir(c.specPath), "*"+filepath.Ext(c.specPath))) // what it extends lies beside it
	if err == nil {
		for _, p := range specs {
			_ = filepath.WalkDir(p, add)
		}
	}
	return s
}

func (s snapshot) equal(o snapshot) bool { return len(s.changed(o)) == 0 && len(s) == len(o) }

// changed are the files that are new or other than before, sorted.
func (s snapshot) changed(before snapshot) []string {
	var out []string
	for path, f := range s {
		if b, ok := before[path]; len(before) > 0 && (!ok || b.size != f.size || !b.at.Equal(f.at)) {
			out = append(out, path)
		}
	}
	slices.Sort(out)
	return out
}

// waitForChange returns once the folder looks other than last and has been left alone for a moment.
func (c inspectCall) waitForChange(ctx context.Context, folder string, last snapshot) (snapshot, error) {
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	var pending snapshot
	var since time.Time
	for {
		now := c.look(folder)
		switch {
		case len(last) == 0 && len(now) > 0:
			return now, nil
		case now.equal(last):
			pending = nil
		case pending == nil || !now.equal(pending):
			pending, since = now, time.Now()
		case time.Since(since) >= settled:
			return now, nil
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-tick.C:
		}
	}
}
