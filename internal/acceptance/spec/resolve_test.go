package spec

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func sha(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// resolveWith resolves a document whose parents lie in a map, by spec or spec@revision.
func resolveWith(text string, parents map[string]string) (*Spec, error) {
	d, err := Parse("s.yaml", []byte(text), testCatalogue())
	if err != nil {
		return nil, err
	}
	return Resolve(d, testCatalogue(), Final, func(r Ref) ([]byte, error) {
		for _, name := range []string{fmt.Sprintf("%s@%d", r.Spec, r.Revision), r.Spec} {
			if text, ok := parents[name]; ok {
				return []byte(text), nil
			}
		}
		return nil, fmt.Errorf("no such spec")
	})
}

// TestExtends: project, kit, prop; the nearest word wins, key by key, and every limit knows who said it.
func TestExtends(t *testing.T) {
	t.Parallel()
	project := "conventions: {green: down, hug: centred}\nview: {fov_deg: 60}\nchecks:\n  uv.padding: {min_px: 3, max_px: 50}\n  surface.poke_through: {mode: warns}\n"
	kit := "extends: [{spec: project, revision: 7}]\ntier: hero\nconventions: {hug: outside}\nparts:\n  - {name: lid, density: 0.5, checks: {surface.poke_through: {max_height_mm: 9}}}\n  - {name: body}\nchecks:\n  uv.padding: {min_px: 5, mode: not_applicable, reason: one tile for all}\n"
	prop := "prop: lantern\nextends: [{spec: kit, digest: " + sha(kit) + "}]\nparts:\n  - {name: glass, kind: glass}\n  - {name: lid, kind: sheet, checks: {surface.poke_through: {mode: reports}}}\nchecks:\n  uv.padding: {mode: blocks, max_px: off}\n"
	s, err := resolveWith(prop, map[string]string{"project@7": project, "kit": kit})
	require.NoError(t, err)

	require.Equal(t, "outside", s.Conventions.Hug)
	require.Equal(t, "down", s.Conventions.Green)
	require.Equal(t, 60.0, s.View.FOVDeg)
	require.Equal(t, 1.5, s.View.DistanceM, "the tier's preset, since nobody said it")
	require.Equal(t, Hero, s.Tier)

	r := s.Rule("uv.padding", nil, nil)
	require.Equal(t, Blocks, r.Mode)
	require.Empty(t, r.Reason, "a reason belongs to the mode that it was given for")
	require.Equal(t, 5.0, r.Numbers["min_px"])
	_, on := r.Num("max_px")
	require.False(t, on, "a child can turn a parent's limit off")
	kitName := "parent kit@" + sha(kit)[:8]
	require.Equal(t, kitName+" line 8", r.Origins["min_px"])
	require.Equal(t, "spec line 7", r.Origins["mode"])

	names := []string{}
	for _, p := range s.Parts {
		names = append(names, p.Name)
	}
	require.Equal(t, []string{"glass", "lid", "body"}, names, "new parts stand before the parents'")
	lid := s.Parts[1]
	require.Equal(t, Sheet, lid.Kind)
	require.Equal(t, 0.5, lid.Density)
	poke := s.Rule("surface.poke_through", &lid, nil)
	require.Equal(t, Reports, poke.Mode)
	require.Equal(t, 9.0, poke.Numbers["max_height_mm"])
	require.Equal(t, Warns, s.Rule("surface.poke_through", nil, nil).Mode)
	require.Equal(t, "parent project@7 line 5", s.Rule("surface.poke_through", nil, nil).Origins["mode"])
}

func TestExtendsRefused(t *testing.T) {
	t.Parallel()
	kit := "tier: hero\n"
	rows := []struct {
		name, text string
		parents    map[string]string
		want       string
	}{
		{"not pinned", "prop: a\nextends: [{spec: kit}]\n", nil, `s.yaml:2:11: extends[0]: "kit" is not pinned: write revision: or digest:`},
		{"not there", "prop: a\nextends: [{spec: kit, revision: 1}]\n", nil, `"kit" cannot be read: no such spec`},
		{"changed", "prop: a\nextends: [{spec: kit, digest: " + sha("x") + "}]\n", map[string]string{"kit": kit}, `but what was found is ` + sha(kit)[:12]},
		{"broken parent", "prop: a\nextends: [{spec: kit, revision: 2}]\n", map[string]string{"kit": "tier: hero\ncolour: red\n"}, `parent kit@2:2:1: colour: unknown key "colour"`},
		{"its own ancestor", "prop: a\ntier: mid\nextends: [{spec: a, revision: 1}]\n", map[string]string{"a": "extends: [{spec: b, revision: 1}]\n", "b": "extends: [{spec: a, revision: 1}]\n"}, `extends itself`},
		{"no prop", "extends: [{spec: kit, revision: 1}]\n", map[string]string{"kit": kit}, `the key "prop" is missing`},
		{"no tier", "prop: a\n", nil, `the key "tier" is missing`},
		{"axes", "prop: a\ntier: mid\nconventions: {up: +Z, forward: -Z}\n", nil, `up +Z and forward -Z lie on one axis`},
		{"no point", "prop: a\ntier: mid\nconventions: {origin_at: point}\n", nil, `origin_at: point needs origin_mm`},
		{"role without its token", "prop: a\ntier: mid\nfiles: [{role: 'map.{map}', pattern: 'x_*.png'}]\n", nil, `the role map.{map} is filled in from {map}, which its pattern x_*.png does not hold`},
		{"unknown neighbour", "prop: a\ntier: mid\nparts: [{name: lid, may_cross: [boody]}]\n", nil, `there is no part "boody"`},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			_, err := resolveWith(r.text, r.parents)
			require.ErrorContains(t, err, r.want)
		})
	}
	_, err := Resolve(&Document{root: &value{}}, testCatalogue(), "finale", nil)
	require.ErrorContains(t, err, `Did you mean "final"?`)
}

// TestSiblings: parents as files beside the spec; nothing outside the folder is read.
func TestSiblings(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "specs", "kits"), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "secret.yaml"), []byte("tier: mid\n"), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "specs", "kit.yaml"), []byte("tier: mid\n"), 0o644))
	require.NoError(t, os.Symlink("../secret.yaml", filepath.Join(dir, "specs", "link.yaml")))
	find := Siblings(filepath.Join(dir, "specs"))
	pin := sha("tier: mid\n")
	data, err := find(Ref{Spec: "kit.yaml", Digest: pin})
	require.NoError(t, err)
	require.Equal(t, "tier: mid\n", string(data))
	for _, name := range []string{"../secret.yaml", "link.yaml", "/etc/passwd", `..\secret.yaml`, "kits", "none.yaml", "kits/../kit.yaml"} {
		_, err := find(Ref{Spec: name, Digest: pin})
		require.Error(t, err, name)
	}
	_, err = find(Ref{Spec: "kit", Revision: 3})
	require.ErrorContains(t, err, `no file "kit-spec-3.yaml"`)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "specs", FileName("kit", 3)), []byte("tier: hero\n"), 0o644))
	data, err = find(Ref{Spec: "kit", Revision: 3})
	require.NoError(t, err)
	require.Equal(t, "tier: hero\n", string(data))
	_, err = find(Ref{Spec: "../kit", Revision: 3})
	require.ErrorContains(t, err, "not the name of a file")
}

// TestKinds: a kind makes a check not applicable, with its reason, unless the part itself gives the check a mode.
func TestKinds(t *testing.T) {
	t.Parallel()
	s := mustResolve(t, "prop: a\ntier: hero\nparts: [{name: fern, kind: card}, {name: leaf, kind: card, checks: {surface.poke_through: {mode: warns}}}]\nsets: [{name: wall, kind: tiling}]\n", Final)
	r := s.Rule("surface.poke_through", &s.Parts[0], nil)
	require.Equal(t, NotAppl, r.Mode)
	require.Equal(t, "A card has no sculpt.", r.Reason)
	require.Equal(t, `kind card of part "fern", by spec`, r.Origins["mode"])
	require.Equal(t, Warns, s.Rule("surface.poke_through", &s.Parts[1], nil).Mode)
	require.Equal(t, NotAppl, s.Rule("uv.padding", nil, &s.Sets[0]).Mode)
	require.Equal(t, Blocks, s.Rule("uv.padding", nil, nil).Mode)
	require.Equal(t, Reports, s.Rule("no.such", nil, nil).Mode)
}

// TestGating: a rule counts at its milestones and reports at the others; the spec can say from when on.
func TestGating(t *testing.T) {
	t.Parallel()
	rows := []struct {
		spec string
		at   Milestone
		want Mode
		from []Milestone
	}{
		{"", GameMesh, Blocks, nil},
		{"", BlockOut, Reports, []Milestone{GameMesh, Maps, Final}},
		{"checks: {budget.triangles: {from: block_out}}", BlockOut, Blocks, nil},
		{"checks: {budget.triangles: {from: [sculpt, final]}}", Maps, Reports, []Milestone{Sculpt, Final}},
		{"checks: {budget.triangles: {mode: not_applicable, reason: a card}}", BlockOut, NotAppl, nil},
	}
	for _, r := range rows {
		s := mustResolve(t, "prop: a\ntier: mid\n"+r.spec+"\n", r.at)
		got := s.Rule("budget.triangles", nil, nil)
		require.Equal(t, r.want, got.Mode, "%s at %s", r.spec, r.at)
		require.Equal(t, r.from, got.CountsFrom)
	}
	s := mustResolve(t, "prop: a\ntier: mid\nfiles: [{role: game, pattern: 'x.glb', needed: true, from: game_mesh}, {role: map.normal, needed: true, from: maps}]\n", GameMesh)
	require.Equal(t, []string{"game"}, s.Requires)
	require.Equal(t, []string{"game", "map.normal"}, s.At(Final).Requires)
	require.Empty(t, s.At(Sculpt).Requires)
	require.Equal(t, s.Digest, s.At(Final).Digest)
}

// TestDigest: what is demanded makes the digest, not where or how it is written.
func TestDigest(t *testing.T) {
	t.Parallel()
	yaml := mustResolve(t, "# a comment\nprop: a\ntier: mid\nchecks:\n  uv.padding: {min_px: 3}\n", Final)
	json := mustResolve(t, `{"tier": "mid", "checks": {"uv.padding": {"min_px": 3.0}}, "prop": "a"}`, Maps)
	require.Equal(t, yaml.Digest, json.Digest)
	kit := "checks: {uv.padding: {min_px: 3}}\n"
	inherited, err := resolveWith("prop: a\ntier: mid\nextends: [{spec: kit, revision: 1}]\n", map[string]string{"kit": kit})
	require.NoError(t, err)
	require.Equal(t, yaml.Digest, inherited.Digest)
	for _, other := range []string{
		"prop: a\ntier: mid\nchecks: {uv.padding: {min_px: 4}}\n", "prop: a\ntier: mid\nchecks: {uv.padding: {min_px: 3, mode: reports}}\n",
		"prop: a\ntier: mid\nchecks: {uv.padding: {min_px: 3}}\nconventions: {green: down}\n", "prop: a\ntier: mid\nchecks: {uv.padding: {min_px: 3}}\nparts: [{name: x}]\n",
		"prop: a\ntier: mid\nchecks: {uv.padding: {min_px: 3, max_px: 9}}\n", "prop: a\ntier: mid\nchecks: {uv.padding: {min_px: 3}}\nfiles: [{role: game, needed: true}]\n",
	} {
		require.NotEqual(t, yaml.Digest, mustResolve(t, other, Final).Digest, other)
	}
}

// TestExplain: every limit with its origin, for the one who writes specs.
func TestExplain(t *testing.T) {
	t.Parallel()
	s := mustResolve(t, "prop: lantern\ntitle: Quay lantern\ntier: hero\nsize_mm: [180, 320, 180]\nparts: [{name: fern, kind: card, checks: {surface.poke_through: {max_height_mm: 7}}}]\nchecks:\n  uv.padding: {min_px: 6}\n  surface.poke_through: {mode: not_applicable, reason: no sculpt is ordered}\n", GameMesh)
	var b strings.Builder
	require.NoError(t, Explain(&b, s))
	out := b.String()
	for _, want := range []string{
		"digest " + s.Digest, "min_px                             6 px  <- spec line 7",
		"max_triangles                      20000 count  <- preset hero (common practice, no source)",
		"not_applicable: no sculpt is ordered  <- spec line 8", "max_px                             off",
		"distance_m                         1.5  <- preset hero (common practice, no source)", "green                              up  <- default",
		"size_mm                            [180 320 180]  <- spec line 4",
	} {
		require.Contains(t, out, want)
	}
}

func TestPatterns(t *testing.T) {
	t.Parallel()
	tokens := Tokens{Prop: "quay.lantern", Sets: []string{"metal", "metal_old"}}
	rows := []struct {
		pattern, name string
		want          map[string]string // nil: no match
	}{
		{"{prop}_{part}", "quay.lantern_lid_top", map[string]string{"prop": "quay.lantern", "part": "lid_top"}},
		{"{prop}_{part}", "quayxlantern_lid", nil},
		{"{prop}_{part}_lod{lod}", "quay.lantern_lid_lod2", map[string]string{"prop": "quay.lantern", "part": "lid", "lod": "2"}},
		{"{prop}_{set}_{map}.*", "quay.lantern_metal_old_base_color.png", map[string]string{"prop": "quay.lantern", "set": "metal_old", "map": "base_color"}},
		{"{map}", "normal_baked", map[string]string{"map": "normal_baked"}},
		{"{map}", "albino", nil},
		{"plank_{n}", "plank_007", map[string]string{"n": "007"}},
		{"plank_?", "plank_7", map[string]string{}},
		{"plank_?", "plank_77", nil},
		{"a.b", "axb", nil},
		{"/[a-z]+_[0-9]{2}/", "bolt_12", map[string]string{}},
		{"/[a-z]+_[0-9]{2}/", "my bolt_12", nil},
	}
	for _, r := range rows {
		p, err := CompilePattern(r.pattern, tokens)
		require.NoError(t, err)
		got, ok := p.Match(r.name)
		require.Equal(t, r.want != nil, ok, "%s on %s", r.pattern, r.name)
		if ok {
			require.Equal(t, r.want, got)
		}
	}
	for _, bad := range []string{"{", "a}", "{prop}{prop}", "{porp}", "/(/", "/(?P<x/"} {
		_, err := CompilePattern(bad, tokens)
		require.Error(t, err, bad)
	}
	folded, err := CompilePattern("{prop}_lid", Tokens{Prop: "Lantern", Fold: true})
	require.NoError(t, err)
	require.True(t, folded.Fits("LANTERN_Lid"))
}
