package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestSmallMistakes: help goes to where output goes and is no fault; a mistake is one line, and 2.
func TestSmallMistakes(t *testing.T) {
	t.Parallel()
	call := func(args ...string) (code int, out, errs string) {
		var o, e bytes.Buffer
		code = run(context.Background(), streams{&o, &e}, func(string) string { return "" }, args)
		return code, o.String(), e.String()
	}
	for _, args := range [][]string{{"--help"}, {"help"}, {"verify", "--help"}, {"serve", "-h"}, {"migrate", "--help"}, {"bootstrap", "--help"}} {
		code, out, errs := call(args...)
		require.Equal(t, exitOK, code, args)
		require.NotEmpty(t, out, args)
		require.Empty(t, errs, args)
	}
	notOne := filepath.Join(t.TempDir(), "bundle.json")
	require.NoError(t, os.WriteFile(notOne, []byte("{"), 0o600))
	for _, row := range []struct {
		args []string
		want string
	}{
		{[]string{"sevre"}, `there is no command "sevre" (see: api --help)`},
		{[]string{"verify"}, "name one bundle"},
		{[]string{"verify", "--verifyer", "x", "b.json"}, "there is no --verifyer (see: api verify --help)"},
		{[]string{"verify", filepath.Join(t.TempDir(), "none.json")}, "the bundle cannot be read"},
		{[]string{"verify", notOne}, "api verify: "},
		{[]string{"verify", "--since", notOne, notOne}, "is not a receipt"},
	} {
		code, out, errs := call(row.args...)
		require.Equal(t, exitCalled, code, "%v: %s", row.args, errs)
		require.Empty(t, out)
		require.Contains(t, errs, row.want)
		require.Equal(t, 1, strings.Count(errs, "\n"), errs)
	}
}
