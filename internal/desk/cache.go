package desk

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/inspection"
)

// cache keeps findings by what they follow from (acceptance.FamilyKeys), so that what has not changed is not measured
// again, and remembers which inspection lies in which folder. It holds nothing that a new inspection would not find, and
// may be deleted at any time. A cache that cannot be read or written is no fault: everything is measured.
type cache struct {
	dir string

	mu   sync.Mutex
	seen map[string]fileSeen // digests by path, in this process
}

// fileSeen is a file's digest, good as long as size and time stay.
type fileSeen struct {
	size   int64
	at     time.Time
	digest string
}

// cacheKept is how long findings are kept that nobody asked for.
const cacheKept = 60 * 24 * time.Hour

func openCache(dir string) *cache {
	if dir == "" {
		return nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	for _, e := range entries {
		if info, err := e.Info(); err == nil && time.Since(info.ModTime()) > cacheKept {
			_ = os.Remove(filepath.Join(dir, e.Name()))
		}
	}
	return &cache{dir: dir, seen: map[string]fileSeen{}}
}

// lookup is what the cache knows of one job.
type lookup struct {
	c        *cache
	job      inspection.Job
	manifest *acceptance.Manifest
	keys     map[string]string
	digests  map[string]string
	known    map[string][]acceptance.Finding
	stats    map[string]fileSeen
}

// remembered is an inspection that lies in a folder.
type remembered struct {
	Keys     map[string]string   `json:"keys"`
	Only     []string            `json:"only,omitempty"`
	Pictures bool                `json:"pictures"`
	Previous string              `json:"previous,omitempty"` // digest of the evidence that it was compared with
	Outcome  *inspection.Outcome `json:"outcome"`
}

// look reads the files' digests and finds what is known of them. Whatever goes wrong here is told by the inspection.
func (c *cache) look(ctx context.Context, sp *spec.Spec, job inspection.Job, progress func(string, float64)) *lookup {
	l := &lookup{c: c, job: job}
	if c == nil {
		return l
	}
	m, at, err := acceptance.ManifestOf(acceptance.Job{Spec: sp, Folder: job.Folder, Milestone: job.Milestone})
	if err != nil {
		return l
	}
	digests, stats := map[string]string{}, map[string]fileSeen{}
	for i, f := range m.Files {
		if ctx.Err() != nil {
			return l
		}
		if progress != nil {
			progress("hashing", 0.05*float64(i)/float64(len(m.Files)))
		}
		if !filepath.IsLocal(filepath.FromSlash(f.Path)) {
			return l
		}
		seen, err := c.digest(job.Folder, filepath.FromSlash(f.Path))
		if err != nil {
			return l
		}
		digests[f.Path], stats[f.Path] = seen.digest, seen
	}
	keys, err := acceptance.FamilyKeys(at, m, digests)
	if err != nil {
		return l
	}
	l.manifest, l.keys, l.digests, l.stats = m, keys, digests, stats
	l.known = map[string][]acceptance.Finding{}
	for family, key := range keys {
		var findings []acceptance.Finding
		if c.read(key, &findings) {
			l.known[family] = findings
		}
	}
	return l
}

// digest hashes a file, or takes what was hashed before where size and time are the same.
func (c *cache) digest(folder, name string) (fileSeen, error) {
	root, err := os.OpenRoot(folder) // a link out of the folder is not followed
	if err != nil {
		return fileSeen{}, err
	}
	defer root.Close()
	f, err := root.Open(name)
	if err != nil {
		return fileSeen{}, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return fileSeen{}, err
	}
	key := filepath.Join(folder, name)
	c.mu.Lock()
	seen, ok := c.seen[key]
	c.mu.Unlock()
	if ok && seen.size == info.Size() && seen.at.Equal(info.ModTime()) {
		return seen, nil
	}
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return fileSeen{}, err
	}
	seen = fileSeen{info.Size(), info.ModTime(), hex.EncodeToString(h.Sum(nil))}
	c.mu.Lock()
	c.seen[key] = seen
	c.mu.Unlock()
	return seen, nil
}

// whole is the outcome of an inspection that lies in the job's folder already, of the same files, or nil.
func (l *lookup) whole() *inspection.Outcome {
	var r remembered
	if l.keys == nil || !l.c.read(l.place(), &r) || r.Outcome == nil || r.Pictures != l.job.Pictures || r.Previous != l.previous() ||
		!same(r.Keys, l.keys) || len(r.Only) != len(l.job.Only) {
		return nil
	}
	for i := range r.Only {
		if r.Only[i] != l.job.Only[i] {
			return nil
		}
	}
	if hashOf(filepath.Join(l.job.Out, evidenceName)) != r.Outcome.EvidenceSHA256 {
		return nil
	}
	for _, p := range r.Outcome.Pictures {
		if hashOf(filepath.Join(l.job.Out, filepath.Base(p.Name))) != p.SHA256 {
			return nil
		}
	}
	return r.Outcome
}

func (l *lookup) previous() string {
	if l.job.Previous == nil {
		return ""
	}
	return digestOf(l.job.Previous)
}

// place names the job's folder for evidence.
func (l *lookup) place() string { return digestOf([]byte("evidence in " + l.job.Out)) }

// keep keeps what the inspection found.
func (l *lookup) keep(o *inspection.Outcome) {
	if l.keys == nil || o.Refused+o.Unreadable != "" {
		return
	}
	e, _, err := inspection.ReadEvidence(l.job.Out)
	if err != nil {
		return
	}
	for family, findings := range acceptance.Reusable(e) {
		if _, had := l.known[family]; !had {
			l.c.write(l.keys[family], findings)
		}
	}
	l.c.write(l.place(), remembered{l.keys, l.job.Only, l.job.Pictures, l.previous(), o})
}

// changedSince says whether a file was written after it was hashed.
func (l *lookup) changedSince() bool {
	for name, seen := range l.stats {
		info, err := os.Stat(filepath.Join(l.job.Folder, filepath.FromSlash(name)))
		if err != nil || info.Size() != seen.size || !info.ModTime().Equal(seen.at) {
			return true
		}
	}
	return false
}

func (c *cache) read(key string, into any) bool {
	data, err := os.ReadFile(filepath.Join(c.dir, key+".json"))
	return err == nil && json.Unmarshal(data, into) == nil
}

// write puts a file in place whole: another inspection may read it at the same time.
func (c *cache) write(key string, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		return
	}
	f, err := os.CreateTemp(c.dir, "new-*")
	if err != nil {
		return
	}
	_, err = f.Write(data)
	if closed := f.Close(); err == nil && closed == nil {
		err = os.Rename(f.Name(), filepath.Join(c.dir, key+".json"))
	}
	if err != nil {
		_ = os.Remove(f.Name())
	}
}

func hashOf(path string) string {
	data, err := os.ReadFile(path)
	if err != nil {
		return ""
	}
	return digestOf(data)
}

func same(a, b map[string]string) bool {
	if len(a) != len(b) {
		return false
	}
	for k, v := range a {
		if b[k] != v {
			return false
		}
	}
	return true
}

// digestOf is the SHA-256 of bytes in hex.
func digestOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
