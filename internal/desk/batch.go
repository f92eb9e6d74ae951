package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"unicode/utf8"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/inspection"
)

// line is one delivery of a batch.
type line struct {
	Folder   string               `json:"folder"`
	Evidence *acceptance.Evidence `json:"evidence,omitempty"`
	Error    string               `json:"error,omitempty"` // why there is no evidence
	open     int                  // questions left open
}

func (l line) verdict() acceptance.Verdict {
	if l.Evidence == nil {
		return acceptance.VerdictNotEvaluated
	}
	return l.Evidence.Verdict
}

// batch inspects as many deliveries at a time as there are cores, one thread each: their number is what fills a machine,
// not the size of one.
func (c inspectCall) batch(ctx context.Context, s Streams, exe, folder string, found []string) int {
	base := c.out
	if base == "" {
		tmp, err := os.MkdirTemp("", "proofhouse-batch-")
		if err != nil {
			return failed(ctx, s, err)
		}
		defer os.RemoveAll(tmp)
		base = tmp
	}
	atOnce := c.threads
	if atOnce == 0 {
		atOnce = runtime.GOMAXPROCS(0)
	}
	lines := make([]line, len(found))
	b := &bar{s: s, label: "batch"}
	var mu sync.Mutex
	var wg sync.WaitGroup
	next, done := make(chan int), 0
	for range min(len(found), atOnce) {
		wg.Go(func() {
			for i := range next {
				lines[i] = c.batchLine(ctx, exe, folder, found[i], base)
				mu.Lock()
				done++
				b.set(lines[i].Folder, float64(done)/float64(len(found)))
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
	if err := c.writeBatch(s, lines); err != nil {
		return failed(ctx, s, err)
	}
	return exitOfBatch(lines)
}

func (c inspectCall) batchLine(ctx context.Context, exe, folder, delivery, base string) line {
	name, err := filepath.Rel(folder, delivery)
	if err != nil {
		name = delivery
	}
	l := line{Folder: filepath.ToSlash(name)}
	out := filepath.Join(base, name)
	o, err := c.run(ctx, exe, delivery, out, 1, nil)
	switch {
	case err != nil:
		l.Error = err.Error()
	case o.Refused+o.Unreadable != "":
		l.Error = o.Refused + o.Unreadable
	default:
		l.open = len(answerable(o.Questions))
		if l.Evidence, _, err = inspection.ReadEvidence(out); err == nil {
			err = keepManifest(delivery, out, o.Manifest)
		}
		if err != nil {
			l.Error = err.Error()
		}
	}
	return l
}

// exitOfBatch is the worst exit code: an issue before what could not be evaluated.
func exitOfBatch(lines []line) int {
	code := ExitPass
	for _, l := range lines {
		switch l.verdict() {
		case acceptance.VerdictFail:
			return ExitFail
		case acceptance.VerdictNotEvaluated:
			code = ExitNotEvaluated
		}
	}
	return code
}

func (c inspectCall) writeBatch(s Streams, lines []line) error {
	if c.asJSON {
		return json.NewEncoder(s.Out).Encode(lines)
	}
	counts := map[acceptance.Verdict]int{}
	width := 8
	for _, l := range lines {
		width = max(width, utf8.RuneCountInString(l.Folder))
		counts[l.verdict()]++
	}
	for _, l := range lines {
		words := "not evaluated: " + l.Error
		if l.Evidence != nil {
			words = l.Evidence.Headline
		}
		if l.open > 0 {
			words += fmt.Sprintf(" (files of which the names tell no role: %d)", l.open)
		}
		fmt.Fprintf(s.Out, "%-*s  %-13s  %s\n", width, l.Folder, l.verdict(), words)
	}
	fmt.Fprintf(s.Out, "\nDeliveries: %d; technically clear: %d, with issues: %d, not evaluated: %d\n", len(lines),
		counts[acceptance.VerdictPass], counts[acceptance.VerdictFail], counts[acceptance.VerdictNotEvaluated])
	if c.out != "" {
		fmt.Fprintf(s.Out, "Evidence and pictures: %s\n", c.out)
	}
	return nil
}
