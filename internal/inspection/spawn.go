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
	"strings"
	"time"
)

// ChildArg is the hidden argument with which this program starts itself as the child.
const ChildArg = "__inspect"

// Limits bound one child. Zero fields are no limit.
type Limits struct {
	MemoryBytes int64         // of memory that is not a mapped file
	Wall        time.Duration // from start to last frame
	CPU         time.Duration // over all threads
	FileBytes   int64         // largest file it may write
	OutBytes    int64         // all that it may write, files and frames together, where the system counts it
	Silence     time.Duration // longest time without a frame; 0 for a minute
	Confine     bool          // no network, and no files but the job's own, where the kernel can
}

// silence is how long a child may say nothing unless Limits say otherwise. It beats each second; a machine that swaps or
// is suspended may hold it up.
const silence = time.Minute

// The causes for which a child gives no result. They become the recorded cause of "not evaluated".
var (
	ErrMemory = errors.New("the inspection needed more memory than one delivery may have")
	ErrTime   = errors.New("the inspection took longer than one delivery may take")
	ErrSilent = errors.New("the inspection stopped answering")
	ErrCrash  = errors.New("the inspection crashed")
	ErrOutput = errors.New("the inspection wrote more than one delivery may")
)

// child is a child process as its parent sees it.
type child struct {
	cmd    *exec.Cmd
	frames *os.File
	stderr tail          // whole once gone
	gone   chan struct{} // closed when the process has ended
}

// Spawn runs one job in a child process and returns how it ended. exe is this program's own path. Cancelling ctx kills
// the child. progress and log may be nil. An error that is none of the kinds above is ctx's own, or says that the
// machinery failed and that another try may succeed.
func Spawn(ctx context.Context, exe string, job Job, lim Limits, progress func(what string, done float64), log func(string)) (*Outcome, error) {
	if progress == nil {
		progress = func(string, float64) {}
	}
	if log == nil {
		log = func(string) {}
	}
	job.MemoryBytes, job.Confine = lim.MemoryBytes, lim.Confine
	input, err := json.Marshal(job)
	if err != nil {
		return nil, fmt.Errorf("inspection: %w", err)
	}
	// The signal that ends an orphaned child comes when the thread that started it ends, so this one has to last.
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	c, stdin, err := start(exe)
	if err != nil {
		return nil, fmt.Errorf("inspection: start the child: %w", err)
	}
	defer c.kill()
	if err := restrain(c.cmd.Process.Pid, lim, fileBytes(job)); err != nil {
		log("not in force: " + err.Error())
	}
	go func() { // the child may be slow to read, or never do
		_, _ = stdin.Write(input) // a child that is gone is told by the end of its frames
		_ = stdin.Close()
	}()
	return c.watch(ctx, lim, progress, log)
}

func start(exe string) (c *child, stdin io.WriteCloser, err error) {
	frames, childEnd, err := os.Pipe()
	if err != nil {
		return nil, nil, err
	}
	defer childEnd.Close()
	c = &child{cmd: exec.Command(exe, ChildArg), frames: frames, gone: make(chan struct{})}
	c.cmd.Env = []string{"GOTRACEBACK=single", "MALLOC_ARENA_MAX=1"} // glibc would reserve 128 MiB of addresses a thread
	c.cmd.Stderr = &c.stderr
	c.cmd.Stdout = childEnd // frames; the child points its own standard output elsewhere
	c.cmd.WaitDelay = 5 * time.Second
	separate(c.cmd)
	if stdin, err = c.cmd.StdinPipe(); err == nil {
		err = c.cmd.Start()
	}
	if err != nil {
		_ = frames.Close()
		return nil, nil, err
	}
	go func() {
		defer close(c.gone)
		_ = c.cmd.Wait() // how it ended is told by its frames
	}()
	return c, stdin, nil
}

// kill ends the child and all it started, where it has not ended, and waits for it.
func (c *child) kill() {
	select {
	case <-c.gone:
	default:
		killGroup(c.cmd)
		<-c.gone
	}
	_ = c.frames.Close()
}

// watch reads frames until the last one, and kills the child when it breaks a limit.
func (c *child) watch(ctx context.Context, lim Limits, progress func(string, float64), log func(string)) (*Outcome, error) {
	if lim.Silence == 0 {
		lim.Silence = silence
	}
	stop := make(chan struct{})
	defer close(stop)
	lines := readFrames(c.frames, stop)
	look := time.NewTicker(100 * time.Millisecond)
	defer look.Stop()
	began, heard := time.Now(), time.Now()
	var ear ear
	for {
		select {
		case f, more := <-lines:
			if !more {
				return nil, c.ended(lim)
			}
			if f.flood {
				return nil, fmt.Errorf("%w: it told without end", ErrOutput)
			}
			f, err := ear.hear(f)
			switch {
			case err != nil:
				return nil, err
			case f.Outcome != nil:
				return f.Outcome, nil
			case f.TooMuch:
				return nil, fmt.Errorf("%w: %s", ErrOutput, f.Failed)
			case f.Failed != "":
				return nil, fmt.Errorf("inspection: the child: %s", f.Failed)
			}
			heard = time.Now()
			if f.Doing != "" {
				progress(f.Doing, f.Done)
			}
			for _, s := range f.InForce {
				log("in force: " + s)
			}
		case <-ctx.Done():
			return nil, fmt.Errorf("inspection: %w", context.Cause(ctx))
		case <-look.C:
			switch {
			case lim.MemoryBytes > 0 && privateBytes(c.cmd.Process.Pid) > lim.MemoryBytes:
				return nil, fmt.Errorf("%w (%d MiB)", ErrMemory, lim.MemoryBytes>>20)
			case lim.OutBytes > 0 && writtenBytes(c.cmd.Process.Pid) > lim.OutBytes:
				return nil, fmt.Errorf("%w (%d MiB)", ErrOutput, lim.OutBytes>>20)
			case lim.Wall > 0 && time.Since(began) > lim.Wall:
				return nil, fmt.Errorf("%w (%s)", ErrTime, lim.Wall)
			case time.Since(heard) > lim.Silence:
				return nil, fmt.Errorf("%w for %s", ErrSilent, lim.Silence)
			}
		}
	}
}

// readFrames reads frames until their end, the first line that is none, or stop. The channel is closed then. More than any
// child says ends in a frame that tells so.
func readFrames(from io.Reader, stop <-chan struct{}) <-chan frame {
	lines := make(chan frame)
	go func() {
		defer close(lines)
		bounded := &io.LimitedReader{R: from, N: saysMax}
		in := bufio.NewScanner(bounded)
		in.Buffer(make([]byte, 0, 1<<12), frameMax)
		for in.Scan() {
			var f frame
			if json.Unmarshal(in.Bytes(), &f) != nil {
				break // what is said behind it cannot be told apart
			}
			select {
			case lines <- f:
			case <-stop:
				return
			}
		}
		if bounded.N <= 0 || errors.Is(in.Err(), bufio.ErrTooLong) {
			select {
			case lines <- frame{flood: true}:
			case <-stop:
			}
		}
	}()
	return lines
}

// dying is how long a child may take from its last frame to its end.
const dying = 2 * time.Second

// ended says why a child that left no last frame is no more.
func (c *child) ended(lim Limits) error {
	onItsOwn := true
	select {
	case <-c.gone:
	case <-time.After(dying): // it closed its output, or wrote what is no frame, and lives
		onItsOwn = false
		c.kill()
	}
	text := c.stderr.String()
	switch {
	case onItsOwn && outOfTime(c.cmd.ProcessState, lim.CPU):
		return fmt.Errorf("%w (processor time)", ErrTime)
	case onItsOwn && shotFromOutside(c.cmd.ProcessState):
		return errors.New("inspection: the child was killed from outside, by the system for memory or by hand")
	case saysOutOfMemory(text):
		return ErrMemory
	case text != "":
		first, _, _ := strings.Cut(text, "\n")
		return fmt.Errorf("%w: %s", ErrCrash, clipped(first, lineMax))
	}
	return ErrCrash
}

// saysOutOfMemory knows the words in which Go's runtime gives up, its own and those of the C library below it.
func saysOutOfMemory(stderr string) bool {
	for _, sign := range []string{"out of memory", "cannot allocate memory", "failed to reserve", "pthread_create failed: Resource"} {
		if strings.Contains(stderr, sign) {
			return true
		}
	}
	return false
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
