package pgserver

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"syscall"
)

// account is who the server runs as; nil means as the caller.
type account struct {
	name     string
	uid, gid uint32
}

// accountFor picks the account: nil unless the caller is root, whom PostgreSQL refuses.
func accountFor(name string) (*account, error) {
	if os.Geteuid() != 0 {
		return nil, nil
	}
	names := []string{name}
	if name == "" {
		names = []string{"postgres", "nobody"}
	}
	for _, n := range names {
		u, err := user.Lookup(n)
		if err != nil {
			continue
		}
		uid, errU := strconv.ParseUint(u.Uid, 10, 32)
		gid, errG := strconv.ParseUint(u.Gid, 10, 32)
		if errU != nil || errG != nil || uid == 0 {
			continue
		}
		return &account{name: n, uid: uint32(uid), gid: uint32(gid)}, nil
	}
	return nil, fmt.Errorf("embedded PostgreSQL: it must not run as root and there is no account %s: add one (useradd --system postgres) or run as an ordinary user", strings.Join(names, " or "))
}

func (a *account) sysProcAttr() *syscall.SysProcAttr {
	attr := &syscall.SysProcAttr{}
	if a != nil {
		attr.Credential = &syscall.Credential{Uid: a.uid, Gid: a.gid}
	}
	return attr
}

func (a *account) own(path string) error {
	if a == nil {
		return nil
	}
	if err := os.Chown(path, int(a.uid), int(a.gid)); err != nil {
		return explainFile("hand "+path+" to "+a.name, err)
	}
	return nil
}

// prepareFolder makes the folder and its run/, and checks that the account can walk to it before anything is made
// inside: a folder below a home with mode 0700 cannot be reached by another account.
func prepareFolder(folder string, a *account) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return explainFile("make "+folder, err)
	}
	if a != nil {
		for dir := filepath.Dir(folder); ; dir = filepath.Dir(dir) {
			if !a.mayEnter(dir) {
				return fmt.Errorf("embedded PostgreSQL: it runs as %s, who cannot reach %s because %s is closed to others: choose a data folder elsewhere, for example %s", a.name, folder, dir, DefaultFolder)
			}
			if dir == filepath.Dir(dir) {
				break
			}
		}
	}
	run := filepath.Join(folder, "run")
	if err := os.MkdirAll(run, 0o755); err != nil {
		return explainFile("make "+run, err)
	}
	for _, dir := range []string{folder, run} {
		if err := a.own(dir); err != nil {
			return err
		}
	}
	return nil
}

// mayEnter looks at the search bit that applies to the account (path_resolution(7)); access control lists are not
// looked at, so a folder opened by one alone is refused.
func (a *account) mayEnter(dir string) bool {
	info, err := os.Stat(dir)
	if err != nil {
		return false
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return true
	}
	mode := info.Mode().Perm()
	switch {
	case st.Uid == a.uid:
		return mode&0o100 != 0
	case st.Gid == a.gid:
		return mode&0o010 != 0
	default:
		return mode&0o001 != 0
	}
}

// findBinaries returns the folder of initdb and postgres: of the version that made the cluster where there is one,
// else the newest.
func findBinaries(data string) (string, error) {
	want := ""
	if b, err := os.ReadFile(filepath.Join(data, "PG_VERSION")); err == nil {
		want = strings.TrimSpace(string(b))
	}
	newest, have := "", []string{}
	for _, dir := range binaryFolders() {
		major := majorVersion(dir)
		if major == "" {
			continue
		}
		if want == major {
			return dir, nil
		}
		if newest == "" {
			newest = dir
		}
		have = append(have, major)
	}
	switch {
	case newest == "":
		return "", errors.New("embedded PostgreSQL: no server binaries (initdb, postgres) found in PATH, by pg_config or in /usr/lib/postgresql: install them, on Debian or Ubuntu with: apt-get install postgresql")
	case want != "":
		return "", fmt.Errorf("embedded PostgreSQL: the cluster in %s was made by version %s, but only version %s is installed: install postgresql-%s, or move the folder away for a new cluster", data, want, strings.Join(have, ", "), want)
	}
	return newest, nil
}

// binaryFolders lists candidate folders, newest packaged version first, then pg_config's and PATH's.
func binaryFolders() []string {
	var dirs []string
	for _, pattern := range []string{"/usr/lib/postgresql/*/bin", "/usr/pgsql-*/bin", "/opt/homebrew/opt/postgresql@*/bin"} {
		found, _ := filepath.Glob(pattern) // only a bad pattern errs
		sort.Slice(found, func(i, j int) bool { return versionIn(found[i]) > versionIn(found[j]) })
		dirs = append(dirs, found...)
	}
	if path, err := exec.LookPath("pg_config"); err == nil {
		if out, err := exec.Command(path, "--bindir").Output(); err == nil {
			dirs = append(dirs, strings.TrimSpace(string(out)))
		}
	}
	if path, err := exec.LookPath("initdb"); err == nil {
		dirs = append(dirs, filepath.Dir(path))
	}
	return dirs
}

func versionIn(path string) int {
	digits := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, path)
	n, err := strconv.Atoi(digits)
	if err != nil {
		return 0
	}
	return n
}

// majorVersion asks the folder's own postgres; "" where it has no complete server.
func majorVersion(dir string) string {
	if _, err := os.Stat(filepath.Join(dir, "initdb")); err != nil {
		return ""
	}
	out, err := exec.Command(filepath.Join(dir, "postgres"), "--version").Output() // "postgres (PostgreSQL) 15.18 (…)"
	if err != nil {
		return ""
	}
	fields := strings.Fields(string(out))
	if len(fields) < 3 {
		return ""
	}
	major, _, _ := strings.Cut(fields[2], ".")
	return major
}

// causes maps what PostgreSQL says to what a person can do.
var causes = []struct{ says, means string }{
	{"No space left on device", "the disk is full: free some space and start again"},
	{"could not bind", "its port or socket is taken: stop the other server or choose another port"},
	{"Address already in use", "its port or socket is taken: stop the other server or choose another port"},
	{"incompatible with server", "the cluster was made by another major version: install that version, or move the folder away"},
	{"could not create shared memory", "no shared memory: give the container more with --shm-size"},
	{"Permission denied", "its account may not use the data folder: check the folder's owner"},
	{"could not write", "it cannot write to the data folder: check the disk"},
}

// explain turns the server's output into one sentence with its last telling line.
func explain(doing, output string, err error) error {
	last := ""
	for _, line := range strings.Split(output, "\n") {
		if line = strings.TrimSpace(line); strings.Contains(line, "FATAL") || strings.Contains(line, "error") || strings.Contains(line, "could not") || last == "" {
			last = line
		}
	}
	for _, c := range causes {
		if strings.Contains(output, c.says) {
			return fmt.Errorf("embedded PostgreSQL: cannot %s: %s (%s)", doing, c.means, last)
		}
	}
	return fmt.Errorf("embedded PostgreSQL: cannot %s: %s: %w", doing, last, err)
}

func explainFile(doing string, err error) error {
	if errors.Is(err, syscall.ENOSPC) {
		return fmt.Errorf("embedded PostgreSQL: cannot %s: the disk is full: free some space and start again", doing)
	}
	return fmt.Errorf("embedded PostgreSQL: cannot %s: %w", doing, err)
}

func logSince(path string, from int64) string {
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	buf := make([]byte, 16<<10)
	n, _ := f.ReadAt(buf, from) // the end of the file is no failure here
	return string(buf[:n])
}
