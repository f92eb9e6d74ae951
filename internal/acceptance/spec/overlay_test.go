package spec_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"gopkg.in/yaml.v3"

	"proofhouse/internal/acceptance/spec"
)

func TestOverlay(t *testing.T) {
	t.Parallel()
	for name, row := range map[string][3]string{
		"a key is added":      {"prop: cleat\nchecks: {}\n", "checks: {uv.range: {mode: warns}}\n", "prop: cleat\nchecks:\n  uv.range: {mode: warns}\n"},
		"a limit is replaced": {"# ours\nprop: cleat\nchecks:\n  budget.triangles: {max_triangles: 300} # agreed\n", "checks:\n  budget.triangles: {max_triangles: 400}\n", "# ours\nprop: cleat\nchecks:\n  budget.triangles: {max_triangles: 400} # agreed\n"},
		"beside what stands":  {"checks:\n  a: {mode: warns}\n", "checks:\n  b: {mode: warns}\n", "checks:\n  a: {mode: warns}\n  b: {mode: warns}\n"},
		"a list is replaced":  {"size_mm: [1, 2, 3]\n", "size_mm: [4, 5, 6]\n", "size_mm: [4, 5, 6]\n"},
	} {
		got, err := spec.Overlay([]byte(row[0]), []byte(row[1]))
		require.NoError(t, err, name)
		require.Equal(t, row[2], string(got), name)
		again, err := spec.Overlay(got, []byte(row[1]))
		require.NoError(t, err, name)
		var a, b any
		require.NoError(t, yaml.Unmarshal(got, &a))
		require.NoError(t, yaml.Unmarshal(again, &b))
		require.Equal(t, a, b, "%s: laid over twice is laid over once", name)
	}
	for _, bad := range []string{"", "- a\n", "text", "a: [", "a: &x {}\nb: *x\n"} {
		_, err := spec.Overlay([]byte("prop: cleat\n"), []byte(bad))
		require.Error(t, err, bad)
	}
}
