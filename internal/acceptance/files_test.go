package acceptance

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// FIPS 180-4's example "abc" and the NIST value for the empty message stand as declared digests.
func TestFileIntact(t *testing.T) {
	t.Parallel()
	const abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	const empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
	sum := sha256.Sum256([]byte("abc"))
	require.Equal(t, abc, hex.EncodeToString(sum[:]))
	for _, c := range []struct {
		name     string
		declared string
		bytes    int64
		want     Outcome
		says     string
	}{
		{"as declared", abc, 3, Pass, "digest that was declared"},
		{"in capitals", strings.ToUpper(abc), 3, Pass, "digest that was declared"},
		{"with its algorithm", "sha256:" + abc, -1, Pass, "digest that was declared"},
		{"size alone", "", 3, Pass, "no digest"},
		{"nothing declared", "", -1, Pass, "neither digest nor size"},
		{"other bytes", empty, 3, Fail, "differ"},
		{"cut short", abc, 4, Fail, "3 bytes arrived, 4 were declared"},
		{"both", empty, 0, Fail, "3 bytes arrived, 0 were declared"},
	} {
		f := &File{Path: "a.bin", Bytes: 3, SHA256: abc}
		f.Declared.SHA256, f.Declared.Bytes = c.declared, c.bytes
		s := &Subject{Spec: specOf(t, spec.MidGround, ""), Files: []*File{f}}
		got := run1(t, s, "file.intact")
		require.Equal(t, c.want, got.Outcome, c.name)
		require.Contains(t, got.Sentence, c.says, c.name)
		require.Equal(t, "a.bin", got.File)
	}
}

func TestFileFormatAndSelfContained(t *testing.T) {
	t.Parallel()
	issue := func(code string) mesh.Issue {
		return mesh.Issue{Code: code, Path: "crate_a.glb", Pointer: "/accessors/0", Offset: 20, Message: "Something is off; put it right."}
	}
	warning, undecoded := issue("accessor.unused"), issue("extension.undecoded")
	warning.Warning, undecoded.Undecoded = true, true
	scene := &mesh.Scene{Path: "crate_a.glb"}
	for _, c := range []struct {
		name            string
		scene           *mesh.Scene
		issues          []mesh.Issue
		format, outside Outcome
	}{
		{"clean", scene, nil, Pass, Pass},
		{"a text beside the model", nil, nil, "", ""},
		{"broken", nil, []mesh.Issue{issue("container.truncated")}, Fail, ""},
		{"broken but read", scene, []mesh.Issue{issue("accessor.min_max")}, Fail, Pass},
		{"warning", scene, []mesh.Issue{warning}, Pass, Pass},
		{"cannot be read here", nil, []mesh.Issue{undecoded}, NotEvaluated, ""},
		{"cannot be read here and broken", nil, []mesh.Issue{undecoded, issue("json.syntax")}, Fail, ""},
		{"leads outside", nil, []mesh.Issue{issue("self_contained.missing")}, NotEvaluated, Fail},
		{"leads outside, geometry read", scene, []mesh.Issue{issue("self_contained.remote")}, Pass, Fail},
	} {
		s := &Subject{Spec: specOf(t, spec.MidGround, ""), Files: []*File{{Path: "crate_a.glb", Bytes: 1, Scene: c.scene, Issues: c.issues}}}
		require.Equal(t, c.format, outcomeOf(runCheck(t, s, "file.format")), c.name)
		require.Equal(t, c.outside, outcomeOf(runCheck(t, s, "file.self_contained")), c.name)
	}
	s := &Subject{Spec: specOf(t, spec.MidGround, ""), Files: []*File{{Path: "crate_a.glb", Issues: []mesh.Issue{issue("index.out_of_range"), issue("index.out_of_range")}}}}
	f := run1(t, s, "file.format")
	require.Equal(t, 2.0, f.Metrics["count"])
	require.Equal(t, "/accessors/0", f.Where[0].Pointer)
	require.EqualValues(t, 20, *f.Where[0].Offset)
	require.Equal(t, "index.out_of_range", f.Labels["code"])
}

// A map whose header was read keeps its standard; one that cannot be read here is not evaluated.
func TestFileFormatOfMaps(t *testing.T) {
	t.Parallel()
	f := &File{Path: "maps/normal.png", Role: "map.normal", Bytes: 9, WidthPx: 64, HeightPx: 64}
	s := &Subject{Spec: specOf(t, spec.MidGround, ""), Files: []*File{f}}
	require.Equal(t, Pass, run1(t, s, "file.format").Outcome)
	require.Empty(t, runCheck(t, s, "file.self_contained"), "a picture refers to nothing")
	f.WidthPx, f.Issues = 0, []mesh.Issue{{Code: "image.undecoded", Undecoded: true, Offset: -1, Message: "Not read here."}}
	require.Equal(t, NotEvaluated, run1(t, s, "file.format").Outcome)
}

func outcomeOf(list []Finding) Outcome {
	if len(list) == 0 {
		return ""
	}
	return list[0].Outcome
}

func TestFileRequired(t *testing.T) {
	t.Parallel()
	const asks = `
files:
  - {role: game, pattern: "{prop}.glb", needed: true}
  - {role: sculpt, pattern: "{prop}_sculpt.glb", needed: true, from: sculpt}
  - {role: map.normal, pattern: "{prop}_normal.png", needed: true, from: maps}
`
	b := namedProp("lid")
	s := b.subject(t, specOf(t, spec.MidGround, asks))
	f := run1(t, s, "file.required")
	require.Equal(t, Fail, f.Outcome)
	require.Equal(t, 2.0, f.Metrics["count"])
	require.Contains(t, f.Sentence, "map.normal, sculpt")

	// Inside the game file counts: a sculpt by node name, a normal map embedded.
	s.Sculpt = s.LODs[0]
	b.scene.Materials[0].Normal = b.scene.Materials[0].BaseTex
	require.Equal(t, Pass, run1(t, s, "file.required").Outcome)

	// An empty file is not a delivered one.
	s.Sculpt = nil
	s.Files = append(s.Files, &File{Path: "crate_a_sculpt.glb", Role: "sculpt", Bytes: 0})
	require.Equal(t, 1.0, run1(t, s, "file.required").Metrics["count"])

	// At an earlier milestone less is asked for.
	s.Files = s.Files[:1]
	s.Spec = specAt(t, spec.MidGround, spec.GameMesh, asks)
	b.scene.Materials[0].Normal.Image = -1
	require.Equal(t, 1.0, run1(t, s, "file.required").Metrics["count"], "the normal map is not due yet")

	require.True(t, delivered(&Subject{Files: []*File{{Role: "source.scene", Bytes: 1}}}, "source.*"))
	require.False(t, delivered(&Subject{Files: []*File{{Role: "sources", Bytes: 1}}}, "source.*"))
}
