// Package oracle runs the independent libraries that tests compare with (testdata/oracles). It is for tests only:
// product code never imports it.
package oracle

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
)

// scripts returns testdata/oracles of this module, from where this file lies: a test's working directory is not always
// its package's (the S3 server changes it).
func scripts() (string, error) {
	_, file, _, ok := runtime.Caller(0)
	if !ok || !filepath.IsAbs(file) {
		return "", errors.New("this build does not know where its sources are")
	}
	return filepath.Join(filepath.Dir(filepath.Dir(filepath.Dir(file))), "testdata", "oracles"), nil
}

// Modules returns the node_modules folder: that of PROOFHOUSE_ORACLES where it is set, or the one beside the scripts.
// The test fails where it is not there.
func Modules(t testing.TB) string {
	t.Helper()
	dir := os.Getenv("PROOFHOUSE_ORACLES")
	if dir == "" {
		var err error
		if dir, err = scripts(); err != nil {
			t.Fatal(err)
		}
	}
	modules := filepath.Join(dir, "node_modules")
	if _, err := os.Stat(modules); err != nil {
		t.Fatalf("the reference libraries are not installed: run npm ci --ignore-scripts in testdata/oracles, or set PROOFHOUSE_ORACLES (%v)", err)
	}
	return modules
}

// Process is a running script.
type Process struct {
	t   testing.TB
	in  io.WriteCloser
	out *bufio.Reader
}

// Start runs a script of testdata/oracles until the test ends. The test fails where Node.js or a library is missing.
func Start(t testing.TB, script string) *Process {
	t.Helper()
	modules := Modules(t)
	dir, err := scripts()
	if err != nil {
		t.Fatal(err)
	}
	if modules != filepath.Join(dir, "node_modules") {
		dir = besides(t, dir, modules)
	}
	cmd := exec.Command("node", filepath.Join(dir, script))
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatalf("start %s: %v", script, err)
	}
	t.Cleanup(func() {
		in.Close()
		if err := cmd.Wait(); err != nil {
			t.Errorf("%s: %v", script, err)
		}
	})
	return &Process{t: t, in: in, out: bufio.NewReaderSize(out, 1<<20)}
}

// besides copies the scripts to where node finds modules that are installed elsewhere.
func besides(t testing.TB, dir, modules string) string {
	t.Helper()
	to := t.TempDir()
	modules, err := filepath.Abs(modules)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(modules, filepath.Join(to, "node_modules")); err != nil {
		t.Fatal(err)
	}
	found, err := filepath.Glob(filepath.Join(dir, "*.mjs"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range found {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(to, filepath.Base(f)), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return to
}

// Ask sends one request and reads its answer into out. The test fails where the script cannot answer.
func (p *Process) Ask(in, out any) {
	p.t.Helper()
	if err := p.TryAsk(in, out); err != nil {
		p.t.Fatal(err)
	}
}

// TryAsk is Ask that returns the script's complaint as an error.
func (p *Process) TryAsk(in, out any) error {
	line, err := json.Marshal(in)
	if err != nil {
		return err
	}
	if _, err := p.in.Write(append(line, '\n')); err != nil {
		return fmt.Errorf("ask: %w", err)
	}
	answer, err := p.out.ReadBytes('\n')
	if err != nil {
		return fmt.Errorf("no answer: %w", err)
	}
	var fault struct{ Error string }
	if json.Unmarshal(answer, &fault) == nil && fault.Error != "" {
		return errors.New(fault.Error)
	}
	return json.Unmarshal(answer, out)
}
