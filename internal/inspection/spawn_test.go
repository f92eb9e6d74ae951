package inspection

import (
	"context"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
)

// run starts a real child that behaves as named and returns how it ended, with what its parent logged.
func run(t *testing.T, behaviour string, lim Limits, change func(*Job)) (*Outcome, error, []string) {
	t.Helper()
	job := Job{SpecName: behaviour, Folder: t.TempDir(), Out: t.TempDir()}
	if change != nil {
		change(&job)
	}
	var mu sync.Mutex
	var logged []string
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute) // no test may hang on a child
	defer cancel()
	out, err := Spawn(ctx, os.Args[0], job, lim, nil, func(s string) {
		mu.Lock()
		defer mu.Unlock()
		logged = append(logged, s)
	})
	require.NoError(t, ctx.Err())
	return out, err, logged
}

func TestHowChildrenEnd(t *testing.T) {
	for _, c := range []struct {
		behaviour string
		limits    Limits
		kind      error
		says      string
	}{
		{"allocates slowly", Limits{MemoryBytes: 128 << 20}, ErrMemory, "128 MiB"},
		{"never ends", Limits{Wall: time.Second}, ErrTime, "1s"},
		{"turns for ever", Limits{CPU: time.Second}, ErrTime, "processor time"},
		{"falls silent", Limits{Silence: 1500 * time.Millisecond}, ErrSilent, "1.5s"},
		{"panics", Limits{}, ErrCrash, "index out of range"},
		{"panics on a thread", Limits{}, ErrCrash, "beside the work"},
		{"exits well without a word", Limits{}, ErrCrash, ""},
		{"writes nonsense", Limits{}, ErrCrash, ""},
		{"writes without end", Limits{}, ErrOutput, "without end"},
		{"tells without end", Limits{}, ErrOutput, "more than 100000 things"},
		{"cries without end", Limits{OutBytes: 64 << 20}, ErrOutput, "64 MiB"},
		{"writes file after file", Limits{OutBytes: 32 << 20}, ErrOutput, "32 MiB"},
		{"fails by itself", Limits{}, nil, "the disk is full"},
		{"writes too much", Limits{FileBytes: 2 << 20}, ErrOutput, "file too large"},
	} {
		t.Run(c.behaviour, func(t *testing.T) {
			t.Parallel()
			out, err, _ := run(t, c.behaviour, c.limits, nil)
			require.Nil(t, out)
			require.ErrorContains(t, err, c.says)
			for _, kind := range []error{ErrMemory, ErrTime, ErrSilent, ErrCrash, ErrOutput} {
				if kind == c.kind {
					require.ErrorIs(t, err, kind)
				} else {
					require.NotErrorIs(t, err, kind)
				}
			}
		})
	}
}

// A child that a file has taken over says what it likes: of that a few short lines reach the log, a known word the counters,
// and the record a bounded sentence.
func TestWhatAChildSaysIsBounded(t *testing.T) {
	t.Parallel()
	out, err, logged := run(t, "logs without end", Limits{}, nil)
	require.NoError(t, err)
	require.Len(t, logged, forceMax)
	for _, line := range logged {
		require.Less(t, len(line), lineMax+30)
		require.NotContains(t, line, "\n", "no line is forged")
	}
	require.Less(t, len(out.Headline), sentenceMax+10)

	for says, means := range map[string]string{
		"checking uv.overlap": "checking uv.overlap", "checking uv.overlap\nx": "", "checking whatever": "", "reading a.glb\x1b[2J": "reading a.glb [2J", "sorting the parts": "sorting the parts",
		"pictures": "pictures", "": "", "mining": "",
	} {
		require.Equal(t, means, doing(says), says)
	}
	var all ear
	far, err := all.hear(frame{Doing: "pictures", Done: 1e300})
	require.NoError(t, err)
	require.Equal(t, 1.0, far.Done)

	good := []Picture{{Name: "prop.png", MIME: "image/png"}, {Name: "deviation.glb", MIME: "model/gltf-binary"}}
	require.NoError(t, checkPictures(good))
	for _, p := range []Picture{
		{Name: "prop.png", MIME: "image/png"}, {Name: evidenceName, MIME: "image/png"}, {Name: "page.html", MIME: "text/html"}, {Name: "page.svg", MIME: "image/svg+xml"},
		{Name: strings.Repeat("x", 300), MIME: "image/png"},
	} {
		require.Error(t, checkPictures(append(slices.Clone(good), p)), p.Name)
	}
	require.Error(t, checkPictures(make([]Picture, picturesMax+1)))
}

// One huge allocation fills a machine between two looks: the limit on address space is what stops it.
func TestHugeAllocationIsStoppedByTheKernel(t *testing.T) {
	if !addressSpaceCounts {
		t.Log("under the race detector the looks alone must stop it")
	}
	out, err, _ := run(t, "allocates at once", Limits{MemoryBytes: 64 << 20}, nil)
	require.Nil(t, out)
	require.ErrorIs(t, err, ErrMemory)
}

func TestCancelKillsTheChild(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	began := make(chan int, 1)
	ended := make(chan error, 1)
	go func() {
		_, err := Spawn(ctx, os.Args[0], Job{SpecName: "never ends", Folder: t.TempDir(), Out: t.TempDir()}, Limits{}, func(string, float64) {
			began <- 1
		}, nil)
		ended <- err
	}()
	<-began
	cancel(errStopping)
	require.ErrorIs(t, <-ended, errStopping)
}

// A child that somebody shoots says nothing of the delivery: another try may succeed, so it is none of the kinds that are
// recorded.
func TestShotFromOutsideIsNotTheDeliverysDoing(t *testing.T) {
	began := make(chan struct{}, 1)
	ended := make(chan error, 1)
	folder := t.TempDir()
	go func() {
		_, err := Spawn(t.Context(), os.Args[0], Job{SpecName: "never ends", Folder: folder, Out: t.TempDir()}, Limits{}, func(string, float64) {
			began <- struct{}{}
		}, nil)
		ended <- err
	}()
	<-began
	pids := childrenOf(t, os.Getpid())
	require.Len(t, pids, 1, "no other test runs beside this one")
	p, err := os.FindProcess(pids[0])
	require.NoError(t, err)
	require.NoError(t, p.Kill())
	err = <-ended
	require.ErrorContains(t, err, "killed from outside")
	for _, kind := range []error{ErrMemory, ErrTime, ErrSilent, ErrCrash, ErrOutput} {
		require.NotErrorIs(t, err, kind)
	}
}

func childrenOf(t *testing.T, pid int) []int {
	t.Helper()
	tasks, err := filepath.Glob("/proc/" + strconv.Itoa(pid) + "/task/*/children")
	require.NoError(t, err)
	var out []int
	for _, file := range tasks {
		data, err := os.ReadFile(file)
		if err != nil {
			continue // the thread has ended
		}
		for _, word := range strings.Fields(string(data)) {
			n, err := strconv.Atoi(word)
			require.NoError(t, err)
			out = append(out, n)
		}
	}
	return out
}

func TestChildDiesWithItsParent(t *testing.T) {
	parent := exec.Command(os.Args[0], "-test.run", "^TestAsParentOfOneChild$", "-test.v")
	parent.Env = append(os.Environ(), "PARENT_OF_ONE_CHILD="+t.TempDir())
	out, err := parent.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, parent.Start())
	ready := make([]byte, 1)
	for ready[0] != '!' { // the parent writes it once its child works
		_, err := out.Read(ready)
		require.NoError(t, err)
	}
	pids := childrenOf(t, parent.Process.Pid)
	require.Len(t, pids, 1)
	require.NoError(t, parent.Process.Kill())
	_ = parent.Wait()
	require.Eventually(t, func() bool { return !alive(pids[0]) }, 10*time.Second, 10*time.Millisecond, "the child outlived its parent")
}

func alive(pid int) bool {
	data, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/stat")
	if err != nil {
		return false
	}
	_, rest, _ := strings.Cut(string(data), ") ")
	return !strings.HasPrefix(rest, "Z") // a zombie waits for whoever adopted it
}

// TestAsParentOfOneChild is the process that TestChildDiesWithItsParent kills; by itself it does nothing.
func TestAsParentOfOneChild(t *testing.T) {
	dir := os.Getenv("PARENT_OF_ONE_CHILD")
	if dir == "" {
		return
	}
	_, err := Spawn(t.Context(), os.Args[0], Job{SpecName: "never ends", Folder: dir, Out: dir}, Limits{}, func(string, float64) {
		_, _ = os.Stdout.WriteString("!\n")
	}, nil)
	require.NoError(t, err)
}

func TestConfinedChildSeesNothingElse(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	var folder string
	out, err, logged := run(t, "looks around", Limits{Confine: true, MemoryBytes: 512 << 20, CPU: time.Minute, FileBytes: 1 << 20}, func(j *Job) {
		folder = j.Folder
		j.Milestone = spec.Milestone(l.Addr().String())
		require.NoError(t, os.WriteFile(filepath.Join(j.Folder, "there"), []byte("yes"), 0o600))
	})
	require.NoError(t, err)
	all := strings.Join(logged, "\n")
	require.Contains(t, all, "in force: files: Landlock ABI", "this machine's kernel must have Landlock for this test")
	require.Contains(t, all, "in force: network and processes: closed by seccomp")
	said := map[string]string{}
	for line := range strings.Lines(out.Refused) {
		what, how, _ := strings.Cut(strings.TrimSpace(line), ": ")
		said[what] = how
	}
	for _, what := range []string{"open /etc/passwd", "dial", "listen", "unix socket", "start a program", "signal the parent", "trace the parent",
		"raise a limit", "make a link", "make a folder", "make a pipe", "move a file", "write into the delivery", "write beside it", "change a mode"} {
		require.Regexp(t, "permission denied|operation not permitted", said[what], what)
	}
	require.Equal(t, "<nil>", said["read the delivery"])
	require.Equal(t, "<nil>", said["write the evidence"])
	require.NoFileExists(t, folder+"/planted")
}

// The limits do not hinder an honest inspection: a small box against itself, by the real child.
func TestRealChildInspects(t *testing.T) {
	t.Parallel()
	box := boxDelivery(t)
	out, err, logged := run(t, "box.yaml", Limits{Confine: true, MemoryBytes: 1 << 30, Wall: time.Minute, CPU: time.Minute, FileBytes: 64 << 20}, func(j *Job) {
		j.Folder, j.Spec, j.Pictures = box, []byte("prop: box\ntier: background\n"), true
	})
	require.NoError(t, err)
	require.NotEmpty(t, out.Verdict)
	require.NotEmpty(t, out.Pictures)
	require.Empty(t, out.Refused)
	require.Positive(t, out.PeakBytes)
	require.Less(t, out.PeakBytes, int64(1<<30))
	require.Contains(t, strings.Join(logged, "\n"), "Landlock")
}

func TestSpecsAndManifestsThatCannotBeRead(t *testing.T) {
	t.Parallel()
	out, err, _ := run(t, "box.yaml", Limits{}, func(j *Job) { j.Folder, j.Spec = boxDelivery(t), []byte("prop: box\ntier: background\nwhat: 1\n") })
	require.NoError(t, err)
	require.Contains(t, out.Refused, "box.yaml:3:1")
	out, err, _ = run(t, "box.yaml", Limits{}, func(j *Job) {
		j.Folder, j.Spec = boxDelivery(t), []byte("prop: box\ntier: background\n")
		require.NoError(t, os.WriteFile(filepath.Join(j.Folder, "delivery.yaml"), []byte("prop: ["), 0o600))
	})
	require.NoError(t, err)
	require.Contains(t, out.Unreadable, "delivery.yaml")
}

// boxDelivery writes a folder with a box of 1 m.
func boxDelivery(t *testing.T) string {
	t.Helper()
	var p glbwrite.Prim
	for axis := range 3 {
		for _, side := range []float32{-1, 1} {
			first := uint32(len(p.Pos) / 3)
			for _, c := range [][2]float32{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
				var pos, nrm [3]float32
				pos[axis], pos[(axis+1)%3], pos[(axis+2)%3] = side/2, c[0]-0.5, (c[1]-0.5)*side
				nrm[axis] = side
				p.Pos, p.Nrm, p.UV = append(p.Pos, pos[:]...), append(p.Nrm, nrm[:]...), append(p.UV, c[:]...)
			}
			p.Tri = append(p.Tri, first, first+1, first+2, first, first+2, first+3)
		}
	}
	dir := t.TempDir()
	p.Material = &glbwrite.Material{Name: "box"}
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "box_game.glb"), glbwrite.Single("box", p)))
	return dir
}
