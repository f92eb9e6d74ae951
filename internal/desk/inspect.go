package desk

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/words"
	"proofhouse/internal/client"
)

// inspectCall is what the flags of inspect say.
type inspectCall struct {
	call
	asJSON, watch, open bool
}

// Inspect is the command `worker inspect`. exe is this program's path, token what the
// environment holds, args what follows the command's name.
func Inspect(ctx context.Context, s Streams, exe, token string, args []string) int {
	var c inspectCall
	l := s.Said(args)
	c.lang, c.only.l, c.remote.token = l, l, token
	f := c.flags("inspect", "desk.usage_inspect", s)
	f.BoolVar(&c.asJSON, "json", false, l.Say("desk.flag_json"))
	f.Var(&c.only, "only", l.Say("desk.flag_only"))
	f.BoolVar(&c.watch, "watch", false, l.Say("desk.flag_watch"))
	f.BoolVar(&c.open, "open", false, l.Say("desk.flag_open"))
	f.BoolVar(&c.keepBake, "keep-bake", false, l.Say("desk.flag_keep_bake"))
	folder, code, done := parse(s, l, f, args)
	if done {
		return code
	}
	if code, ok := c.prepare(s, f); !ok {
		return code
	}
	if code, ok := c.findSpec(ctx, s, f, folder); !ok {
		return code
	}
	if code, ok := c.load(s, f); !ok {
		return code
	}
	found, err := acceptance.FindDeliveries(folder)
	single := len(found) == 1 && filepath.Clean(found[0]) == filepath.Clean(folder)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return wrongCall(s, l, f, "desk.no_folder", words.Name(folder))
	case err != nil:
		return wrongly(s, l, f, err.Error())
	case c.watch && (!single || c.asJSON):
		return wrongCall(s, l, f, "desk.watch_one")
	case c.watch:
		return c.watchFolder(ctx, s, exe, folder)
	case single:
		return c.one(ctx, s, exe, folder)
	}
	return c.batch(ctx, s, exe, folder, found)
}

// findSpec makes sure that there is a spec to judge by: the one that the call names, or the one that the service has in force.
func (c *inspectCall) findSpec(ctx context.Context, s Streams, f *flag.FlagSet, folder string) (code int, ok bool) {
	l := c.lang
	switch {
	case c.specPath == "" && c.remote.server == "":
		return wrongCall(s, l, f, "desk.say_spec"), false
	case c.specPath != "" && c.remote.server != "":
		return wrongCall(s, l, f, "desk.spec_or_server"), false
	case c.specPath != "":
		return 0, true
	}
	service, fault := c.remote.service(l)
	if fault != "" {
		return wrongly(s, l, f, fault), false
	}
	err := c.remote.ask(ctx, service)
	if err == nil {
		var of *client.WorkItem
		if of, err = client.FindProp(c.remote.work, c.remote.order, c.remote.codeOf(folder)); err == nil {
			c.specPath, err = fetchSpec(ctx, s, service, of.PropId)
		}
	}
	if err != nil {
		return unsent(ctx, s, l, err), false
	}
	fmt.Fprintln(s.Err, l.Say("desk.judged_by", words.Name(filepath.Base(c.specPath))))
	return 0, true
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
		return failed(ctx, s, c.lang, err)
	}
	page, err := saveReport(c.lang, got.evidence, c.resolved, out, filepath.Base(beside(folder, "")), got.outcome.Questions)
	if err != nil {
		return failed(ctx, s, c.lang, err)
	}
	if c.asJSON {
		if _, err := s.Out.Write(append(got.raw, '\n')); err != nil {
			return failed(ctx, s, c.lang, err)
		}
		return exitOf(got.evidence.Verdict)
	}
	if err := acceptance.WriteTable(s.Out, c.lang, acceptance.In(c.lang, got.evidence)); err != nil {
		return failed(ctx, s, c.lang, err)
	}
	tellQuestions(s.Out, c.lang, got.outcome.Questions)
	if _, err := os.Stat(filepath.Join(folder, acceptance.ManifestName)); c.milestone == "" && err != nil {
		fmt.Fprintln(s.Out, c.lang.Say("desk.as_last", words.Name(milestoneWords)))
	}
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
