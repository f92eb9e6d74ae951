package main

import (
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"time"
)

// ticksPerSecond is what Linux counts processor time in (USER_HZ, sysconf(_SC_CLK_TCK): 100 on every architecture of today).
const ticksPerSecond = 100

// cpuTimes is the processor time, user and system, that each part of the machine under test has used, by name.
type cpuTimes map[string]time.Duration

// Parts of the machine under test, as the table names them.
const (
	partLoad = "the asking side (this program)"
	partAPI  = "the service, the S3 server in it"
)

// readCPU reads the processor time of this program, of the service and of PostgreSQL's processes below a data folder. Those of
// PostgreSQL are told apart by what their titles say they are: "postgres: proofhouse: ph_api proofhouse [local] idle". A process that
// has ended is not counted: connections stay open over the seconds that are measured.
func readCPU(service int, dir string) cpuTimes {
	out := cpuTimes{}
	server := postmasterOf(dir)
	stats, _ := filepath.Glob("/proc/[0-9]*/stat") // a fixed pattern: no error
	for _, file := range stats {
		pid, _ := strconv.Atoi(filepath.Base(filepath.Dir(file)))
		parent, used, ok := processTimes(file)
		if !ok {
			continue
		}
		switch {
		case pid == os.Getpid():
			out[partLoad] += used
		case pid == service:
			out[partAPI] += used
		case server > 0 && (pid == server || parent == server):
			out["PostgreSQL: "+backendOf(pid)] += used
		}
	}
	return out
}

// postmasterOf reads the id of the PostgreSQL server of a data folder; 0 where none runs.
func postmasterOf(dir string) int {
	b, err := os.ReadFile(filepath.Join(dir, "postgres", "data", "postmaster.pid"))
	if err != nil {
		return 0
	}
	first, _, _ := strings.Cut(string(b), "\n")
	pid, _ := strconv.Atoi(strings.TrimSpace(first))
	return pid
}

// processTimes reads a process's parent and its time from /proc/PID/stat (proc(5)): fields 4, 14 and 15, counted behind the name,
// which stands in brackets and may hold anything.
func processTimes(file string) (parent int, used time.Duration, ok bool) {
	b, err := os.ReadFile(file)
	if err != nil {
		return 0, 0, false // gone since
	}
	_, rest, found := cutLast(string(b), ") ")
	f := strings.Fields(rest)
	if !found || len(f) < 13 {
		return 0, 0, false
	}
	parent, _ = strconv.Atoi(f[1])
	user, _ := strconv.ParseInt(f[11], 10, 64)
	system, _ := strconv.ParseInt(f[12], 10, 64)
	return parent, time.Duration(user+system) * time.Second / ticksPerSecond, true
}

func cutLast(s, sep string) (before, after string, found bool) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", false
	}
	return s[:i], s[i+len(sep):], true
}

// backendOf says what a process of PostgreSQL is for: a role's connections, or the server's own work.
func backendOf(pid int) string {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", pid))
	title := strings.TrimRight(string(b), "\x00 ")
	if err != nil {
		return "gone"
	}
	rest, ok := strings.CutPrefix(title, "postgres: proofhouse: ")
	if !ok {
		return "the server's own"
	}
	if name, _, _ := strings.Cut(rest, " "); strings.HasPrefix(name, "ph_") {
		return name
	}
	return "the server's own"
}

// spent is one part's share of what n questions cost.
type spent struct {
	Part string
	Each time.Duration // a question
}

// spentEach says what each of n questions cost, by part, the dearest first; parts under a hundredth of a millisecond are left out.
func (before cpuTimes) spentEach(after cpuTimes, n int) (out []spent) {
	if n == 0 {
		return nil
	}
	for part, used := range after {
		if each := (used - before[part]) / time.Duration(n); each >= 10*time.Microsecond {
			out = append(out, spent{part, each})
		}
	}
	sort.Slice(out, func(i, j int) bool {
		return out[i].Each > out[j].Each || out[i].Each == out[j].Each && out[i].Part < out[j].Part
	})
	return out
}
