package endtoend

import (
	"bufio"
	"bytes"
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/ledger"
)

// process is a running `worker serve`.
type process struct {
	t    *testing.T
	cmd  *exec.Cmd
	done chan struct{}

	mu    sync.Mutex
	lines []map[string]any // of its log
	news  chan struct{}    // told of each line
}

// serve starts a worker of the harbour.
func (h *harbour) serve(args ...string) *process {
	t := h.t
	t.Helper()
	p := &process{t: t, cmd: exec.Command(worker, append([]string{"serve", "--scratch", t.TempDir()}, args...)...), done: make(chan struct{}), news: make(chan struct{}, 1)}
	p.cmd.Env = append(os.Environ(),
		"DATABASE_URL="+h.db.URL(ledger.RoleWorker), "S3_ENDPOINT="+h.gate.url, "S3_REGION="+s3server.Region, "S3_BUCKET="+objects.Bucket,
		"S3_ACCESS_KEY="+objects.Worker.Access, "S3_SECRET_KEY="+objects.Worker.Secret)
	out, err := p.cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, p.cmd.Start())
	go p.read(out)
	t.Cleanup(func() { p.kill() })
	p.awaitLine("taking inspections")
	return p
}

func (p *process) read(out io.Reader) {
	for in := bufio.NewScanner(out); in.Scan(); {
		var line map[string]any
		if json.Unmarshal(in.Bytes(), &line) != nil {
			line = map[string]any{"msg": in.Text()}
		}
		p.mu.Lock()
		p.lines = append(p.lines, line)
		p.mu.Unlock()
		select {
		case p.news <- struct{}{}:
		default:
		}
	}
	_ = p.cmd.Wait()
	close(p.done)
}

// logged returns the log's lines whose message holds a text.
func (p *process) logged(text string) (out []map[string]any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, l := range p.lines {
		if msg, _ := l["msg"].(string); strings.Contains(msg, text) {
			out = append(out, l)
		}
	}
	return out
}

func (p *process) awaitLine(text string) {
	p.t.Helper()
	late := time.After(waiting)
	for len(p.logged(text)) == 0 {
		select {
		case <-p.news:
		case <-p.done:
			if len(p.logged(text)) == 0 {
				require.Fail(p.t, "the worker ended", "%v", p.lines)
			}
		case <-late:
			require.Fail(p.t, "the worker never said: "+text, "%v", p.lines)
		}
	}
}

// kill is kill -9.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	<-p.done
}

// stop is a planned stop; it returns the exit code.
func (p *process) stop() int {
	p.t.Helper()
	require.NoError(p.t, p.cmd.Process.Signal(syscall.SIGTERM))
	p.ended()
	return p.cmd.ProcessState.ExitCode()
}

func (p *process) ended() {
	p.t.Helper()
	select {
	case <-p.done:
	case <-time.After(waiting):
		require.Fail(p.t, "the worker did not stop", "%v", p.lines)
	}
}

// ran is a program that came to its end.
type ran struct {
	code     int
	out, err string
}

// run runs the worker's program to its end.
func run(t *testing.T, env []string, args ...string) ran {
	t.Helper()
	var out, errs bytes.Buffer
	cmd := exec.CommandContext(t.Context(), worker, args...)
	// Nothing kept from another run, and English whatever the machine speaks.
	cmd.Env = append(append(os.Environ(), "XDG_CACHE_HOME="+t.TempDir(), "LC_ALL=C"), env...)
	cmd.Stdout, cmd.Stderr = &out, &errs
	err := cmd.Run()
	if cmd.ProcessState == nil {
		require.NoError(t, err)
	}
	return ran{cmd.ProcessState.ExitCode(), out.String(), errs.String()}
}
