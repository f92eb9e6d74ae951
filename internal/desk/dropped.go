package desk

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// Dropped is what happens when the program is given one folder and no command, as when a folder is dropped on it: the
// folder is inspected on this machine by the spec that lies in it or beside it, and the report is shown. args are all words
// of the call, the folder among them; the others are flags of inspect.
func Dropped(ctx context.Context, s Streams, exe, folder string, args []string) int {
	l := s.Said(args)
	if named(args, "spec", "server") {
		return Inspect(ctx, s, exe, "", append([]string{"--open"}, args...))
	}
	specPath, fault := specFor(l, folder)
	if fault != "" {
		fmt.Fprintln(s.Err, fault)
		waitForEnter(s, l)
		return ExitWrongCall
	}
	fmt.Fprintln(s.Out, l.Say("desk.judged_by", words.Name(specPath)))
	code := Inspect(ctx, s, exe, "", append([]string{"--spec", specPath, "--open"}, args...))
	if code == ExitWrongCall {
		waitForEnter(s, l)
	}
	return code
}

// named tells whether words of a call give one of these flags.
func named(args []string, flags ...string) bool {
	return slices.ContainsFunc(args, func(a string) bool {
		name, _, _ := strings.Cut(strings.TrimLeft(a, "-"), "=")
		return strings.HasPrefix(a, "-") && slices.Contains(flags, name)
	})
}

// specFor finds the spec of a folder: in it, else beside it. Of several it takes the one whose prop delivery.yaml names, or
// whose prop begins the folder's name or a file's; fault says why none could be taken.
func specFor(l *words.Language, folder string) (path, fault string) {
	abs, err := filepath.Abs(folder)
	if err != nil {
		return "", err.Error()
	}
	for _, dir := range []string{abs, filepath.Dir(abs)} {
		found := specsIn(dir)
		if len(found) > 1 {
			found = fitting(found, abs)
		}
		switch {
		case len(found) == 1:
			return found[0].path, ""
		case len(found) > 1:
			var names []string
			for _, f := range found {
				names = append(names, filepath.Base(f.path))
			}
			return "", l.Say("desk.several_specs", words.Names(names...), words.Name(dir))
		}
	}
	return "", l.Say("desk.no_spec", words.Name(folder))
}

type foundSpec struct{ path, prop string }

// specsIn are the files of a folder that are specs of a prop.
func specsIn(dir string) []foundSpec {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	var out []foundSpec
	for _, e := range entries {
		ext := strings.ToLower(filepath.Ext(e.Name()))
		if !e.Type().IsRegular() || e.Name() == acceptance.ManifestName || ext != ".yaml" && ext != ".yml" && ext != ".json" {
			continue
		}
		path := filepath.Join(dir, e.Name())
		data, err := os.ReadFile(path)
		if err != nil || len(data) > 1<<20 {
			continue
		}
		doc, err := spec.Parse(e.Name(), data, acceptance.Catalogue())
		if err != nil {
			continue
		}
		if resolved, err := spec.Resolve(doc, acceptance.Catalogue(), "", spec.Siblings(dir)); err == nil && resolved.Prop != "" {
			out = append(out, foundSpec{path, resolved.Prop})
		}
	}
	return out
}

// fitting are the specs of the prop that the folder's manifest names, or, without one, of which the folder's or a file's name begins
// with the prop's code; all of them where none does.
func fitting(found []foundSpec, folder string) []foundSpec {
	names := []string{strings.ToLower(filepath.Base(folder))}
	if data, err := os.ReadFile(filepath.Join(folder, acceptance.ManifestName)); err == nil {
		if m, err := spec.ParseManifest(acceptance.ManifestName, data); err == nil {
			names = []string{strings.ToLower(m.Prop)}
		}
	} else if entries, err := os.ReadDir(folder); err == nil {
		for _, e := range entries {
			names = append(names, strings.ToLower(e.Name()))
		}
	}
	var out []foundSpec
	for _, f := range found {
		prop := strings.ToLower(f.prop)
		if slices.ContainsFunc(names, func(n string) bool { return strings.HasPrefix(n, prop) }) {
			out = append(out, f)
		}
	}
	if out == nil {
		return found
	}
	return out
}

// waitForEnter keeps a window open that would close before its text is read.
func waitForEnter(s Streams, l *words.Language) {
	if s.In == nil {
		return
	}
	fmt.Fprint(s.Err, l.Say("desk.press_enter"))
	_, _ = bufio.NewReader(s.In).ReadString('\n')
}
