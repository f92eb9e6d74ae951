package acceptance

import (
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
)

// TestEngineDigest: another line of code or another compiler is another engine; tests are not part of it.
func TestEngineDigest(t *testing.T) {
	t.Parallel()
	tree := func(extra string, text string) fstest.MapFS {
		m := fstest.MapFS{"a.go": {Data: []byte("package a")}, "mesh/b.go": {Data: []byte("package b")}}
		if extra != "" {
			m[extra] = &fstest.MapFile{Data: []byte(text)}
		}
		return m
	}
	base := engineDigest(tree("", ""), "canon", "go1")
	require.Equal(t, base, engineDigest(tree("a_test.go", "x"), "canon", "go1"))
	for _, other := range []string{
		engineDigest(tree("c.go", "x"), "canon", "go1"), engineDigest(tree("a.go", "package c"), "canon", "go1"),
		engineDigest(tree("", ""), "canon 2", "go1"), engineDigest(tree("", ""), "canon", "go2"),
	} {
		require.NotEqual(t, base, other)
	}
	require.Regexp(t, `^[0-9a-f]{64}$`, EngineNow().Commit)
	// Every package below is in the tree that is hashed.
	for _, p := range []string{"inspect.go", "mesh/scene.go", "spec/rule.go", "spatial/api.go", "detmath/trig.go", "mesh/glbwrite/plan.go"} {
		_, err := sources.Open(p)
		require.NoError(t, err)
	}
}
