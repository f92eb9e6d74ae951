package main

import (
	"fmt"
	"os"
	"strings"

	"github.com/google/uuid"

	"proofhouse/internal/load/seed"
)

// fact reads the first line of a file of /proc that begins so; "" where there is none.
func procLine(file, begins string) string {
	b, err := os.ReadFile(file)
	if err != nil {
		return ""
	}
	for line := range strings.Lines(string(b)) {
		if rest, ok := strings.CutPrefix(line, begins); ok {
			return strings.TrimSpace(strings.TrimLeft(rest, " \t:"))
		}
	}
	return ""
}

func cpuName() string { return procLine("/proc/cpuinfo", "model name") }

func memory() string {
	var kb int
	if _, err := fmt.Sscanf(procLine("/proc/meminfo", "MemTotal"), "%d", &kb); err != nil {
		return "memory unknown"
	}
	return fmt.Sprintf("%.0f GiB", float64(kb)/(1<<20))
}

func vendorsIn(members []seed.Member) int {
	seen := map[uuid.UUID]bool{}
	for _, m := range members {
		if m.Side == "vendor" {
			seen[m.Party] = true
		}
	}
	return len(seen)
}
