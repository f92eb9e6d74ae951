package desk

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/words"
)

// called runs a command and returns its exit code and what it printed.
func called(t testing.TB, s Streams, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e text
	s.Out, s.Err = &o, &e
	code = Inspect(context.Background(), s, self(t), "", args)
	return code, o.String(), e.String()
}

// TestSmallMistakes: help goes to where output goes, and is no fault; a mistake is one line that says what to do.
func TestSmallMistakes(t *testing.T) {
	t.Parallel()
	folder, specPath := delivery(t, "crate")
	code, out, errs := called(t, Streams{}, "--help")
	require.Equal(t, ExitPass, code)
	require.Contains(t, out, "-language")
	require.Contains(t, out, "worker inspect --spec")
	require.Empty(t, errs)
	for _, row := range []struct{ args, want string }{
		{"--speck x y", "there is no --speck; did you mean --spec? (see: worker inspect --help)"},
		{"--zzz x y", "there is no --zzz (see"},
		{"--spec " + specPath + " --only uvs " + folder, `there is no family "uvs"; did you mean uv?`},
		{"--spec " + specPath + " --only bananas " + folder, `there is no family "bananas": they are file, names`},
		{"--spec " + specPath + " --threads x " + folder, `"x" does not fit --threads`},
		{"--spec " + specPath + " --language fr " + folder, "it does not speak"},
		{folder, "say which spec"},
		{"--spec " + specPath, "it takes one folder, and 0 were given"},
		{"--spec " + specPath + " --watch --json " + folder, "--watch is for one delivery"},
		{"--spec " + specPath + " " + folder + "-none", "there is no folder"},
	} {
		code, out, errs := called(t, Streams{}, strings.Fields(row.args)...)
		require.Equal(t, ExitWrongCall, code, row.args)
		require.Empty(t, out)
		require.Contains(t, errs, row.want)
		require.Equal(t, 1, strings.Count(errs, "\n"), "one line: %s", errs)
	}
}

func TestNearest(t *testing.T) {
	t.Parallel()
	names := []string{"inspect", "send", "explain", "serve", "uv"}
	for word, want := range map[string]string{"inpsect": "inspect", "inspct": "inspect", "sned": "send", "uvs": "uv", "explian": "explain", "zebra": "", "": "", "serve": "serve"} {
		require.Equal(t, want, Nearest(word, names), word)
	}
}

// TestAnyScriptInNames: folders named in any script, with spaces and against the direction of writing, are inspected; the
// table and the page speak the person's language.
func TestAnyScriptInNames(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"ящик № 2", "木箱", "صندوق", "crate of the yard", "Kiste ÄÖ", "e\u0301tui"} {
		folder, specPath := delivery(t, name)
		code, out, errs := called(t, Streams{Language: "de_DE.UTF-8"}, "--spec", specPath, "--no-pictures", folder)
		require.Contains(t, []int{ExitPass, ExitFail}, code, errs)
		require.Contains(t, out, "IN ORDNUNG: ")
		require.Contains(t, out, "Bericht: "+folder+"-evidence")
		page, err := os.ReadFile(filepath.Join(folder+"-evidence", ReportName))
		require.NoError(t, err)
		require.Contains(t, string(page), "<bdi>"+name+"</bdi>")
		require.Contains(t, string(page), `lang="de"`)
	}
}

// TestNotMeasuredAgain: what did not change is taken from before: a mark put on what was kept comes back; a changed file, a changed spec
// and --no-cache measure anew. The evidence is the same either way.
func TestNotMeasuredAgain(t *testing.T) {
	t.Parallel()
	folder, specPath := delivery(t, "crate")
	s := Streams{CacheDir: filepath.Join(t.TempDir(), "cache")}
	inspect := func(more ...string) string {
		t.Helper()
		code, out, errs := called(t, s, append([]string{"--spec", specPath, "--json", "--no-pictures", folder}, more...)...)
		require.Contains(t, []int{ExitPass, ExitFail}, code, errs)
		return out
	}
	first := inspect()
	require.Equal(t, first, inspect(), "nothing changed")
	require.Equal(t, first, inspect("--no-cache"))

	// Mark what is kept of the family uv, and take away the memory of the whole.
	marked := 0
	entries, err := os.ReadDir(s.CacheDir)
	require.NoError(t, err)
	for _, e := range entries {
		path := filepath.Join(s.CacheDir, e.Name())
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		var findings []acceptance.Finding
		if json.Unmarshal(data, &findings) != nil {
			require.NoError(t, os.Remove(path))
			continue
		}
		for i := range findings {
			if acceptance.FamilyOf(findings[i].Check) == "uv" && findings[i].Outcome == acceptance.Pass { // what does not apply is not measured at all
				findings[i].Labels = map[string]string{"mark": "kept"}
				marked++
			}
		}
		data, err = json.Marshal(findings)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(path, data, 0o644))
	}
	require.Positive(t, marked)
	require.Equal(t, marked, strings.Count(inspect(), `"mark":"kept"`), "kept findings are taken")
	require.NotContains(t, inspect("--no-cache"), "mark")
	require.NoError(t, os.WriteFile(filepath.Join(folder, "crate_game.obj"), []byte(box(1.001)), 0o644))
	require.NotContains(t, inspect(), "mark", "another file")
	require.NoError(t, os.WriteFile(filepath.Join(folder, "crate_game.obj"), []byte(box(1)), 0o644))
	require.Contains(t, inspect(), "mark", "the first file again")
	require.NoError(t, os.WriteFile(specPath, []byte(crateSpec+"title: other\n"), 0o644))
	require.NotContains(t, inspect(), "mark", "another spec")
}

// TestWatch: a saved file is answered, in words and with a new page; a broken spec is told and waited for; Ctrl-C ends it well.
func TestWatch(t *testing.T) {
	t.Parallel()
	folder, specPath := delivery(t, "crate")
	game := filepath.Join(folder, "crate_game.obj")
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	var out, errs text
	ended := make(chan int)
	go func() {
		s := Streams{Out: &out, Err: &errs, CacheDir: filepath.Join(filepath.Dir(folder), "cache")}
		ended <- Inspect(ctx, s, self(t), "", []string{"--spec", specPath, "--watch", "--no-pictures", folder})
	}()
	waits := func(want string, times int) {
		t.Helper()
		require.Eventually(t, func() bool { return strings.Count(out.String(), want) >= times }, time.Minute, 20*time.Millisecond,
			"%s\n%s", want, &out)
	}
	waits("Watching ", 1)
	before := out.String()
	require.NotContains(t, before, "too large")
	require.NoError(t, os.WriteFile(game, []byte(box(1.4)), 0o644))
	waits("saved: "+game, 1)
	waits("x is 400 mm too large", 1)
	waits("Watching ", 2)
	page, err := os.ReadFile(filepath.Join(folder+"-evidence", ReportName))
	require.NoError(t, err)
	require.Contains(t, string(page), "x is 400 mm too large")

	require.NoError(t, os.WriteFile(specPath, []byte("prop: ["), 0o644))
	waits("The spec cannot be used as it is", 1)
	require.NoError(t, os.WriteFile(specPath, []byte(strings.Replace(crateSpec, "[1000", "[1400", 1)), 0o644))
	waits("Watching ", 3)
	stop()
	require.Equal(t, ExitPass, <-ended)
	tail := out.String()[strings.LastIndex(out.String(), "saved: "):]
	require.NotContains(t, tail, "too large", "the spec that was saved counts")
}

// TestProgressIsSaid: what an inspection is at is said in the person's language, with the names as they are.
func TestProgressIsSaid(t *testing.T) {
	t.Parallel()
	folder, specPath := delivery(t, "crate")
	_, _, errs := called(t, Streams{Language: "de"}, "--spec", specPath, "--no-pictures", folder)
	require.Regexp(t, `(?m)^crate: \d+ %, prüft [a-z]+\.[a-z_]+$`, errs)
	require.NotContains(t, errs, "checking")
	require.NotContains(t, errs, "reading")
	english, _ := words.In("en")
	for what, want := range map[string]string{"hashing": "hashing", "hashing a.glb": "hashing a.glb", "sending a.glb": "sending a.glb", "pictures": "drawing pictures", "sorting the parts": "sorting the parts", "else": "else"} {
		require.Equal(t, want, doing(english, what))
	}
}

// TestBatch: a line for each delivery and a summary, in the person's language; with a folder to keep them in, a page each.
func TestBatch(t *testing.T) {
	t.Parallel()
	one, specPath := delivery(t, "one")
	folder := t.TempDir()
	for _, name := range []string{"good", "широкий"} {
		require.NoError(t, os.CopyFS(filepath.Join(folder, name), os.DirFS(one)))
	}
	require.NoError(t, os.WriteFile(filepath.Join(folder, "широкий", "crate_game.obj"), []byte(box(1.4)), 0o644))
	kept := filepath.Join(t.TempDir(), "kept")
	code, out, errs := called(t, Streams{Language: "de"}, "--spec", specPath, "--no-pictures", "--out", kept, folder)
	require.Equal(t, ExitFail, code, errs)
	require.Regexp(t, `(?m)^good +pass +technisch: `, out)
	require.Regexp(t, `(?m)^широкий +fail +technisch: 1 Mangel; zuerst: `, out)
	require.Contains(t, out, "Lieferungen: 2; technisch ohne Befund: 1, mit Mängeln: 1, nicht beurteilt: 0")
	for _, name := range []string{"good", "широкий"} {
		require.FileExists(t, filepath.Join(kept, name, ReportName))
	}
}

// TestDroppedFolder: which spec a folder without a command is judged by.
func TestDroppedFolder(t *testing.T) {
	t.Parallel()
	put := func(dir, name, content string) {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644))
	}
	lamp := strings.Replace(crateSpec, "crate", "lamp", 1)
	for _, row := range []struct {
		name  string
		files map[string]string
		want  string
		fault string
	}{
		{"beside", map[string]string{"crate.yaml": crateSpec}, "crate.yaml", ""},
		{"inside wins", map[string]string{"crate.yaml": crateSpec, "box/own.yml": crateSpec}, "box/own.yml", ""},
		{"other yaml does not count", map[string]string{"crate.yaml": crateSpec, "notes.yaml": "todo: [paint]"}, "crate.yaml", ""},
		{"of two, the prop's", map[string]string{"a.yaml": crateSpec, "lamp.yaml": lamp}, "a.yaml", ""},
		{"of two, the manifest's", map[string]string{"a.yaml": crateSpec, "b.json": `{"prop": "lamp", "tier": "background"}`, "box/delivery.yaml": "prop: lamp\nfiles: []\n"}, "b.json", ""},
		{"two of one prop", map[string]string{"a.yaml": crateSpec, "b.yaml": crateSpec}, "", "more than one spec (a.yaml, b.yaml)"},
		{"none", nil, "", "No spec was found"},
	} {
		dir := t.TempDir()
		put(dir, "box/crate_game.obj", box(1))
		for name, content := range row.files {
			put(dir, name, content)
		}
		var out, errs text
		shown := ""
		code := Dropped(context.Background(), Streams{Out: &out, Err: &errs, Open: func(p string) error { shown = p; return nil }}, self(t), filepath.Join(dir, "box"), []string{filepath.Join(dir, "box")})
		if row.fault != "" {
			require.Equal(t, ExitWrongCall, code, row.name)
			require.Contains(t, errs.String(), row.fault, row.name)
			continue
		}
		require.Contains(t, out.String(), "Judged by "+filepath.Join(dir, filepath.FromSlash(row.want)), "%s\n%s", row.name, &errs)
		require.Equal(t, filepath.Join(dir, "box-evidence", ReportName), shown, row.name)
		require.FileExists(t, shown)
	}
}

func TestFolderWithFlagsAndNoCommand(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	put := func(name, content string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(content), 0o644))
		return path
	}
	put("box/crate_game.obj", box(1))
	put("crate.yaml", crateSpec)
	other := put("elsewhere/strict.yaml", crateSpec)
	folder := filepath.Join(dir, "box")

	var out, errs text
	Dropped(t.Context(), Streams{Out: &out, Err: &errs}, self(t), folder, []string{folder, "--language", "de", "--no-pictures"})
	require.Contains(t, out.String(), "Geprüft nach", &errs)
	require.Contains(t, out.String(), "kein Meilenstein genannt")

	var again, faults text
	Dropped(t.Context(), Streams{Out: &again, Err: &faults}, self(t), folder, []string{"--milestone=game_mesh", "--spec", other, folder})
	require.NotContains(t, again.String(), "Judged by", "the spec was named")
	require.Contains(t, again.String(), "milestone game_mesh", &faults)
	require.NotContains(t, again.String(), "No milestone was named")
}

func TestOpeners(t *testing.T) {
	t.Parallel()
	for system, want := range map[string]string{"linux": "xdg-open", "freebsd": "xdg-open", "darwin": "open", "windows": "rundll32"} {
		name, args := opener(system, "/a b/報告.html")
		require.Equal(t, want, name)
		require.Equal(t, "/a b/報告.html", args[len(args)-1])
	}
}
