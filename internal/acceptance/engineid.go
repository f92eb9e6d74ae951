package acceptance

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"runtime"
	"slices"
	"strings"
	"sync"

	"proofhouse/internal/canon"
)

// EngineVersion is raised by hand when findings change their meaning.
const EngineVersion = "1.0.0"

// The engine's own sources, so that it can say exactly which code made a piece of evidence: a build without version
// control has no commit, and a commit says nothing of a dirty tree.
//
// The English words are part of what evidence says; other languages are not.
//
//go:embed *.go */*.go */*/*.go words/en/*.yaml
var sources embed.FS

// EngineNow names the running engine. Commit is the SHA-256 of its sources, tests left out, and of the Go version: equal
// digests give equal evidence.
var EngineNow = sync.OnceValue(func() Engine {
	return Engine{Version: EngineVersion, Commit: engineDigest(sources, canon.Source, runtime.Version())}
})

func engineDigest(tree fs.FS, canonSource, goVersion string) string {
	h := sha256.New()
	var paths []string
	err := fs.WalkDir(tree, ".", func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && !strings.HasSuffix(p, "_test.go") {
			paths = append(paths, p)
		}
		return err
	})
	if err != nil {
		panic(err) // an embedded file system does not fail
	}
	slices.Sort(paths)
	for _, p := range paths {
		data, err := fs.ReadFile(tree, p)
		if err != nil {
			panic(err)
		}
		fmt.Fprintf(h, "%s %d\n", p, len(data))
		h.Write(data)
	}
	fmt.Fprintf(h, "canon %d\n%s%s\n", len(canonSource), canonSource, goVersion)
	return hex.EncodeToString(h.Sum(nil))
}
