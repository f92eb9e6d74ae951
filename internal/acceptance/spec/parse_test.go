package spec

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestFaultsHavePlaces: every fault is told with file, line, column, path and what to do.
func TestFaultsHavePlaces(t *testing.T) {
	t.Parallel()
	rows := []struct {
		name, text string
		want       []string // whole faults, or where they begin
	}{
		{"unknown key with a neighbour", "prop: lantern\ntiers: hero\n", []string{`s.yaml:2:1: tiers: unknown key "tiers". Did you mean "tier"?`}},
		{"swapped letters", "porp: lantern\n", []string{`s.yaml:1:1: porp: unknown key "porp". Did you mean "prop"?`}},
		{"unknown check", "checks:\n  uv.pading:\n    min_px: 2\n", []string{`s.yaml:2:3: checks.uv.pading: unknown key "uv.pading". Did you mean "uv.padding"?`}},
		{"a check without its family", "checks:\n  padding: {min_px: 2}\n", []string{`s.yaml:2:3: checks.padding: unknown key "padding". Did you mean "uv.padding"?`}},
		{"a check where none may stand", "padding: 2\n", []string{`s.yaml:1:1: padding: unknown key "padding". Did you mean "checks: uv.padding"?`}},
		{"unknown limit", "checks:\n  uv.padding:\n    min_pixel: 2\n", []string{`s.yaml:3:5: checks.uv.padding.min_pixel: unknown key "min_pixel". Did you mean "min_px"?`}},
		{"limit like no other", "checks:\n  uv.padding:\n    tolerance: 2\n", []string{`s.yaml:3:5: checks.uv.padding.tolerance: unknown key "tolerance". Known here: mode, reason, from, min_px or max_px.`}},
		{"wrong type", "checks: {uv.padding: {min_px: wide}}\n", []string{`s.yaml:1:31: checks.uv.padding.min_px: expected a number from 0 to 1e+12, or the word off, found "wide"`}},
		{"out of range", "view:\n  fov_deg: 500\n", []string{`s.yaml:2:12: view.fov_deg: expected a number from 1 to 170, found 500`}},
		{"wrong word", "tier: heroo\n", []string{`s.yaml:1:7: tier: expected one of background, mid, hero or close_up, found "heroo". Did you mean "hero"?`}},
		{"reason missing", "checks:\n  uv.padding: {mode: not_applicable}\n", []string{`s.yaml:2:15: checks.uv.padding: mode not_applicable needs a reason`}},
		{"key twice", "prop: a\ntier: hero\nprop: b\n", []string{`s.yaml:3:1: prop: the key "prop" is given twice, first on line 1`}},
		{"part twice", "parts:\n  - name: lid\n  - name: lid\n", []string{`s.yaml:3:11: parts[1].name: "lid" is given twice`}},
		{"bad token", "files:\n  - role: game\n    pattern: '{prpo}.glb'\n", []string{`s.yaml:3:14: files[0].pattern: the pattern "{prpo}.glb" has the token {prpo}, which is not known. Did you mean "prop"?`}},
		{"bad expression", "parts: [{name: lid, match: ['/(/']}]\n", []string{`s.yaml:1:29: parts[0].match[0]: the expression /(/ cannot be used`}},
		{"anchor", "title: &t Lantern\nprop: lantern\n", []string{`s.yaml:1:8: title: anchors and aliases are not read`}},
		{"all at once", "colour: red\ntier: 3\nsize_mm: [1, 2]\n", []string{
			`s.yaml:1:1: colour: unknown key`, `s.yaml:2:7: tier: expected one of`, `s.yaml:3:10: size_mm: the list has 2 entries, expected 3`}},
		{"a column in characters", "title: {ä: 1, ö: 2}\n", []string{`s.yaml:1:8: title: expected a text, found keys and values`}},
		{"not YAML", "prop: [lantern\ntier: hero\n", []string{`s.yaml:`}},
		{"empty", "", []string{`s.yaml: the document is empty`}},
		{"only a comment", "# nothing\n", []string{`s.yaml: the document is empty`}},
		{"two documents", "prop: a\n---\nprop: b\n", []string{`s.yaml:`}},
		{"a list", "- prop\n", []string{`s.yaml:1:1: expected keys and values, found a list`}},
		{"not UTF-8", "prop: \xff\n", []string{`s.yaml: the document is not UTF-8 text`}},
		{"infinite", "view: {distance_m: .inf}\n", []string{`s.yaml:1:20: view.distance_m: .inf is not a finite number`}},
		{"merge key", "parts:\n  - {<<: {name: a}}\n", []string{`s.yaml:2:6: parts[0]: a key must be a plain word; merge keys are not read`, `s.yaml:2:5: parts[0]: the key "name" is missing`}},
		// The same in JSON: tabs and surrogate pairs are JSON's own, lines and columns hold.
		{"JSON unknown key", "{\n\t\"prop\": \"lantern\",\n\t\"tierr\": \"hero\"\n}\n", []string{`s.yaml:3:2: tierr: unknown key "tierr". Did you mean "tier"?`}},
		{"JSON wrong type", "{\"title\": \"\\ud83d\\ude00\", \"size_mm\": [1, \"2\", 3]}\n", []string{`s.yaml:1:42: size_mm[1]: expected a number above 0 and at most 1e+06, found "2"`}},
		{"JSON key twice", "{\"prop\": \"a\",\n \"prop\": \"b\"}", []string{`s.yaml:2:2: prop: the key "prop" is given twice, first on line 1`}},
		{"JSON cut short", "{\"prop\": \"a\",", []string{`s.yaml:1:14: not JSON: the document ends in the middle`}},
		{"JSON with a comma too many", "{\"prop\": \"a\",}", []string{`s.yaml:1:14: not JSON: `}},
		{"JSON and more", "{\"prop\": \"a\"} x", []string{`s.yaml:1:1`}},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			_, err := Parse("s.yaml", []byte(r.text), testCatalogue())
			require.Error(t, err)
			faults, ok := err.(Faults)
			require.True(t, ok, "%T", err)
			require.Len(t, faults, len(r.want), "%v", faults)
			for i, want := range r.want {
				require.True(t, strings.HasPrefix(faults.sorted()[i].String(), want) || contains(faults, want), "got  %s\nwant %s", faults, want)
			}
		})
	}
}

func contains(fs Faults, prefix string) bool {
	for _, f := range fs {
		if strings.HasPrefix(f.String(), prefix) {
			return true
		}
	}
	return false
}

// TestHostile: small documents that would grow, nest or confuse are refused quickly.
func TestHostile(t *testing.T) {
	t.Parallel()
	bomb := "a: &a [x,x,x,x,x,x,x,x,x]\n"
	for c := 'b'; c < 'k'; c++ {
		bomb += fmt.Sprintf("%c: &%c [*%c,*%c,*%c,*%c,*%c,*%c,*%c,*%c]\n", c, c, c-1, c-1, c-1, c-1, c-1, c-1, c-1, c-1)
	}
	rows := map[string]string{
		"alias bomb":       bomb,
		"alias to itself":  "title: &a [*a]\n",
		"deep flow":        strings.Repeat("[", 20000),
		"deep JSON":        `{"parts":` + strings.Repeat("[", 100000),
		"too long":         "title: " + strings.Repeat("x", maxBytes),
		"many unknown":     strings.Repeat("x", 10) + ": 1\n" + manyKeys(50000),
		"NUL":              "prop: a\x00b\n",
		"tab for indent":   "view:\n\tdistance_m: 1\n",
		"tag":              "prop: !!binary aGVsbG8=\n",
		"number as prop":   "prop: 0x10\n",
		"date as title":    "title: 2026-01-01\n",
		"yes as node flag": "files: [{role: game, node: yes}]\n",
	}
	for name, text := range rows {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := Parse("s.yaml", []byte(text), testCatalogue())
			require.Error(t, err)
			require.LessOrEqual(t, len(err.(Faults)), maxFaults)
		})
	}
}

func manyKeys(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "k%d: 1\n", i)
	}
	return b.String()
}

func FuzzParse(f *testing.F) {
	for _, d := range documents {
		f.Add([]byte(d.text))
	}
	f.Add([]byte(`{"prop": "a", "size_mm": [1e2, 2, 3]}`))
	c := testCatalogue()
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := Parse("s.yaml", data, c)
		if err != nil {
			if len(err.(Faults)) == 0 {
				t.Fatal("refused without a reason")
			}
			return
		}
		s, err := Resolve(d, c, Final, nil)
		if err == nil && len(s.Digest) != 64 {
			t.Fatal("no digest")
		}
	})
}

// FuzzManifest reads delivery.yaml as a vendor may write it: what is taken has plain paths, each once, and sizes that are none below 0.
func FuzzManifest(f *testing.F) {
	f.Add([]byte("prop: bollard\nmilestone: final\nfiles:\n  - {path: a/b.glb, role: game, sha256: 00, bytes: 12}\n"))
	f.Add([]byte(`{"files": [{"path": "../a", "role": "game"}, {"path": "A", "role": "cage"}, {"path": "a", "role": "cage"}], "revision": 1e9}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := ParseManifest("delivery.yaml", data)
		if err != nil {
			if len(err.(Faults)) == 0 {
				t.Fatal("refused without a reason")
			}
			return
		}
		seen := map[string]bool{}
		for _, file := range m.Files {
			if !filepath.IsLocal(file.Path) || seen[file.Path] || file.Bytes != nil && *file.Bytes < 0 {
				t.Fatalf("%+v was taken", file)
			}
			seen[file.Path] = true
		}
	})
}
