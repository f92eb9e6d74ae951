// Package desk is what a vendor runs on their own machine: the same acceptance test as the studio's, on a folder, with no
// server; and the way to send that folder once it is good. Nothing is reported to anybody by a local test.
package desk

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/words"
)

// The exit codes of inspect and send.
const (
	ExitPass         = 0
	ExitFail         = 1
	ExitWrongCall    = 2
	ExitNotEvaluated = 3
)

// Streams are where a command writes, what was asked for and everything else, and where it may ask.
type Streams struct {
	In       io.Reader // nil: nobody is there to answer
	Out, Err io.Writer
	Terminal bool // Err is a terminal: progress may be drawn over itself

	Language string                  // the person's, BCP 47 or as the system writes it; "" for English
	CacheDir string                  // where findings are kept that need no second measurement; "" for nowhere
	Open     func(path string) error // shows a file to the person; nil where nobody is there to look
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

// Said is the language that a call is answered in: the one that its flag --language names, else the person's. It is looked
// for before the flags are read, since their help and their faults are said in it too.
func (s Streams) Said(args []string) *words.Language {
	tag := s.Language
	for i, a := range args {
		name, value, with := strings.Cut(strings.TrimLeft(a, "-"), "=")
		if name != "language" || !strings.HasPrefix(a, "-") {
			continue
		}
		if !with && i+1 < len(args) {
			value = args[i+1]
		}
		if _, ok := words.In(value); ok {
			tag = value
		}
	}
	l, _ := words.In(tag)
	return l
}

// wrongCall says in one line what was wrong with a call, and where more is to be read.
func wrongCall(s Streams, l *words.Language, fs *flag.FlagSet, code string, args ...words.Arg) int {
	return wrongly(s, l, fs, l.Say(code, args...))
}

// wrongly is wrongCall for a text that has been said already.
func wrongly(s Streams, l *words.Language, fs *flag.FlagSet, text string) int {
	fmt.Fprintln(s.Err, l.Say("desk.wrong_call", words.Name(fs.Name()), words.Name(text)))
	return ExitWrongCall
}

// ParseFlags reads flags, and words that stand among them. Help goes to s.Out; a mistake is one line on s.Err. done is set
// where the call ends here, with its exit code.
func ParseFlags(s Streams, fs *flag.FlagSet, args []string) (rest []string, code int, done bool) {
	l := s.Said(args)
	fs.SetOutput(io.Discard)
	help := fs.Usage
	fs.Usage = func() {}
	for {
		if err := fs.Parse(args); errors.Is(err, flag.ErrHelp) {
			fs.SetOutput(s.Out)
			help()
			return nil, ExitPass, true
		} else if err != nil {
			return nil, wrongly(s, l, fs, flagFault(l, fs, err)), true
		}
		if args = fs.Args(); len(args) == 0 {
			return rest, 0, false
		}
		rest, args = append(rest, args[0]), args[1:]
	}
}

// flagFault says what is wrong with a flag, and which one may have been meant.
func flagFault(l *words.Language, fs *flag.FlagSet, err error) string {
	unknown, ok := strings.CutPrefix(err.Error(), "flag provided but not defined: -")
	if !ok {
		var value, name, why string
		if text, ok := strings.CutPrefix(err.Error(), "invalid value "); ok {
			value, text, _ = strings.Cut(text, " for flag -")
			name, why, _ = strings.Cut(text, ": ")
			if why == "parse error" || why == "value out of range" {
				return l.Say("desk.flag_misfit", words.Name(value), words.Name(name))
			}
			return why
		}
		return err.Error()
	}
	var names []string
	fs.VisitAll(func(f *flag.Flag) { names = append(names, f.Name) })
	if near := Nearest(unknown, names); near != "" {
		return l.Say("desk.flag_near", words.Name(unknown), words.Name(near))
	}
	return l.Say("desk.flag_unknown", words.Name(unknown))
}

// parse reads flags and the one folder that must stand among them, before or after.
func parse(s Streams, l *words.Language, fs *flag.FlagSet, args []string) (folder string, code int, done bool) {
	rest, code, done := ParseFlags(s, fs, args)
	if done {
		return "", code, true
	}
	if len(rest) != 1 {
		return "", wrongCall(s, l, fs, "desk.one_folder", words.Count(len(rest))), true
	}
	return rest[0], 0, false
}

// beside is a path next to a folder, named after it.
func beside(folder, ending string) string {
	clean := filepath.Clean(folder)
	if base := filepath.Base(clean); base == "." || base == ".." {
		if abs, err := filepath.Abs(clean); err == nil {
			clean = abs
		}
	}
	return clean + ending
}

// bar shows progress: drawn over itself on a terminal, a plain line for each quarter in a pipe.
type bar struct {
	s       Streams
	l       *words.Language
	label   string // "" draws nothing
	shown   bool
	quarter int
}

func (b *bar) set(what string, done float64) {
	if b.label == "" {
		return
	}
	done, what = max(0, min(1, done)), doing(b.l, what)
	if !b.s.Terminal {
		if quarter := int(4 * done); quarter > b.quarter && quarter < 4 {
			b.quarter = quarter
			fmt.Fprintln(b.s.Err, b.l.Say("desk.quarter", words.Name(b.label), words.Count(25*quarter), words.Name(what)))
		}
		return
	}
	const width, room = 24, 36
	full := int(done*width + 0.5)
	if utf8.RuneCountInString(what) > room {
		what = string([]rune(what)[:room-1]) + "…"
	}
	fmt.Fprintf(b.s.Err, "\r\x1b[K%s [%s%s] %3.0f %%  %s", b.label, strings.Repeat("=", full), strings.Repeat(" ", width-full), 100*done, what)
	b.shown = true
}

// doing says in the person's language what an inspection or a delivery is at; names of files and checks stay.
func doing(l *words.Language, what string) string {
	word, of, _ := strings.Cut(what, " ")
	text := what
	switch word {
	case "reading":
		text = l.Say("desk.doing_reading", words.Name(of))
	case "sorting":
		text = l.Say("desk.doing_sorting")
	case "checking":
		text = l.Say("desk.doing_checking", words.Name(of))
	case "pictures":
		text = l.Say("desk.doing_pictures")
	case "hashing":
		text = l.Say("desk.doing_hashing", words.Name(of))
	case "sending":
		text = l.Say("desk.doing_sending", words.Name(of))
	}
	return strings.TrimSpace(text)
}

func (b *bar) clear() {
	if b.shown {
		fmt.Fprint(b.s.Err, "\r\x1b[K")
		b.shown = false
	}
}

// interrupted says whether a command was ended by the person at the keyboard.
func interrupted(ctx context.Context) bool { return ctx.Err() != nil }

// failed reports that the inspection itself could not be run.
func failed(ctx context.Context, s Streams, l *words.Language, err error) int {
	if interrupted(ctx) {
		fmt.Fprintln(s.Err, l.Say("desk.stopped"))
	} else {
		fmt.Fprintln(s.Err, l.Say("desk.not_evaluated", words.Name(err.Error())))
	}
	return ExitNotEvaluated
}
