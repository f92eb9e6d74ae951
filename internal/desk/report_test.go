package desk

import (
	"bytes"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/words"
	"proofhouse/internal/inspection"
)

// reported is the page of a made-up inspection with one of everything, and with names that try to be more than names.
func reported(t *testing.T, tag string) (page string, e *acceptance.Evidence) {
	t.Helper()
	folder, specPath := delivery(t, "crate")
	out := t.TempDir()
	var pic bytes.Buffer
	require.NoError(t, png.Encode(&pic, image.NewGray(image.Rect(0, 0, 7, 5))))
	for _, name := range []string{"prop_lit.png", "uv_density.png"} {
		require.NoError(t, os.WriteFile(filepath.Join(out, name), pic.Bytes(), 0o644))
	}
	require.NoError(t, os.WriteFile(filepath.Join(out, "model.glb"), []byte("glTF"), 0o644))
	_, resolved, err := readSpec(words.English(), specPath, "")
	require.NoError(t, err)
	lod := 1
	evil := `<script src="https://evil.example/x.js">`
	says := words.P("budget.triangles.over", words.Count(0), words.Count(12480), words.Count(480), words.Count(12000))
	e = &acceptance.Evidence{
		Spec: acceptance.SpecRef{Prop: "crate", Digest: strings.Repeat("cd", 32), Tier: "background", Milestone: "final"}, Engine: acceptance.Engine{Version: "1", Commit: strings.Repeat("ab", 32)},
		Verdict: acceptance.VerdictFail, Headline: "technical: 1 issue; the first: …",
		Inputs: []acceptance.Input{{Path: evil, Role: "game", Bytes: 2048, SHA256: strings.Repeat("ef", 32)}},
		Findings: []acceptance.Finding{
			{Check: "budget.triangles", Outcome: acceptance.Fail, Blocks: true, Sentence: words.English().Sentence(says), Says: []words.Phrase{says}, Why: "Every triangle is paid for.",
				Remedy: "x", Does: []words.Phrase{words.P("budget.triangles.take_out")}, Measured: &acceptance.Value{Value: 12480, Unit: "count"},
				Limit: map[string]float64{"max_triangles": 12000}, Pictures: []string{"uv_density.png", "model.glb"},
				Where: []acceptance.Place{{Node: evil, Side: "left"}, {Node: "b"}, {Node: "c"}, {Node: "d"}, {Node: "e"}, {Node: "f"}}},
			{Check: "budget.vertices", LOD: &lod, Outcome: acceptance.Warn, FollowsFrom: "budget.triangles", Sentence: "Follows."},
			{Check: "uv.texel_density", Set: "main", Outcome: acceptance.Warn, Sentence: "Uneven.", Pictures: []string{"uv_density.png"}},
			{Check: "topology.winding", Outcome: acceptance.NotEvaluated, Blocks: true, Sentence: "Nothing to measure."},
			{Check: "topology.slivers", Part: "lid", Outcome: acceptance.NotEvaluated, Blocks: true, Sentence: "Nothing to measure."},
			{Check: "uv.range", Outcome: acceptance.Pass, Sentence: "Inside."},
			{Check: "uv.strips", Outcome: acceptance.NotApplicable, Sentence: "No strips."},
		},
		Exempt:   []acceptance.Exempt{{What: "part", Reason: "by the spec", AreaShare: 0.125}},
		Pictures: []acceptance.PicRef{{Name: "prop_lit.png", What: "The prop, lit."}, {Name: "uv_density.png", What: "Islands by density."}, {Name: "model.glb", What: "A model."}},
	}
	l, _ := words.In(tag)
	var b bytes.Buffer
	require.NoError(t, WriteReport(&b, l, e, resolved, out, filepath.Base(folder), []acceptance.Question{{Path: "a.png", Why: "What is it?"}}))
	return b.String(), e
}

// TestReportStandsAlone: the page carries its pictures, names nothing outside itself, runs nothing, and shows names as names.
func TestReportStandsAlone(t *testing.T) {
	t.Parallel()
	page, _ := reported(t, "en")
	root, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	images, ids := 0, map[string]bool{}
	var links []string
	var walk func(*html.Node)
	walk = func(n *html.Node) {
		if n.Type == html.ElementNode {
			require.NotContains(t, []string{"script", "link", "iframe", "object", "embed", "base", "form"}, n.Data)
			for _, a := range n.Attr {
				require.False(t, strings.HasPrefix(a.Key, "on"), "%s on %s", a.Key, n.Data)
				switch a.Key {
				case "src":
					require.True(t, strings.HasPrefix(a.Val, "data:image/png;base64,"), a.Val)
					images++
				case "href":
					links = append(links, a.Val)
				case "id":
					require.False(t, ids[a.Val], "two things are called %s", a.Val)
					ids[a.Val] = true
				case "alt":
					require.NotEmpty(t, a.Val)
				}
			}
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(root)
	require.Equal(t, 2, images, "each picture once, and a model is none")
	for _, l := range links {
		require.True(t, strings.HasPrefix(l, "#") && ids[l[1:]], l)
	}
	require.NotContains(t, page, "ZgotmplZ", "the template language refused a value")
	require.NotContains(t, page, "@import")
	require.NotContains(t, page, "url(")
	require.True(t, strings.Contains(page, `content="default-src 'none'; img-src data:; style-src 'unsafe-inline'"`))
	require.Contains(t, page, `&lt;script src=`)
}

// TestReportSaysIt: what is the matter, why, what to do, where, the limit with its origin; in the reader's language.
func TestReportSaysIt(t *testing.T) {
	t.Parallel()
	for tag, wants := range map[string][]string{
		"en": {"Issues found", "LOD 0 draws 12,480 triangles: 480 more than the budget of 12,000.", "Why it matters:", "Take out edges", "and 1 place more in the evidence",
			"Follows from it:", "budget.vertices (LOD 1)", "The same holds for:", "slivers (part lid)", "12.5 % of the surface", "The limits in force", "preset background", "2.0 KiB", "What the names leave open", "texel density"},
		"de": {"Mängel gefunden", "LOD 0 zeichnet 12.480 Dreiecke: 480 mehr als das Budget von 12.000.", "Warum es zählt:", "Kanten entfernen", "und 1 weitere Stelle im Nachweis",
			"Daraus folgt:", "12,5 % der Oberfläche", "Die geltenden Grenzen", "Texeldichte", "Jedes Dreieck kostet", "technisch: 1 Mangel", "2,0 KiB"},
	} {
		page, _ := reported(t, tag)
		for _, want := range wants {
			require.True(t, strings.Contains(page, want), "%s: %s", tag, want)
		}
		require.NotContains(t, page, "[report.", tag)
	}
}

// TestReportOfARealInspection: what the inspector leaves behind becomes a page with its pictures.
func TestReportOfARealInspection(t *testing.T) {
	t.Parallel()
	folder, specPath := delivery(t, "crate")
	code, _, errs := called(t, Streams{}, "--spec", specPath, folder)
	require.Contains(t, []int{ExitPass, ExitFail}, code, errs)
	out := folder + "-evidence"
	e, _, err := inspection.ReadEvidence(out)
	require.NoError(t, err)
	page, err := os.ReadFile(filepath.Join(out, ReportName))
	require.NoError(t, err)
	pngs := 0
	for _, p := range e.Pictures {
		if strings.HasSuffix(p.Name, ".png") {
			pngs++
		}
	}
	require.Positive(t, pngs)
	require.Equal(t, pngs, strings.Count(string(page), `src="data:image/png;base64,`))
}
