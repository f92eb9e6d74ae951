package desk

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// manifestName is the list of a delivery's files, which names them by their paths.
const manifestName = "delivery.yaml"

// change is one name and what it becomes. In is the file that it stands in; "" for the name of a file.
type change struct{ kind, in, old, now string }

// renaming is what a folder's names become.
type renaming struct {
	folder  string
	files   map[string]string // by old path, with slashes
	order   []string          // old paths, sorted
	changes []change
	refused []string
	c       *converter
}

// Rename is the command `worker rename`: names of files and within glTF, by a table between a vendor's and a studio's. The
// folder itself is never written to.
func Rename(s Streams, args []string) int {
	l := s.Said(args)
	f := flag.NewFlagSet("rename", flag.ContinueOnError)
	specPath := f.String("spec", "", l.Say("desk.flag_spec"))
	table := f.String("names", "", l.Say("desk.flag_names"))
	back := f.Bool("back", false, l.Say("desk.flag_back"))
	dry := f.Bool("dry-run", false, l.Say("desk.flag_dry_run"))
	out := f.String("out", "", l.Say("desk.flag_rename_out"))
	language := f.String("language", "", l.Say("desk.flag_language"))
	f.Usage = func() {
		fmt.Fprintln(s.Out, l.Say("desk.usage_rename", words.Name(nameTableHead), words.Name("file,{prop}_LOD{lod}.glb,{prop}_lod{lod}.glb"), words.Name("node,{part}_geo,{prop}_{part}"), words.Name("{prop}")))
		f.PrintDefaults()
	}
	folder, code, done := parse(s, l, f, args)
	if done {
		return code
	}
	if _, ok := words.In(*language); *language != "" && !ok {
		return wrongCall(s, l, f, "desk.speaks_not", words.Name(*language))
	}
	if *specPath == "" || *table == "" {
		return wrongCall(s, l, f, "desk.rename_takes")
	}
	_, resolved, err := readSpec(l, *specPath, "")
	if err != nil {
		return wrongly(s, l, f, err.Error())
	}
	text, err := os.Open(*table)
	if err != nil {
		return wrongly(s, l, f, err.Error())
	}
	defer text.Close()
	names, err := readNames(text, resolved.Tokens(), *back)
	if err != nil {
		return wrongly(s, l, f, err.Error())
	}
	to := *out
	if to == "" {
		to = beside(folder, "-renamed")
	}
	r := &renaming{folder: folder, files: map[string]string{}, c: names}
	if err := r.plan(); err != nil {
		fmt.Fprintf(s.Err, "worker rename: %v\n", err)
		return ExitNotEvaluated
	}
	r.collide(l)
	if !*back {
		r.mustFit(l, resolved)
	}
	return r.finish(s, l, to, *dry)
}

// finish says what becomes what, and does it.
func (r *renaming) finish(s Streams, l *words.Language, to string, dry bool) int {
	for _, c := range r.changes {
		if c.in == "" {
			fmt.Fprintf(s.Out, "%-8s  %s -> %s\n", c.kind, c.old, c.now)
		} else {
			fmt.Fprintf(s.Out, "%-8s  %s -> %s  (%s)\n", c.kind, c.old, c.now, c.in)
		}
	}
	for _, why := range r.refused {
		fmt.Fprintln(s.Out, why)
	}
	switch {
	case len(r.refused) > 0:
		fmt.Fprintln(s.Out, l.Say("desk.rename_refused", words.Count(len(r.refused))))
		return ExitFail
	case len(r.changes) == 0:
		fmt.Fprintln(s.Out, l.Say("desk.rename_nothing"))
		return ExitPass
	case dry:
		fmt.Fprintln(s.Out, l.Say("desk.rename_dry", words.Count(len(r.changes))))
		return ExitPass
	}
	if err := r.write(to); errors.Is(err, fs.ErrExist) {
		fmt.Fprintln(s.Err, l.Say("desk.rename_exists", words.Name(to)))
		return ExitWrongCall
	} else if err != nil {
		fmt.Fprintf(s.Err, "worker rename: %v\n", err)
		return ExitNotEvaluated
	}
	fmt.Fprintln(s.Out, l.Say("desk.rename_done", words.Count(len(r.changes)), words.Name(to)))
	return ExitPass
}

// plan finds every name in the folder and what it becomes.
func (r *renaming) plan() error {
	err := filepath.WalkDir(r.folder, func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		if !e.Type().IsRegular() {
			return fmt.Errorf("%s is no plain file", p)
		}
		rel, err := filepath.Rel(r.folder, p)
		if err != nil {
			return err
		}
		r.order = append(r.order, filepath.ToSlash(rel))
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the folder: %w", err)
	}
	slices.Sort(r.order)
	for _, old := range r.order {
		now := old
		if ext := strings.ToLower(filepath.Ext(old)); old != manifestName && ext != ".mtl" { // an .obj names its .mtl, and is not rewritten
			now = r.becomes("file", "", old)
		}
		r.files[old] = now
	}
	for _, old := range r.order {
		if !isGLTF(old) {
			continue
		}
		if _, _, err := r.within(old, true); err != nil {
			return err
		}
	}
	return nil
}

// becomes converts a name and notes what it did.
func (r *renaming) becomes(kind, in, old string) string {
	now, err := r.c.convert(kind, old)
	if err != nil {
		r.refused = append(r.refused, strings.TrimSpace(kind+" "+in)+": "+err.Error())
		return old
	}
	if c := (change{kind, in, old, now}); now != old && !slices.Contains(r.changes, c) {
		r.changes = append(r.changes, c)
	}
	return now
}

func isGLTF(name string) bool {
	ext := strings.ToLower(filepath.Ext(name))
	return ext == ".glb" || ext == ".gltf"
}

// within converts the JSON of one glTF; note says whether its changes are to be listed.
func (r *renaming) within(old string, note bool) (text []byte, before int, err error) {
	in, err := os.Open(filepath.Join(r.folder, filepath.FromSlash(old)))
	if err != nil {
		return nil, 0, err
	}
	defer in.Close()
	was, _, err := gltfText(in, strings.EqualFold(filepath.Ext(old), ".glb"))
	if err != nil {
		return nil, 0, fmt.Errorf("%s: %w", old, err)
	}
	text, err = renamedText(was, func(kind, name string) string {
		if note {
			return r.becomes(kind, old, name)
		}
		now, _ := r.c.convert(kind, name) // it could be converted when the change was planned
		return now
	}, func(uri string) string { return movedURI(uri, old, r.files[old], r.files) })
	if err != nil {
		return nil, 0, fmt.Errorf("%s: %w", old, err)
	}
	return text, len(was), nil
}

// collide refuses what would give two different names of one kind one form, letter case aside: files in the folder, the others
// within their file.
func (r *renaming) collide(l *words.Language) {
	type place struct{ kind, in, now string }
	first := map[place]string{}
	see := func(kind, in, old, now string) {
		k := place{kind, in, strings.ToLower(now)}
		before, taken := first[k]
		if taken && before != old {
			r.refused = append(r.refused, l.Say("desk.rename_collides", words.Name(before), words.Name(old), words.Name(now)))
			return
		}
		first[k] = old
	}
	for _, old := range r.order {
		see("file", "", old, r.files[old])
		if !isGLTF(old) {
			continue
		}
		in, err := os.Open(filepath.Join(r.folder, filepath.FromSlash(old)))
		if err != nil {
			continue // it was read a moment ago; writing will say so
		}
		if text, _, err := gltfText(in, strings.EqualFold(filepath.Ext(old), ".glb")); err == nil {
			_, _ = renamedText(text, func(kind, name string) string {
				if now, err := r.c.convert(kind, name); err == nil && name != "" {
					see(kind, old, name, now)
				}
				return name
			}, func(uri string) string { return uri })
		}
		in.Close()
	}
}

// mustFit refuses new names that the spec's own patterns would not take.
func (r *renaming) mustFit(l *words.Language, resolved *spec.Spec) {
	rule := resolved.Rule("names.pattern", nil, nil)
	for _, c := range r.changes {
		list := rule.Lists[nameKindsOf[c.kind]]
		patterns, err := spec.CompilePatterns(list, resolved.Tokens())
		name := c.now
		if c.kind == "file" {
			name = filepath.Base(name)
		}
		if err == nil && len(patterns) > 0 && !patterns.Fits(name) {
			r.refused = append(r.refused, l.Say("desk.rename_misfit", words.Name(c.now), words.Names(list...)))
		}
	}
}

// write makes the renamed folder beside its place and puts it there once it is whole: whoever stops it finds nothing half.
func (r *renaming) write(to string) error {
	if _, err := os.Lstat(to); err == nil {
		return fmt.Errorf("%s: %w", to, fs.ErrExist)
	}
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return err
	}
	fresh, err := os.MkdirTemp(filepath.Dir(to), ".renaming-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(fresh)
	for _, old := range r.order {
		at := filepath.Join(fresh, filepath.FromSlash(r.files[old]))
		if err := os.MkdirAll(filepath.Dir(at), 0o755); err != nil {
			return err
		}
		if err := r.copy(old, at); err != nil {
			return fmt.Errorf("%s: %w", old, err)
		}
	}
	if err := os.Chmod(fresh, 0o755); err != nil {
		return err
	}
	return os.Rename(fresh, to)
}

// copy writes one file under its new name, with new names in it.
func (r *renaming) copy(old, at string) error {
	in, err := os.Open(filepath.Join(r.folder, filepath.FromSlash(old)))
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(at, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	switch {
	case isGLTF(old):
		err = r.copyGLTF(old, in, out)
	case old == manifestName:
		err = r.copyManifest(in, out)
	default:
		_, err = io.Copy(out, in)
	}
	return errors.Join(err, out.Close())
}

func (r *renaming) copyGLTF(old string, in *os.File, out io.Writer) error {
	info, err := in.Stat()
	if err != nil {
		return err
	}
	text, was, err := r.within(old, false)
	if err != nil {
		return err
	}
	glb := strings.EqualFold(filepath.Ext(old), ".glb")
	_, rest, err := gltfText(in, glb)
	if err != nil {
		return err
	}
	return writeGLTF(out, text, rest, info.Size()-20-int64(was), glb)
}

// copyManifest writes the list of files with their new paths.
func (r *renaming) copyManifest(in io.Reader, out io.Writer) error {
	var doc yaml.Node
	if err := yaml.NewDecoder(in).Decode(&doc); err != nil {
		return err
	}
	var walk func(n *yaml.Node)
	walk = func(n *yaml.Node) {
		for i, inner := range n.Content {
			if n.Kind == yaml.MappingNode && i%2 == 1 && n.Content[i-1].Value == "path" {
				if now, known := r.files[inner.Value]; known {
					inner.Value = now
				}
			}
			walk(inner)
		}
	}
	walk(&doc)
	b, err := yaml.Marshal(&doc)
	if err != nil {
		return err
	}
	_, err = out.Write(b)
	return err
}
