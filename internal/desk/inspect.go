package desk

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/inspection"
)

const inspectUsage = `Inspect one delivery, or a folder of deliveries, on this machine. No server is needed and nothing is sent anywhere.

  worker inspect --spec spec.yaml [--out DIR] [--json] FOLDER

FOLDER holds the files of one delivery; delivery.yaml in it names them and their roles, and is told from the spec's name
patterns where it is not there. A FOLDER whose folders are deliveries is a batch: one line each, and a summary.

Exit: 0 technically clear, 1 issues that block, 3 could not be evaluated, 2 called wrongly.
`

// inspectCall is what the flags of inspect say.
type inspectCall struct {
	specPath  string
	out       string
	asJSON    bool
	milestone string
	threads   int
	noPics    bool
}

func (c *inspectCall) flags(name, usage string, s Streams) *flag.FlagSet {
	f := flag.NewFlagSet(name, flag.ContinueOnError)
	f.StringVar(&c.specPath, "spec", "", "the `file` of the spec, YAML or JSON")
	f.StringVar(&c.out, "out", "", "the `folder` for evidence.json and the pictures (default: FOLDER-evidence; for a batch nothing is kept)")
	f.StringVar(&c.milestone, "milestone", "", "judge it as this `milestone`: block_out, sculpt, game_mesh, maps or final (default: delivery.yaml's, else the spec's)")
	f.IntVar(&c.threads, "threads", 0, "how many processor cores to use (default: all)")
	f.BoolVar(&c.noPics, "no-pictures", false, "measure only")
	f.Usage = func() { fmt.Fprintf(s.Err, "%s\n", usage); f.PrintDefaults() }
	return f
}

// Inspect is the command `worker inspect`. exe is this program's path; args are what follows the command's name.
func Inspect(ctx context.Context, s Streams, exe string, args []string) int {
	var c inspectCall
	f := c.flags("inspect", inspectUsage, s)
	f.BoolVar(&c.asJSON, "json", false, "print the evidence as JSON instead of the table")
	folder, code, done := parse(s, f, args, "folder")
	if done {
		return code
	}
	if c.specPath == "" {
		return wrongCall(s, f, "say which spec to judge by: --spec FILE")
	}
	found, err := acceptance.FindDeliveries(folder)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return wrongCall(s, f, "there is no folder %s", folder)
	case err != nil:
		return wrongCall(s, f, "%s: %v", folder, err)
	case len(found) == 0:
		return wrongCall(s, f, "%s holds no delivery: no file that any delivery has", folder)
	case len(found) == 1 && filepath.Clean(found[0]) == filepath.Clean(folder):
		return inspectOne(ctx, s, exe, c, folder)
	}
	return inspectBatch(ctx, s, exe, c, folder, found)
}

// run inspects one folder into out and returns how it ended.
func (c inspectCall) run(ctx context.Context, exe, folder, out string, threads int, progress func(string, float64)) (*inspection.Outcome, error) {
	data, err := readSpec(c.specPath)
	if err != nil {
		return &inspection.Outcome{Refused: err.Error()}, nil
	}
	abs, err := filepath.Abs(folder)
	if err != nil {
		return nil, err
	}
	outAbs, err := filepath.Abs(out)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(outAbs, 0o755); err != nil {
		return nil, fmt.Errorf("make the folder for the evidence: %w", err)
	}
	return inspection.Spawn(ctx, exe, inspection.Job{
		SpecName: filepath.Base(c.specPath), Spec: data, SpecDir: filepath.Dir(c.specPath), Folder: abs, Out: outAbs,
		Milestone: spec.Milestone(c.milestone), Threads: threads, Pictures: !c.noPics,
	}, inspection.Limits{}, progress, nil)
}

func inspectOne(ctx context.Context, s Streams, exe string, c inspectCall, folder string) int {
	out := c.out
	if out == "" {
		out = strings.TrimRight(folder, `/\`) + "-evidence"
	}
	b := &bar{s: s, label: filepath.Base(filepath.Clean(folder))}
	o, err := c.run(ctx, exe, folder, out, c.threads, b.set)
	b.clear()
	if err != nil {
		return failed(ctx, s, err)
	}
	if o.Refused != "" {
		fmt.Fprintln(s.Err, o.Refused)
		return ExitWrongCall
	}
	e, raw, err := readEvidence(out)
	if err != nil {
		return failed(ctx, s, err)
	}
	if c.asJSON {
		if _, err := s.Out.Write(append(raw, '\n')); err != nil {
			return failed(ctx, s, err)
		}
		return exitOf(e.Verdict)
	}
	if err := acceptance.WriteTable(s.Out, e); err != nil {
		return failed(ctx, s, err)
	}
	for _, q := range o.Questions {
		fmt.Fprintf(s.Out, "Say in %s what %s is: %s %s\n", acceptance.ManifestName, q.Path, q.Why, strings.Join(q.Candidates, ", "))
	}
	fmt.Fprintf(s.Out, "Evidence and pictures: %s\n", out)
	return exitOf(e.Verdict)
}

// failed reports that the inspection itself could not be run.
func failed(ctx context.Context, s Streams, err error) int {
	if interrupted(ctx) {
		fmt.Fprintln(s.Err, "Stopped before the end: nothing was decided.")
	} else {
		fmt.Fprintf(s.Err, "Not evaluated: %v.\n", err)
	}
	return ExitNotEvaluated
}

func readEvidence(out string) (*acceptance.Evidence, []byte, error) {
	raw, err := os.ReadFile(filepath.Join(out, "evidence.json"))
	if err != nil {
		return nil, nil, fmt.Errorf("read the evidence: %w", err)
	}
	var e acceptance.Evidence
	if err := json.Unmarshal(raw, &e); err != nil {
		return nil, nil, fmt.Errorf("read the evidence: %w", err)
	}
	return &e, raw, nil
}

// line is one delivery of a batch.
type line struct {
	name     string
	evidence *acceptance.Evidence
	err      string
}

// inspectBatch inspects as many deliveries at a time as there are cores, one thread each: their number is what fills a
// machine, not the size of one.
func inspectBatch(ctx context.Context, s Streams, exe string, c inspectCall, folder string, found []string) int {
	base := c.out
	if base == "" {
		tmp, err := os.MkdirTemp("", "proofhouse-batch-")
		if err != nil {
			return failed(ctx, s, err)
		}
		defer os.RemoveAll(tmp)
		base = tmp
	}
	lines := make([]line, len(found))
	b := &bar{s: s, label: "batch"}
	var mu sync.Mutex
	var wg sync.WaitGroup
	next, done := make(chan int), 0
	for range max(1, min(len(found), runtime.GOMAXPROCS(0))) {
		wg.Go(func() {
			for i := range next {
				lines[i] = c.batchLine(ctx, exe, folder, found[i], base)
				mu.Lock()
				done++
				b.set(lines[i].name, float64(done)/float64(len(found)))
				mu.Unlock()
			}
		})
	}
	for i := range found {
		next <- i
	}
	close(next)
	wg.Wait()
	b.clear()
	if interrupted(ctx) {
		return failed(ctx, s, ctx.Err())
	}
	return writeBatch(s, c, lines)
}

func (c inspectCall) batchLine(ctx context.Context, exe, folder, delivery, base string) line {
	name, err := filepath.Rel(folder, delivery)
	if err != nil {
		name = delivery
	}
	out := filepath.Join(base, name)
	o, err := c.run(ctx, exe, delivery, out, 1, nil)
	switch {
	case err != nil:
		return line{name: name, err: err.Error()}
	case o.Refused != "":
		return line{name: name, err: o.Refused}
	}
	e, _, err := readEvidence(out)
	if err != nil {
		return line{name: name, err: err.Error()}
	}
	return line{name: name, evidence: e}
}

// writeBatch prints the table and gives the worst exit code: an issue before what could not be evaluated.
func writeBatch(s Streams, c inspectCall, lines []line) int {
	counts := map[acceptance.Verdict]int{}
	width := 8
	for _, l := range lines {
		width = max(width, len([]rune(l.name)))
	}
	type entry struct {
		Folder   string               `json:"folder"`
		Evidence *acceptance.Evidence `json:"evidence,omitempty"`
		Error    string               `json:"error,omitempty"`
	}
	entries := make([]entry, 0, len(lines))
	for _, l := range lines {
		verdict, words := acceptance.VerdictNotEvaluated, "not evaluated: "+l.err
		if l.evidence != nil {
			verdict, words = l.evidence.Verdict, l.evidence.Headline
		}
		counts[verdict]++
		entries = append(entries, entry{l.name, l.evidence, l.err})
		if !c.asJSON {
			fmt.Fprintf(s.Out, "%-*s  %-13s  %s\n", width, l.name, verdict, words)
		}
	}
	if c.asJSON {
		enc := json.NewEncoder(s.Out)
		if err := enc.Encode(entries); err != nil {
			fmt.Fprintln(s.Err, err)
			return ExitNotEvaluated
		}
	} else {
		fmt.Fprintf(s.Out, "\n%d deliveries: %d technically clear, %d with issues, %d not evaluated\n", len(lines),
			counts[acceptance.VerdictPass], counts[acceptance.VerdictFail], counts[acceptance.VerdictNotEvaluated])
		if c.out != "" {
			fmt.Fprintf(s.Out, "Evidence and pictures: %s\n", c.out)
		}
	}
	switch {
	case counts[acceptance.VerdictFail] > 0:
		return ExitFail
	case counts[acceptance.VerdictNotEvaluated] > 0:
		return ExitNotEvaluated
	}
	return ExitPass
}
