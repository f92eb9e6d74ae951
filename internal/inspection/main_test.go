package inspection

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// The test binary is its own child: started with the hidden argument it does what the job's SpecName says, by the same
// steps as a real child, and for any other name it is the real child.
func TestMain(m *testing.M) {
	if len(os.Args) < 2 || os.Args[1] != ChildArg {
		os.Exit(m.Run())
	}
	frames := os.Stdout
	os.Stdout = os.Stderr
	err := runChild(os.Stdin, frames, func(ctx context.Context, job Job, progress func(string, float64)) (*Outcome, error) {
		if do, ok := behaviours[job.SpecName]; ok {
			return do(job, frames, progress)
		}
		return inspect(ctx, job, progress)
	})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

// sink keeps what a behaviour computes from being optimised away.
var sink []byte

// behaviours are what a child may do wrong, by the name of the job's spec.
var behaviours = map[string]func(job Job, frames *os.File, progress func(string, float64)) (*Outcome, error){
	"allocates slowly": func(Job, *os.File, func(string, float64)) (*Outcome, error) {
		for held := [][]byte{}; ; {
			piece := make([]byte, 4<<20)
			for i := 0; i < len(piece); i += 4096 {
				piece[i] = 1
			}
			held = append(held, piece)
			sink = held[0]
			time.Sleep(2 * time.Millisecond)
		}
	},
	"allocates at once": func(Job, *os.File, func(string, float64)) (*Outcome, error) {
		sink = make([]byte, 64<<30)
		for i := 0; i < len(sink); i += 4096 {
			sink[i] = 1
		}
		return &Outcome{Verdict: "pass"}, nil
	},
	"never ends": func(_ Job, _ *os.File, progress func(string, float64)) (*Outcome, error) {
		progress("reading", 0.5)
		select {}
	},
	"turns for ever": func(Job, *os.File, func(string, float64)) (*Outcome, error) {
		for i := 0; ; i++ {
			sink = append(sink[:0], byte(i))
		}
	},
	"falls silent": func(_ Job, _ *os.File, progress func(string, float64)) (*Outcome, error) {
		progress("about to stop", 0.1)
		_ = unix.Kill(os.Getpid(), unix.SIGSTOP) // every thread, the one that beats too
		select {}
	},
	"panics": func(Job, *os.File, func(string, float64)) (*Outcome, error) {
		var none []int
		return nil, fmt.Errorf("%d", none[len(os.Args)])
	},
	"panics on a thread": func(Job, *os.File, func(string, float64)) (*Outcome, error) {
		go func() { panic("beside the work") }()
		select {}
	},
	"exits well without a word": func(Job, *os.File, func(string, float64)) (*Outcome, error) { os.Exit(0); return nil, nil },
	"writes nonsense": func(_ Job, frames *os.File, _ func(string, float64)) (*Outcome, error) {
		fmt.Fprintln(frames, "all is well, trust me")
		select {}
	},
	"writes without end": func(_ Job, frames *os.File, _ func(string, float64)) (*Outcome, error) {
		piece := make([]byte, 1<<20)
		for {
			if _, err := frames.Write(piece); err != nil {
				select {}
			}
		}
	},
	"logs without end": func(job Job, frames *os.File, _ func(string, float64)) (*Outcome, error) {
		long := strings.Repeat("the worker's disk ", 1000) + "\nforged"
		for range 300 {
			if err := writeFrame(frames, frame{InForce: []string{long, long, long}}); err != nil {
				return nil, err
			}
		}
		return &Outcome{Verdict: "pass", Headline: long}, nil
	},
	"tells without end": func(_ Job, frames *os.File, _ func(string, float64)) (*Outcome, error) {
		for i := 0; ; i++ {
			if err := writeFrame(frames, frame{Doing: "checking no." + strconv.Itoa(i)}); err != nil {
				select {}
			}
		}
	},
	"cries without end": func(Job, *os.File, func(string, float64)) (*Outcome, error) {
		for piece := make([]byte, 1<<20); ; {
			if _, err := os.Stderr.Write(piece); err != nil {
				return nil, err
			}
		}
	},
	"writes file after file": func(job Job, _ *os.File, _ func(string, float64)) (*Outcome, error) {
		for i := 0; ; i++ {
			if err := os.WriteFile(fmt.Sprintf("%s/%d", job.Out, i), make([]byte, 1<<20), 0o600); err != nil {
				return nil, err
			}
		}
	},
	"fails by itself": func(Job, *os.File, func(string, float64)) (*Outcome, error) {
		return nil, errors.New("the disk is full")
	},
	"looks around": func(job Job, _ *os.File, _ func(string, float64)) (*Outcome, error) {
		return &Outcome{Refused: lookAround(job)}, nil
	},
	"writes too much": func(job Job, _ *os.File, _ func(string, float64)) (*Outcome, error) {
		return nil, os.WriteFile(job.Out+"/large", make([]byte, 3<<20), 0o600)
	},
}

// moved tries to move a file that it wrote itself.
func moved(dir string) error {
	if err := os.WriteFile(dir+"/here", nil, 0o600); err != nil {
		return err
	}
	return os.Rename(dir+"/here", dir+"/elsewhere")
}

// lookAround tries what a child must not do, one line each.
func lookAround(job Job) string {
	try := func(what string, err error) string { return fmt.Sprintf("%s: %v\n", what, err) }
	open := func(path string) error {
		f, err := os.Open(path)
		if err == nil {
			_, err = io.ReadAll(f)
		}
		return err
	}
	_, dial := net.DialTimeout("tcp", string(job.Milestone), time.Second) // the test's listener
	_, listen := net.Listen("tcp", "127.0.0.1:0")
	unixSocket, err := unix.Socket(unix.AF_UNIX, unix.SOCK_STREAM, 0)
	_ = unixSocket
	out := try("open /etc/passwd", open("/etc/passwd")) + try("dial", dial) + try("listen", listen) + try("unix socket", err) +
		try("start a program", exec.Command("/bin/true").Run()) +
		try("signal the parent", unix.Kill(os.Getppid(), 0)) +
		try("trace the parent", unix.PtraceAttach(os.Getppid())) +
		try("raise a limit", unix.Setrlimit(unix.RLIMIT_CORE, &unix.Rlimit{})) +
		try("write into the delivery", os.WriteFile(job.Folder+"/planted", nil, 0o600)) +
		try("write beside it", os.WriteFile(job.Folder+"-planted", nil, 0o600)) +
		try("make a link", os.Symlink("/etc/passwd", job.Out+"/link")) +
		try("make a folder", os.Mkdir(job.Out+"/folder", 0o700)) +
		try("make a pipe", unix.Mkfifo(job.Out+"/pipe", 0o600)) +
		try("move a file", moved(job.Out)) +
		try("change a mode", os.Chmod(job.Folder, 0o777)) +
		try("read the delivery", open(job.Folder+"/there")) +
		try("write the evidence", os.WriteFile(job.Out+"/note", nil, 0o600))
	done := make(chan struct{})
	go func() { // threads must still be made, and interrupted by the runtime
		runtime.LockOSThread()
		runtime.GC()
		close(done)
	}()
	<-done
	return out
}
