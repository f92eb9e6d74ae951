// Command worker is the inspector. `worker serve` takes inspections from the service's queue; `worker inspect` and
// `worker send` are what a vendor runs on their own machine.
package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"runtime/debug"
	"syscall"

	"proofhouse/internal/desk"
	"proofhouse/internal/inspection"
)

func main() { os.Exit(run()) }

func run() (code int) {
	// Go ends a program that panics with 2, which here means "called wrongly".
	defer func() {
		if p := recover(); p != nil {
			fmt.Fprintf(os.Stderr, "worker: a fault of its own stopped it: %v\n%s", p, debug.Stack())
			code = desk.ExitNotEvaluated
		}
	}()
	if len(os.Args) > 1 && os.Args[1] == inspection.ChildArg {
		frames := os.Stdout
		os.Stdout = os.Stderr // whatever prints must not end up between the frames
		if err := inspection.RunChild(os.Stdin, frames); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return desk.ExitNotEvaluated
		}
		return 0
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	s := desk.Streams{Out: os.Stdout, Err: os.Stderr, Terminal: isTerminal(os.Stderr), Language: language(os.Getenv), Open: desk.Show}
	if dir, err := os.UserCacheDir(); err == nil {
		s.CacheDir = filepath.Join(dir, "proofhouse")
	}
	if s.Terminal && isTerminal(os.Stdin) {
		s.In = os.Stdin
	}
	exe, err := os.Executable()
	if err != nil {
		fmt.Fprintf(os.Stderr, "worker: cannot find itself: %v\n", err)
		return desk.ExitNotEvaluated
	}
	said := s.Said(os.Args[1:])
	if len(os.Args) < 2 {
		fmt.Fprint(os.Stderr, desk.Usage(said))
		return desk.ExitWrongCall
	}
	token := os.Getenv("PROOFHOUSE_TOKEN")
	switch args := os.Args[2:]; os.Args[1] {
	case "inspect":
		return desk.Inspect(ctx, s, exe, token, args)
	case "send":
		return desk.Send(ctx, s, exe, token, args)
	case "explain":
		return desk.Explain(s, args)
	case "tryspec":
		return desk.TrySpec(s, args)
	case "rename":
		return desk.Rename(s, args)
	case "serve":
		return serve(ctx, exe, args)
	case "help", "--help", "-h":
		fmt.Print(desk.Usage(said))
		return 0
	}
	if folder := folderIn(os.Args[1:]); folder != "" {
		return desk.Dropped(ctx, s, exe, folder, os.Args[1:])
	}
	fmt.Fprintln(os.Stderr, desk.NoCommand(said, os.Args[1], "inspect", "send", "explain", "tryspec", "rename", "serve"))
	return desk.ExitWrongCall
}

// folderIn is the folder that a call without a command is about: its first word or its last, with flags of inspect after or before it.
func folderIn(args []string) string {
	for _, a := range []string{args[0], args[len(args)-1]} {
		if info, err := os.Stat(a); err == nil && info.IsDir() {
			return a
		}
	}
	return ""
}

func isTerminal(f *os.File) bool {
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}
