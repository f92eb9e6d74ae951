package desk

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/words"
)

const inspectUsage = `Inspect one delivery, or a folder of deliveries, on this machine. No server is needed and nothing is sent anywhere.

  worker inspect --spec spec.yaml [--out DIR] [--json] [--only FAMILY] [--watch] FOLDER

FOLDER holds the files of one delivery; delivery.yaml in it names them and their roles. Where it is not there, the roles
are told from the spec's name patterns; only what the names leave open is asked, and the manifest that was used is kept as
delivery.yaml beside the evidence. A FOLDER whose folders are deliveries is a batch: one line each, and a summary.

Beside the evidence lies report.html: the findings with their pictures, for reading in any browser. With --watch the folder
is inspected again whenever a file in it is saved. What has not changed since the last time is not measured again.

Exit: 0 technically clear, 1 issues that block, 3 could not be evaluated, 2 called wrongly.
`

// inspectCall is what the flags of inspect say.
type inspectCall struct {
	call
	asJSON, watch, open bool
}

// Inspect is the command `worker inspect`. exe is this program's path; args are what follows the command's name.
func Inspect(ctx context.Context, s Streams, exe string, args []string) int {
	var c inspectCall
	f := c.flags("inspect", inspectUsage, s)
	f.BoolVar(&c.asJSON, "json", false, "print the evidence as JSON instead of the table")
	f.Var(&c.only, "only", "make the checks of this `family` alone, and say that the rest was not checked; several with commas")
	f.BoolVar(&c.watch, "watch", false, "stay, and inspect again whenever a file is saved; Ctrl-C ends it")
	f.BoolVar(&c.open, "open", false, "show the report when it is done")
	folder, code, done := parse(s, f, args)
	if done {
		return code
	}
	if code, ok := c.prepare(s, f); !ok {
		return code
	}
	found, err := acceptance.FindDeliveries(folder)
	single := len(found) == 1 && filepath.Clean(found[0]) == filepath.Clean(folder)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return wrongCall(s, f, "there is no folder %s", folder)
	case err != nil:
		return wrongCall(s, f, "%v", err)
	case c.watch && (!single || c.asJSON):
		return wrongCall(s, f, "--watch is for one delivery, and for people")
	case c.watch:
		return c.watchFolder(ctx, s, exe, folder)
	case single:
		return c.one(ctx, s, exe, folder)
	}
	return c.batch(ctx, s, exe, folder, found)
}

func (c inspectCall) one(ctx context.Context, s Streams, exe, folder string) int {
	out := c.out
	if out == "" {
		out = beside(folder, "-evidence")
	}
	got, code, ok := c.inspect(ctx, s, exe, folder, out, filepath.Base(beside(folder, "")))
	if !ok {
		return code
	}
	if err := keepManifest(folder, out, got.outcome.Manifest); err != nil {
		return failed(ctx, s, err)
	}
	page, err := saveReport(c.lang, got.evidence, c.resolved, out, filepath.Base(beside(folder, "")), got.outcome.Questions)
	if err != nil {
		return failed(ctx, s, err)
	}
	if c.asJSON {
		if _, err := s.Out.Write(append(got.raw, '\n')); err != nil {
			return failed(ctx, s, err)
		}
		return exitOf(got.evidence.Verdict)
	}
	if err := acceptance.WriteTable(s.Out, c.lang, acceptance.In(c.lang, got.evidence)); err != nil {
		return failed(ctx, s, err)
	}
	tellQuestions(s.Out, got.outcome.Questions)
	fmt.Fprintln(s.Out, c.lang.Say("desk.kept_in", words.Name(out)))
	fmt.Fprintln(s.Out, c.lang.Say("desk.report_is", words.Name(page)))
	if c.open {
		show(s, c.lang, page)
	}
	return exitOf(got.evidence.Verdict)
}

// show opens a file for the person; where that does not work, its name was printed already.
func show(s Streams, l *words.Language, path string) {
	if s.Open == nil {
		return
	}
	if err := s.Open(path); err != nil {
		fmt.Fprintln(s.Err, l.Say("desk.not_opened", words.Name(path)))
	}
}

// keepManifest writes the manifest that was told from names beside the evidence, from where it can be put into the
// folder and changed. A folder that has its own needs none.
func keepManifest(folder, out string, m *acceptance.Manifest) error {
	name := filepath.Join(out, acceptance.ManifestName)
	if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("remove the old manifest: %w", err)
	}
	if _, err := os.Stat(filepath.Join(folder, acceptance.ManifestName)); err == nil || m == nil {
		return nil
	}
	return acceptance.WriteManifest(out, m)
}
