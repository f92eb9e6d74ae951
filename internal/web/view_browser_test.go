//go:build full

package web_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// knobbly is a ball of 4·n² triangles round a place, with bumps. heights adds what the viewer reads as deviation.
func knobbly(n int, x, bumpMM float64, heights bool) glbwrite.Prim {
	var p glbwrite.Prim
	across := 2 * n
	for j := range n + 1 {
		for i := range across + 1 {
			u, v := float64(i)/float64(across), float64(j)/float64(n)
			lon, lat := 2*math.Pi*u, math.Pi*(v-0.5)
			r := 0.25 + bumpMM/1000*math.Sin(24*lon)*math.Sin(20*lat)
			dir := [3]float64{math.Cos(lat) * math.Cos(lon), math.Sin(lat), math.Cos(lat) * math.Sin(lon)}
			p.Pos = append(p.Pos, float32(x+r*dir[0]), float32(r*dir[1]), float32(r*dir[2]))
			p.Nrm = append(p.Nrm, float32(dir[0]), float32(dir[1]), float32(dir[2]))
			p.UV = append(p.UV, float32(u), float32(v))
		}
	}
	for j := range n {
		for i := range across {
			a, b := uint32(j*(across+1)+i), uint32((j+1)*(across+1)+i)
			p.Tri = append(p.Tri, a, b, a+1, a+1, b, b+1)
		}
	}
	if heights {
		count := len(p.Pos) / 3
		p.Own = []glbwrite.Values{{Name: "_HEIGHT_MM", Values: slices.Repeat([]float32{3}, count)}}
		p.Col = slices.Repeat([]float32{0.5, 0.2, 0.05, 1}, count)
		p.Material = &glbwrite.Material{Extras: map[string]any{"range_mm": 5, "scale": []string{"#123456", "#654321"}}}
	}
	return p
}

// largeModels are a game mesh of 500,000 triangles in four draws, its deviation, and a sculpt as large as the worker makes one.
func largeModels(t *testing.T, bumpMM float64) map[string][]byte {
	t.Helper()
	const each = 177 // 4·177² triangles: 125,316
	var game, deviation glbwrite.Scene
	for i, name := range []string{"post", "cap", "ring", "foot"} {
		p := knobbly(each, 0.55*float64(i), bumpMM, false)
		p.Material = &glbwrite.Material{Name: name, BaseColor: [4]float64{0.4, 0.3, 0.2, 1}, Roughness: 0.6, Extras: map[string]any{"width_px": 2048, "height_px": 2048}}
		game.Roots = append(game.Roots, &glbwrite.Node{Name: name, Mesh: &glbwrite.Mesh{Name: name, Prims: []glbwrite.Prim{p}}})
		h := knobbly(each, 0.55*float64(i), bumpMM, true)
		deviation.Roots = append(deviation.Roots, &glbwrite.Node{Name: name, Mesh: &glbwrite.Mesh{Name: name, Prims: []glbwrite.Prim{h}}})
	}
	out := map[string][]byte{}
	var err error
	out["model_game.glb"], err = glbwrite.Bytes(game)
	require.NoError(t, err)
	out["deviation.glb"], err = glbwrite.Bytes(deviation)
	require.NoError(t, err)
	out["model_sculpt.glb"], err = glbwrite.Bytes(glbwrite.Single("sculpt", knobbly(193, 0, bumpMM+1, false))) // 148,996
	require.NoError(t, err)
	return out
}

// inspectWith records a result for the next inspection in the queue, with these models and no pictures.
func (w *world) inspectWith(f found, models map[string][]byte) {
	w.t.Helper()
	job, err := w.worker.Claim(w.t.Context(), "test")
	require.NoError(w.t, err)
	result := ledger.Result{Engine: "test", EngineDigest: fmt.Sprintf("%064x", 7), Verdict: f.verdict, Headline: f.headline}
	for i, one := range f.findings {
		result.Findings = append(result.Findings, ledger.Finding{Ord: i, Check: one.Check, Part: one.Part, File: one.File, Outcome: string(one.Outcome), Blocks: one.Blocks, FollowsFrom: one.FollowsFrom})
	}
	evidence, err := json.Marshal(acceptance.Evidence{Schema: "proofhouse/evidence/1", Verdict: acceptance.Verdict(f.verdict), Headline: f.headline, Findings: f.findings})
	require.NoError(w.t, err)
	objects, order := maps.Clone(models), job.Inspection.WorkOrderID.String()
	objects["evidence.json"] = evidence
	for _, name := range slices.Sorted(maps.Keys(objects)) {
		kind := "model/gltf-binary"
		if name == "evidence.json" {
			kind = "application/json"
		}
		sum, size, err := w.storage.PutEvidence(w.t.Context(), order, bytes.NewReader(objects[name]), kind)
		require.NoError(w.t, err)
		raw := sha256.Sum256(objects[name])
		if name == "evidence.json" {
			result.EvidenceSHA256 = raw[:]
		}
		result.Objects = append(result.Objects, ledger.EvidenceObject{Name: name, What: "A model.", ObjectKey: storage.EvidenceKey(order, sum), SHA256: raw[:], Size: size, MediaType: kind})
	}
	require.NoError(w.t, w.worker.Record(w.t.Context(), job.Inspection.ID, job.Fence, result, nil))
}

// What the 3D view asks of a browser for half a million triangles, with every overlay: script time, draws, allocation and
// uploads a frame, the time of each switch. What a graphics card takes cannot be told here: draws are counted, not made.
func TestViewOfHalfAMillionTriangles(t *testing.T) {
	w := newWorld(t)
	scripts, out := filepath.Join(root, "testdata", "browser"), filepath.Join(root, "testdata", "out", "view")
	require.DirExists(t, filepath.Join(scripts, "node_modules"), "run npm ci --ignore-scripts in testdata/browser")
	require.NoError(t, os.RemoveAll(out))
	w.inspect(reviewable()) // the crate, which waits before them
	for i, bump := range []float64{3, 4} {
		f := failed()
		for k := range f.findings {
			if f.findings[k].Check == "names.default" { // without a point: only its triangles tell where
				f.findings[k].Where = []acceptance.Place{{Node: "cap", Triangles: []int{60000, 60001, 60002, 60003}}}
			}
		}
		name := []string{"ladder-1", "ladder"}[i]
		w.deliver("ladder", name, ole)
		w.inspectWith(f, largeModels(t, bump))
		w.note(name, marek, "Look at this.", false)
	}
	config, err := json.Marshal(map[string]any{"base": w.base, "password": password, "out": out, "people": map[string]string{"director": marek}, "deliveries": w.deliveries})
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), browserTime)
	defer cancel()
	node := exec.CommandContext(ctx, "node", "view.mjs")
	node.Dir, node.Stdin = scripts, bytes.NewReader(config)
	report, err := node.CombinedOutput()
	t.Logf("%s", report)
	require.NoError(t, err, "the 3D view in a browser")
}
