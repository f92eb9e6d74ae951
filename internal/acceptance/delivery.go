package acceptance

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// maxFiles is how many files a delivery may have. Free choice, far above a prop with its maps and sources.
const maxFiles = 10_000

// ErrDelivery marks an error that lies in how the delivery or the call was put together (an unreadable delivery.yaml,
// a folder that is none), not in our own machinery.
var ErrDelivery = errors.New("the delivery cannot be read")

// FindDeliveries returns the folders of a batch in order: the subfolders that hold files of a delivery, or, where
// folder itself is one delivery, folder alone. A folder is a delivery where it holds a delivery.yaml or a geometry file.
func FindDeliveries(folder string) ([]string, error) {
	own, err := holdsDelivery(folder)
	if err != nil {
		return nil, err
	}
	if own {
		return []string{folder}, nil
	}
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrDelivery, err)
	}
	var found []string
	for _, e := range entries {
		if !e.IsDir() || hiddenName(e.Name()) {
			continue
		}
		sub := filepath.Join(folder, e.Name())
		ok, err := holdsDelivery(sub)
		if err != nil {
			return nil, err
		}
		if ok {
			found = append(found, sub)
		}
	}
	if len(found) == 0 {
		return nil, fmt.Errorf("%w: neither %s nor a folder in it holds a %s or a geometry file (.glb, .gltf, .obj, .ply)",
			ErrDelivery, folder, ManifestName)
	}
	return found, nil
}

func holdsDelivery(folder string) (bool, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return false, fmt.Errorf("%w: %w", ErrDelivery, err)
	}
	holds := false
	for _, e := range entries {
		if e.Name() == "evidence.json" { // what an earlier inspection left here, pictures and models too
			return false, nil
		}
		holds = holds || e.Type().IsRegular() && (e.Name() == ManifestName || isGeometry(e.Name()))
	}
	return holds, nil
}

// hiddenName says whether a file or folder is a system's own and no part of a delivery.
func hiddenName(name string) bool {
	return strings.HasPrefix(name, ".") || strings.EqualFold(name, "Thumbs.db") || strings.EqualFold(name, "desktop.ini") ||
		name == "__MACOSX"
}

// Infer tells the manifest of a folder from the spec's name patterns, as InferNames does.
func Infer(sp *spec.Spec, folder string) (*Manifest, []Question, error) {
	paths, links, err := listFiles(folder)
	if err != nil {
		return nil, nil, err
	}
	m, questions, err := InferNames(sp, paths)
	if err != nil {
		return nil, nil, err
	}
	return m, append(links, questions...), nil
}

// InferNames tells a manifest from the files' names alone. Files whose role no pattern tells get "other" and a question; so
// does all but one of several files that claim a role which only one can have.
func InferNames(sp *spec.Spec, paths []string) (*Manifest, []Question, error) {
	table, err := newRoleTable(sp)
	if err != nil {
		return nil, nil, err
	}
	var questions []Question
	m := &Manifest{Prop: sp.Prop, Milestone: sp.Milestone, Revision: 1}
	taken := map[string]int{}
	for _, p := range paths {
		r := table.file(p)
		role := r.Role
		if role == "" {
			role = "other"
			if q := whichRole(table, sp, p); q != nil {
				questions = append(questions, *q)
			}
		} else if name, _, isMap := mapRole(role); isMap && r.Set != "" {
			role = "map." + name + "@" + r.Set
		}
		if i, twice := taken[role]; twice && onlyOne(role) && !(geometryRole(role) && r.Part != "") {
			keep, drop := i, len(m.Files)
			if better(p, m.Files[i].Path) {
				keep, drop = drop, keep
				taken[role] = len(m.Files)
			}
			m.Files = append(m.Files, ManifestFile{Path: p, Role: role})
			m.Files[drop].Role = "other"
			q := question(m.Files[drop].Path, "question.both", words.Name(m.Files[keep].Path), words.Name(m.Files[drop].Path), words.Name(role))
			q.Candidates = []string{"other", role}
			questions = append(questions, q)
			continue
		}
		taken[role] = len(m.Files)
		m.Files = append(m.Files, ManifestFile{Path: p, Role: role})
	}
	return m, questions, nil
}

// onlyOne says whether just one file can have a role.
func onlyOne(role string) bool {
	_, isLOD := lodOf(role)
	return isLOD || role == "cage" || role == "bake_pose" || strings.HasPrefix(role, "map.")
}

// better prefers the format that holds more, then the name that sorts first.
func better(a, b string) bool {
	rank := func(p string) int {
		ext := strings.ToLower(path.Ext(p))
		return slices.Index(append(slices.Clone(geometryExts), imageExts...), ext)
	}
	if rank(a) != rank(b) {
		return rank(a) < rank(b)
	}
	return a < b
}

// whichRole asks about a file that looks as if it had a role. Buffers, notes and the like are "other" without a word.
func whichRole(t *roleTable, sp *spec.Spec, p string) *Question {
	var q Question
	switch {
	case isGeometry(p):
		q = question(p, "question.geometry")
		q.Candidates = []string{"game", "game.lod1", "sculpt", "cage", "collision", "bake_pose", "other"}
	case isImage(p):
		q = question(p, "question.image")
		for _, name := range append(slices.Clone(spec.MapNames), sp.Tokens().Maps...) {
			if c := "map." + name; !slices.Contains(q.Candidates, c) {
				q.Candidates = append(q.Candidates, c)
			}
		}
		q.Candidates = append(q.Candidates, "reference", "other")
	default:
		return nil
	}
	return &q
}

// listFiles lists a folder's files in order, as paths with forward slashes. Links and devices are not followed.
func listFiles(folder string) (paths []string, questions []Question, err error) {
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, nil, fmt.Errorf("%w: %w", ErrDelivery, err)
	}
	defer root.Close()
	err = fs.WalkDir(root.FS(), ".", func(p string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case p == ".":
			return nil
		case hiddenName(d.Name()):
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		case d.IsDir():
			if _, err := fs.Stat(root.FS(), path.Join(p, "evidence.json")); err == nil {
				return fs.SkipDir // what an earlier inspection left here
			}
			return nil
		case p == ManifestName:
			return nil
		case !d.Type().IsRegular():
			questions = append(questions, question(p, "question.link"))
			return nil
		}
		if len(paths) >= maxFiles {
			return fmt.Errorf("more than %d files", maxFiles)
		}
		paths = append(paths, p)
		return nil
	})
	if err != nil {
		return nil, nil, fmt.Errorf("%w: %w", ErrDelivery, err)
	}
	slices.Sort(paths)
	return paths, questions, nil
}

// readManifest returns the delivery's own manifest, or nil where it has none.
func readManifest(folder string) (*Manifest, error) {
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrDelivery, err)
	}
	defer root.Close()
	info, err := root.Lstat(ManifestName)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err == nil && (!info.Mode().IsRegular() || info.Size() > 4<<20) {
		err = errors.New("it is no plain file of at most 4 MiB")
	}
	var data []byte
	if err == nil {
		data, err = root.ReadFile(ManifestName)
	}
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrDelivery, ManifestName, err)
	}
	m, err := spec.ParseManifest(ManifestName, data)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrDelivery, err)
	}
	return m, nil
}

// WriteManifest puts a manifest into a delivery's folder. An existing one is not touched: that is an error.
func WriteManifest(folder string, m *Manifest) error {
	data, err := m.YAML()
	if err != nil {
		return err
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return fmt.Errorf("write %s: %w", ManifestName, err)
	}
	defer root.Close()
	f, err := root.OpenFile(ManifestName, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("write %s: %w", ManifestName, err)
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Close())
}

// hashFiles fills in size and SHA-256 of every file. A file that cannot be read gets an issue and no digest.
func hashFiles(ctx context.Context, folder string, files []*File, known map[string]string, progress func(float64)) error {
	root, err := os.OpenRoot(folder)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrDelivery, err)
	}
	defer root.Close()
	for i, f := range files {
		if err := ctx.Err(); err != nil {
			return err
		}
		progress(float64(i) / float64(len(files)))
		if err := hashFile(ctx, root, f, known[f.Path]); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			f.Issues = append(f.Issues, mesh.Issue{Code: "container.unreadable", Path: f.Path, Offset: -1,
				Message: "The file is listed in the delivery but cannot be read; send it."})
		}
	}
	return nil
}

func hashFile(ctx context.Context, root *os.Root, f *File, known string) error {
	// Looked at before it is opened: opening a pipe would wait for ever.
	if info, err := root.Lstat(filepath.FromSlash(f.Path)); err != nil || !info.Mode().IsRegular() {
		return errors.Join(err, errors.New("not a plain file"))
	}
	file, err := root.Open(filepath.FromSlash(f.Path))
	if err != nil {
		return err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return err
	}
	f.Bytes = info.Size()
	if known != "" {
		f.SHA256 = known
		return nil
	}
	h := sha256.New()
	n, err := io.Copy(h, &ctxReader{ctx, file})
	if err != nil {
		return err
	}
	f.Bytes, f.SHA256 = n, hex.EncodeToString(h.Sum(nil))
	return nil
}

// ctxReader stops a long copy when its context ends.
type ctxReader struct {
	ctx context.Context
	r   io.Reader
}

func (c *ctxReader) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.r.Read(p)
}
