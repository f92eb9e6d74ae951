// Package desk is what a vendor runs on their own machine: the same acceptance test as the studio's, on a folder, with no
// server; and the way to send that folder once it is good. Nothing is reported to anybody by a local test.
package desk

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"

	"proofhouse/internal/acceptance"
)

// The exit codes of inspect and send.
const (
	ExitPass         = 0
	ExitFail         = 1
	ExitWrongCall    = 2
	ExitNotEvaluated = 3
)

// Streams are where a command writes: what was asked for, and everything else.
type Streams struct {
	Out, Err io.Writer
	Terminal bool // Err is a terminal: progress may be drawn over itself
}

// exitOf is the exit code of a verdict.
func exitOf(v acceptance.Verdict) int {
	switch v {
	case acceptance.VerdictPass:
		return ExitPass
	case acceptance.VerdictFail:
		return ExitFail
	}
	return ExitNotEvaluated
}

// wrongCall prints what was wrong with a call and how to call.
func wrongCall(s Streams, fs *flag.FlagSet, format string, args ...any) int {
	fmt.Fprintf(s.Err, "worker %s: %s\n\n", fs.Name(), fmt.Sprintf(format, args...))
	fs.Usage()
	return ExitWrongCall
}

// parse reads flags and gives the one folder that must follow. done is set where the call ends here, with its exit code.
func parse(s Streams, fs *flag.FlagSet, args []string, what string) (arg string, code int, done bool) {
	fs.SetOutput(s.Err)
	if err := fs.Parse(args); errors.Is(err, flag.ErrHelp) {
		return "", ExitPass, true
	} else if err != nil {
		return "", ExitWrongCall, true
	}
	if fs.NArg() != 1 {
		return "", wrongCall(s, fs, "it takes one %s, and %d were given", what, fs.NArg()), true
	}
	return fs.Arg(0), 0, false
}

// readSpec reads a spec's file; the error is one sentence.
func readSpec(path string) ([]byte, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("the spec cannot be read: %w", err)
	}
	return data, nil
}

// bar draws progress: over itself on a terminal, and nothing in a pipe, where a table follows anyway.
type bar struct {
	s     Streams
	label string
	shown bool
}

func (b *bar) set(what string, done float64) {
	if !b.s.Terminal {
		return
	}
	const width = 24
	full := min(width, max(0, int(done*width+0.5)))
	fmt.Fprintf(b.s.Err, "\r\x1b[K%s [%s%s] %3.0f %%  %s", b.label, repeat('=', full), repeat(' ', width-full), 100*done, what)
	b.shown = true
}

func (b *bar) clear() {
	if b.shown {
		fmt.Fprint(b.s.Err, "\r\x1b[K")
		b.shown = false
	}
}

func repeat(c byte, n int) string {
	out := make([]byte, n)
	for i := range out {
		out[i] = c
	}
	return string(out)
}

// interrupted says whether a command was ended by the person at the keyboard.
func interrupted(ctx context.Context) bool { return ctx.Err() != nil }
