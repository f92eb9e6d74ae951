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
	"proofhouse/internal/acceptance/words"
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
		c.noPics = c.noPics || !c.asJSON // nobody would see them
		tmp, err := os.MkdirTemp("", "proofhouse-batch-")
		if err != nil {
			return failed(ctx, s, c.lang, err)
		}
		defer os.RemoveAll(tmp)
		base = tmp
	}
	atOnce := c.threads
	if atOnce == 0 {
		atOnce = runtime.GOMAXPROCS(0)
	}
	lines := make([]line, len(found))
	b := &bar{s: s, l: c.lang, label: c.lang.Say("desk.batch_label")}
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
		return failed(ctx, s, c.lang, ctx.Err())
	}
	if err := c.writeBatch(s, lines); err != nil {
		return failed(ctx, s, c.lang, err)
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
		if err == nil && c.out != "" {
			_, err = saveReport(c.lang, l.Evidence, c.resolved, out, filepath.Base(delivery), o.Questions)
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
		text := ""
		if l.Evidence != nil {
			text = acceptance.In(c.lang, l.Evidence).Headline
		} else {
			text = c.lang.Say("desk.batch_none", words.Name(l.Error))
		}
		if l.open > 0 {
			text += " " + c.lang.Say("desk.batch_open", words.Count(l.open))
		}
		fmt.Fprintf(s.Out, "%-*s  %-13s  %s\n", width, l.Folder, l.verdict(), text)
	}
	fmt.Fprintf(s.Out, "\n%s\n", c.lang.Say("desk.batch_sum", words.Count(len(lines)), words.Count(counts[acceptance.VerdictPass]),
		words.Count(counts[acceptance.VerdictFail]), words.Count(counts[acceptance.VerdictNotEvaluated])))
	if c.out != "" {
		fmt.Fprintln(s.Out, c.lang.Say("desk.kept_in", words.Name(c.out)))
	}
	return nil
}
