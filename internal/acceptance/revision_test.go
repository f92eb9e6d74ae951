package acceptance

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// exportedAgain is the same primitive as another program would write it: triangles in another order, each beginning at
// another corner, vertices numbered anew, some split in two that were one.
func exportedAgain(p mesh.Primitive, r *rand.Rand) mesh.Primitive {
	out := p
	out.Pos, out.Nrm, out.UV, out.Tri = nil, nil, [][]float32{nil}, nil
	for _, t := range r.Perm(len(p.Tri) / 3) {
		turn := r.IntN(3)
		for k := range 3 {
			v := p.Tri[3*t+(k+turn)%3]
			out.Tri = append(out.Tri, uint32(len(out.Pos)/3))
			out.Pos = append(out.Pos, p.Pos[3*v:3*v+3]...)
			out.Nrm = append(out.Nrm, p.Nrm[3*v:3*v+3]...)
			out.UV[0] = append(out.UV[0], p.UV[0][2*v:2*v+2]...)
		}
	}
	return out
}

func contentOfPrim(p mesh.Primitive) Content {
	b := newProp("crate_a.glb")
	b.material("wood", 256)
	b.node("crate", identity16, p)
	sf := mesh.Flatten(b.scene, b.scene.Draws)
	c := surfaceContent(&sf, 2, true)
	c.Role = "game"
	return c
}

// The same mesh exported again is the same; one that was rounded anew is the same but for rounding; a moved corner, a
// normal, a UV, another triangulation and a face turned round are changes, and told apart.
func TestContentOfAReexport(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		p := drumOf(0, rapid.IntRange(8, 200).Draw(t, "sides"), 0.3, 0.9)
		first := contentOfPrim(p)
		moved, rounded := contentOfPrim(exportedAgain(p, r)).moved(first)
		require.Empty(t, moved)
		require.False(t, rounded, "not a bit differs")

		near := exportedAgain(p, r)
		for i := range near.Pos { // half the coordinates end one step of float32 further
			if r.IntN(2) == 0 {
				near.Pos[i] = math.Nextafter32(near.Pos[i], float32(r.IntN(3)-1))
			}
		}
		moved, rounded = contentOfPrim(near).moved(first)
		require.Empty(t, moved)
		require.True(t, rounded)

		v := r.IntN(len(p.Tri) / 3) // of the round side: its corners come first, and none is a sliver's
		other := clonePrim(p)
		other.Pos[3*v+1] += 0.02
		require.Equal(t, []string{"shape"}, first2(contentOfPrim(exportedAgain(other, r)).moved(first)))

		other = clonePrim(p)
		other.Nrm[3*v], other.Nrm[3*v+1], other.Nrm[3*v+2] = 0, 0.6*other.Nrm[3*v+2], -0.8
		require.Equal(t, []string{"shading"}, first2(contentOfPrim(exportedAgain(other, r)).moved(first)))

		other = clonePrim(p)
		other.UV[0][2*v] += 0.05
		require.Equal(t, []string{"layout"}, first2(contentOfPrim(exportedAgain(other, r)).moved(first)))

		other = clonePrim(p)
		other.Tri[1], other.Tri[2] = other.Tri[2], other.Tri[1]
		require.Contains(t, first2(contentOfPrim(other).moved(first)), "shape", "a face turned round")

		other = clonePrim(p) // a side's quad 0,1,2,3 is cut along 0-2; the other way is 1-3
		q := other.Tri[:6]
		a, b, c, d := q[0], q[1], q[2], q[5]
		copy(q, []uint32{a, b, d, b, c, d})
		require.Contains(t, first2(contentOfPrim(other).moved(first)), "shape", "the other diagonal shades differently")
	})
}

func first2(what []string, _ bool) []string { return what }

func clonePrim(p mesh.Primitive) mesh.Primitive {
	p.Pos, p.Nrm, p.Tri = slices.Clone(p.Pos), slices.Clone(p.Nrm), slices.Clone(p.Tri)
	p.UV = [][]float32{slices.Clone(p.UV[0])}
	return p
}

// again inspects a folder against the evidence of an earlier inspection, which comes out of its canonical bytes as it
// does in use.
func again(t *testing.T, sp *spec.Spec, folder string, before *Result) *Result {
	t.Helper()
	var old *Evidence
	if before != nil {
		old = &Evidence{}
		require.NoError(t, json.Unmarshal(before.Canonical, old))
	}
	r, err := Inspect(context.Background(), Job{Spec: sp, Folder: folder, Threads: 2, Previous: old})
	require.NoError(t, err)
	return r
}

func hasFinding(e *Evidence, check string) bool {
	return slices.ContainsFunc(e.Findings, func(f Finding) bool { return f.Check == check })
}

// Two deliveries of one bollard: the first says nothing of a delivery before; the same again is told; a change in one
// part and one map is told as that; what it breaks is named.
func TestRevisions(t *testing.T) {
	t.Parallel()
	sp := specFromText(t, "prop: bollard\ntier: mid\nsize_mm: [420, 700, 420]\n", spec.Final)
	dir := writeFolder(t, map[string]any{"bollard_base_color.png": pngOf(t, 1024)})
	writeBollard(t, dir, func(*glbwrite.Prim) {})
	first := again(t, sp, dir, nil)
	require.False(t, hasFinding(first.Evidence, "revision.same"))
	require.Nil(t, first.Evidence.Previous)
	require.NotEmpty(t, first.Evidence.Content)

	same := again(t, sp, dir, first)
	require.Equal(t, first.SHA256, same.Evidence.Previous.SHA256, "the evidence names what it was compared with")
	f := findingOf(t, same.Evidence, "revision.same")
	require.Equal(t, Warn, f.Outcome)
	require.Contains(t, f.Sentence, "Nothing changed")
	require.Equal(t, first.Evidence.Verdict, same.Evidence.Verdict)
	require.Zero(t, findingOf(t, same.Evidence, "revision.changed").Metrics["numbers"])
	require.Equal(t, same.Canonical, again(t, sp, dir, first).Canonical, "the same bytes and the same delivery before give the same evidence")

	// The file written anew with a node's mesh exported again: other bytes, the same content.
	writeBollard(t, dir, func(p *glbwrite.Prim) {
		p.Tri = append(slices.Clone(p.Tri[6:]), p.Tri[:6]...)
	})
	f = findingOf(t, again(t, sp, dir, first).Evidence, "revision.same")
	require.Equal(t, Warn, f.Outcome, "the order of triangles is no change")

	// Now the body grows by 30 mm, out of its contracted size, and the base colour is painted anew.
	writeBollard(t, dir, func(p *glbwrite.Prim) {
		for i := 0; i < len(p.Pos); i += 3 {
			if p.Pos[i] > 0 {
				p.Pos[i] += 0.03
			}
		}
	})
	img := pngOf(t, 1024)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "bollard_base_color.png"), append(img, 0), 0o644))
	changed := again(t, sp, dir, first)
	require.Equal(t, Pass, findingOf(t, changed.Evidence, "revision.same").Outcome)
	f = findingOf(t, changed.Evidence, "revision.changed")
	require.Equal(t, 1.0, f.Metrics["parts"], f.Sentence)
	require.Equal(t, 1.0, f.Metrics["maps"], f.Sentence)
	require.Positive(t, f.Metrics["numbers"])
	f = findingOf(t, changed.Evidence, "revision.regressed")
	require.Equal(t, Warn, f.Outcome)
	require.Positive(t, f.Metrics["failed"])
	notes := ""
	for _, p := range f.Where {
		notes += p.Note + "\n"
	}
	require.Contains(t, notes, "scene.size")

	// And mended again, held against the broken one.
	writeBollard(t, dir, func(*glbwrite.Prim) {})
	mended := again(t, sp, dir, changed)
	f = findingOf(t, mended.Evidence, "revision.regressed")
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	require.Positive(t, f.Metrics["mended"])
}

func writeBollard(t *testing.T, dir string, edit func(*glbwrite.Prim)) {
	t.Helper()
	n := glbBoxNode("bollard_body", [3]float32{-.21, 0, -.21}, [3]float32{.21, .7, .21}, &glbwrite.Material{Name: "bollard"})
	edit(&n.Mesh.Prims[0])
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "bollard_game.glb"), glbwrite.Scene{Roots: []*glbwrite.Node{n}}))
}

func TestRevisionOfAnotherProp(t *testing.T) {
	t.Parallel()
	sp := specFromText(t, "prop: bollard\ntier: mid\n", spec.Final)
	dir := t.TempDir()
	writeBollard(t, dir, func(*glbwrite.Prim) {})
	_, err := Inspect(context.Background(), Job{Spec: sp, Folder: dir, Previous: &Evidence{Spec: SpecRef{Prop: "buoy"}}})
	require.ErrorIs(t, err, ErrDelivery)
	r, err := Inspect(context.Background(), Job{Spec: sp, Folder: dir, Previous: &Evidence{Spec: SpecRef{Prop: "bollard"}}})
	require.NoError(t, err)
	require.Equal(t, NotEvaluated, findingOf(t, r.Evidence, "revision.same").Outcome, "evidence of an older engine says nothing of its files")
}

// Degenerate surfaces have a content too.
func TestContentDegenerate(t *testing.T) {
	t.Parallel()
	nan := float32(math.NaN())
	for _, sf := range []mesh.Surface{
		{}, {Pos: make([]float32, 9), Nrm: make([]float32, 9), UV: make([]float32, 6), Tri: []uint32{0, 1, 2}},
		{Pos: []float32{nan, 0, 0, 1, 0, 0, 0, 1, 0}, Nrm: make([]float32, 9), UV: []float32{nan, 0, 0, 0, 0, 0}, Tri: []uint32{0, 1, 2}},
	} {
		c := surfaceContent(&sf, 1, true)
		require.True(t, finite(c.AreaMM2))
		for _, v := range c.Prints {
			require.True(t, finite(v))
		}
		require.Empty(t, first2(c.moved(c)))
	}
}

func BenchmarkContent(b *testing.B) {
	p := newProp("drum.glb")
	steel := p.material("steel", 512)
	for i := range 100 {
		p.node("drum", moved(float64(i), 0, 0), drumOf(steel, 128, 0.3, 0.9))
	}
	sf := mesh.Flatten(p.scene, p.scene.Draws)
	b.ReportAllocs()
	for b.Loop() {
		surfaceContent(&sf, 1, true)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(sf.Triangles()), "ns/triangle")
}

// The terminal's table and every report say what moved and what was mended, apart from what is wrong.
func TestReportOfWhatMoved(t *testing.T) {
	t.Parallel()
	e := &Evidence{Headline: "technical: clear", Findings: []Finding{
		{Check: "budget.triangles", Outcome: Pass},
		{Check: "revision.same", Outcome: Pass, Sentence: "Two parts changed."},
		{Check: "revision.changed", Outcome: Pass, Sentence: "Since the delivery before, 2 parts moved.", Where: []Place{{Note: "game body has another shape"}}},
		{Check: "revision.regressed", Outcome: Warn, Sentence: "Something passed before.", Remedy: "Look."},
	}}
	var b strings.Builder
	require.NoError(t, WriteTable(&b, words.English(), e))
	text := b.String()
	require.Contains(t, text, "SINCE THE DELIVERY BEFORE")
	require.Contains(t, text, "game body has another shape")
	require.Less(t, strings.Index(text, "Something passed before."), strings.Index(text, "SINCE THE DELIVERY BEFORE"), "what got worse stands among the warnings")
	require.Contains(t, text, "2 findings", "the rest is clear")
	require.Len(t, SinceBefore(e), 2)
}
