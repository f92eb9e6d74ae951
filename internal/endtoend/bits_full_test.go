//go:build full

package endtoend

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/inspection"
)

// The evidence and its pictures are the same bytes from builds for the oldest and for newer x86-64 processors (GOAMD64
// v1 and v3, which may fuse products and sums) and from one for arm64 under qemu-aarch64-static, which always does.
func TestSameBytesOnEveryProcessor(t *testing.T) {
	t.Parallel()
	_, err := exec.LookPath("qemu-aarch64-static")
	require.NoError(t, err, "install qemu-user-static")
	folder := smallDelivery(t)
	machines := []struct {
		name    string
		env     []string
		command []string
	}{
		{"amd64 v1", []string{"GOARCH=amd64", "GOAMD64=v1"}, nil},
		{"amd64 v3", []string{"GOARCH=amd64", "GOAMD64=v3"}, nil},
		{"arm64", []string{"GOARCH=arm64"}, []string{"qemu-aarch64-static"}},
	}
	for i := range machines { // all of them first: they must come from the same sources
		m := &machines[i]
		program := filepath.Join(t.TempDir(), "worker")
		build := exec.Command("go", "build", "-o", program, "proofhouse/cmd/worker")
		build.Dir = root
		build.Env = append(append(os.Environ(), "CGO_ENABLED=0"), m.env...)
		text, err := build.CombinedOutput()
		require.NoError(t, err, "%s: %s", m.name, text)
		m.command = append(m.command, program, inspection.ChildArg)
	}
	first := asChild(t, machines[0].command, folder)
	require.Greater(t, len(first), 4)
	for _, m := range machines[1:] {
		got := asChild(t, m.command, folder)
		require.Equal(t, sortedNames(first), sortedNames(got), m.name)
		require.JSONEq(t, first["evidence.json"], got["evidence.json"], m.name)
		for name := range first {
			require.True(t, first[name] == got[name], "%s differs on %s", name, m.name)
		}
	}
}

// asChild speaks to a program as its parent does: an emulator cannot start the child that a foreign program asks for.
func asChild(t *testing.T, command []string, folder string) map[string]string {
	t.Helper()
	out := t.TempDir()
	job, err := json.Marshal(inspection.Job{
		SpecName: "box.yaml", Spec: []byte("prop: box\ntier: mid\nchecks:\n  surface.poke_through: {mode: blocks}\n"),
		Folder: folder, Out: out, Threads: 2, Pictures: true,
	})
	require.NoError(t, err)
	cmd := exec.CommandContext(t.Context(), command[0], command[1:]...)
	cmd.Stdin = bytes.NewReader(job)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	frames, err := cmd.Output()
	require.NoError(t, err, stderr.String())
	lines := strings.Split(strings.TrimSpace(string(frames)), "\n")
	require.Contains(t, lines[len(lines)-1], `"outcome"`)
	return contents(t, out)
}

// smallDelivery is the box and a sculpt of it, dented all over and proud in one place.
func smallDelivery(t *testing.T) string {
	t.Helper()
	dir, _ := boxFolder(t, "box")
	var p glbwrite.Prim
	const n = 24
	for axis := range 3 {
		for _, side := range []float64{-1, 1} {
			first := uint32(len(p.Pos) / 3)
			for i := range n + 1 {
				for j := range n + 1 {
					u, v := float64(i)/n, float64(j)/n
					dent := 0.004 * u * (1 - u) * v * (1 - v) * float64(1+(i*7+j*3)%5)
					if axis == 0 && side > 0 && i > 8 && i < 14 && j > 8 && j < 14 {
						dent = -0.03
					}
					var pos [3]float64
					pos[axis], pos[(axis+1)%3], pos[(axis+2)%3] = side*(0.5-dent), u-0.5, (v-0.5)*side
					p.Pos = append(p.Pos, float32(pos[0]), float32(pos[1]), float32(pos[2]))
				}
			}
			for i := range uint32(n) {
				for j := range uint32(n) {
					a := first + i*(n+1) + j
					p.Tri = append(p.Tri, a, a+n+1, a+n+2, a, a+n+2, a+1)
				}
			}
		}
	}
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "box_sculpt.glb"), glbwrite.Single("box_sculpt", p)))
	return dir
}
