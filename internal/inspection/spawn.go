package inspection

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"sync"
	"time"
)

// ChildArg is the hidden argument with which this program starts itself as the child.
const ChildArg = "__inspect"

// Limits bound one child. Zero fields are no limit.
type Limits struct {
	MemoryBytes int64         // of memory that is not a mapped file
	Wall        time.Duration // from start to last frame
	CPU         time.Duration
	FileBytes   int64 // largest file it may write
	Confine     bool
}

// The causes for which a child gives no result. They become the recorded cause of "not evaluated".
var (
	ErrMemory = errors.New("the inspection needed more memory than one delivery may have")
	ErrTime   = errors.New("the inspection took longer than one delivery may take")
	ErrSilent = errors.New("the inspection stopped answering")
	ErrCrash  = errors.New("the inspection crashed")
)

// Spawn runs one job in a child process and returns how it ended. exe is this program's own path. Cancelling ctx kills
// the child. An error that is none of the kinds above means it could not be started, or ctx's own.
func Spawn(ctx context.Context, exe string, job Job, lim Limits, progress func(what string, done float64), log func(string)) (*Outcome, error) {
	job.MemoryBytes, job.Confine = lim.MemoryBytes, lim.Confine
	input, err := json.Marshal(job)
	if err != nil {
		return nil, fmt.Errorf("inspection: %w", err)
	}
	frames, childEnd, err := os.Pipe()
	if err != nil {
		return nil, fmt.Errorf("inspection: %w", err)
	}
	defer frames.Close()
	var stderr tail
	cmd := exec.Command(exe, ChildArg)
	cmd.Env = []string{"GOTRACEBACK=single"}
	cmd.Stderr = &stderr
	cmd.Stdout = childEnd // frames; the child points its own standard output elsewhere
	stdin, err := cmd.StdinPipe()
	if err != nil {
		return nil, fmt.Errorf("inspection: %w", err)
	}
	separate(cmd)
	// The signal that ends an orphaned child is tied to the thread that started it.
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	err = cmd.Start()
	_ = childEnd.Close()
	if err != nil {
		return nil, fmt.Errorf("inspection: start the child: %w", err)
	}
	// kill ends the child and all it started, and waits: after it, stderr is complete.
	kill := sync.OnceFunc(func() { killGroup(cmd); _ = cmd.Wait() })
	defer kill()
	if err := restrain(cmd.Process.Pid, lim, fileBytes(job)); err != nil && log != nil {
		log("limits: " + err.Error())
	}
	if _, err := io.Copy(stdin, bytes.NewReader(input)); err != nil {
		kill()
		return nil, crash(&stderr)
	}
	_ = stdin.Close()
	return watch(ctx, cmd.Process.Pid, frames, lim, progress, log, &stderr, kill)
}

// watch reads frames until the last one, and kills the child when it breaks a limit. The outcome is read from the frame,
// never from the exit code: every fatal error of the runtime exits with 2.
func watch(ctx context.Context, pid int, frames io.Reader, lim Limits, progress func(string, float64), log func(string), stderr *tail, kill func()) (*Outcome, error) {
	lines := make(chan frame)
	ended := make(chan struct{})
	stop := make(chan struct{})
	defer close(stop)
	go func() {
		defer close(ended)
		in := bufio.NewReaderSize(frames, 1<<16)
		for {
			line, err := in.ReadBytes('\n')
			if err != nil {
				return
			}
			var f frame
			if json.Unmarshal(line, &f) != nil {
				return
			}
			select {
			case lines <- f:
			case <-stop:
				return
			}
		}
	}()
	look := time.NewTicker(100 * time.Millisecond)
	defer look.Stop()
	began, heard := time.Now(), time.Now()
	for {
		select {
		case f := <-lines:
			heard = time.Now()
			if f.Finished && f.Outcome != nil {
				return f.Outcome, nil
			}
			if f.Doing != "" && progress != nil {
				progress(f.Doing, f.Done)
			}
			for _, s := range f.InForce {
				if log != nil {
					log("in force: " + s)
				}
			}
		case <-ended:
			kill()
			return nil, crash(stderr)
		case <-ctx.Done():
			kill()
			return nil, fmt.Errorf("inspection: %w", context.Cause(ctx))
		case <-look.C:
			switch {
			case lim.MemoryBytes > 0 && privateBytes(pid) > lim.MemoryBytes:
				kill()
				return nil, fmt.Errorf("%w (%d MiB)", ErrMemory, lim.MemoryBytes>>20)
			case lim.Wall > 0 && time.Since(began) > lim.Wall:
				kill()
				return nil, fmt.Errorf("%w (%s)", ErrTime, lim.Wall)
			case time.Since(heard) > silentFor:
				kill()
				return nil, fmt.Errorf("%w for %s", ErrSilent, silentFor)
			}
		}
	}
}

// crash tells the two endings apart that a dead child can have.
func crash(stderr *tail) error {
	text := stderr.String()
	for _, sign := range []string{"out of memory", "cannot allocate memory", "failed to reserve"} {
		if bytes.Contains([]byte(text), []byte(sign)) {
			return ErrMemory
		}
	}
	if text != "" {
		return fmt.Errorf("%w: %s", ErrCrash, firstLine(text))
	}
	return ErrCrash
}

func firstLine(s string) string {
	if i := bytes.IndexByte([]byte(s), '\n'); i >= 0 {
		return s[:i]
	}
	return s
}

// fileBytes is the size of the delivery on disk: mapped files count against the child's address space.
func fileBytes(job Job) int64 {
	var sum int64
	if job.Manifest == nil {
		return 0
	}
	for _, f := range job.Manifest.Files {
		if f.Bytes != nil && *f.Bytes > 0 {
			sum += *f.Bytes
		}
	}
	return sum
}

// tail keeps the first bytes of what a child says on its standard error: a panic's message stands first.
type tail struct{ b []byte }

const tailBytes = 4096

func (t *tail) Write(p []byte) (int, error) {
	if room := tailBytes - len(t.b); room > 0 {
		t.b = append(t.b, p[:min(room, len(p))]...)
	}
	return len(p), nil
}

func (t *tail) String() string { return string(bytes.TrimSpace(t.b)) }
