//go:build full

package tangent

import (
	"encoding/base64"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/oracle"
)

// reference asks the npm package mikktspace 1.1.1 for tangents, in glTF's sign.
func reference(t *testing.T, p *oracle.Process, pos, nrm, uv []float32, tri []uint32) []float32 {
	t.Helper()
	flat := func(v []float32, n int) string {
		out := make([]byte, 0, 4*n*len(tri))
		for _, i := range tri {
			for k := range n {
				out = binary.LittleEndian.AppendUint32(out, math.Float32bits(v[n*int(i)+k]))
			}
		}
		return base64.StdEncoding.EncodeToString(out)
	}
	var answer struct{ Tan string }
	p.Ask(map[string]string{"pos": flat(pos, 3), "nrm": flat(nrm, 3), "uv": flat(uv, 2)}, &answer)
	data, err := base64.StdEncoding.DecodeString(answer.Tan)
	require.NoError(t, err)
	require.Len(t, data, 16*len(tri))
	out := make([]float32, 4*len(tri))
	for i := range out {
		out[i] = math.Float32frombits(binary.LittleEndian.Uint32(data[4*i:]))
		if i%4 == 3 {
			out[i] = -out[i]
		}
	}
	return out
}

// differ counts corners that are not equal bit for bit, and the largest difference of a coordinate.
func differ(a, b []float32) (corners int, most float64) {
	for i := 0; i < len(a); i += 4 {
		bad := false
		for k := range 4 {
			if a[i+k] != b[i+k] {
				bad = true
				most = max(most, math.Abs(float64(a[i+k])-float64(b[i+k])))
			}
		}
		if bad {
			corners++
		}
	}
	return corners, most
}

// Every corner of the 34 published props (npm @webxr-input-profiles/assets 1.0.20, the unbranded generic ones) has the tangent
// that the reference implementation gives it, bit for bit.
func TestEqualsReferenceOnRealModels(t *testing.T) {
	p := oracle.Start(t, "tangents.mjs")
	root := filepath.Join(oracle.Modules(t), "@webxr-input-profiles", "assets", "dist", "profiles")
	files, err := filepath.Glob(filepath.Join(root, "generic-*", "*.glb"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 30)
	corners := 0
	for _, f := range files {
		name := filepath.Base(filepath.Dir(f)) + "/" + filepath.Base(f)
		src, err := mesh.DirSource(filepath.Dir(f), []string{filepath.Base(f)})
		require.NoError(t, err)
		s, _ := mesh.Load(src, filepath.Base(f), mesh.Limits{})
		src.Close()
		for i := range s.Prims {
			prim := &s.Prims[i]
			if prim.Nrm == nil || len(prim.UV) == 0 || len(prim.Tri) == 0 {
				continue
			}
			ours := Generate(prim.Pos, prim.Nrm, prim.UV[0], prim.Tri)
			n, most := differ(ours, reference(t, p, prim.Pos, prim.Nrm, prim.UV[0], prim.Tri))
			require.Zero(t, n, "%s primitive %d of %d corners: the largest difference is %g", name, i, len(prim.Tri), most)
			corners += len(prim.Tri)
		}
		s.Close()
	}
	t.Logf("%d files, %d corners equal bit for bit", len(files), corners)
	require.Greater(t, corners, 100_000)
}

// The TANGENT that generic-fixed-hand ships points where ours does, for all but what its exporter welded.
func TestAgreesWithShippedTangents(t *testing.T) {
	f := filepath.Join(oracle.Modules(t), "@webxr-input-profiles", "assets", "dist", "profiles", "generic-fixed-hand", "left.glb")
	src, err := mesh.DirSource(filepath.Dir(f), []string{filepath.Base(f)})
	require.NoError(t, err)
	defer src.Close()
	s, _ := mesh.Load(src, filepath.Base(f), mesh.Limits{})
	defer s.Close()
	compared := 0
	for i := range s.Prims {
		prim := &s.Prims[i]
		if prim.Tan == nil {
			continue
		}
		d := Compare(prim.Tan, Generate(prim.Pos, prim.Nrm, prim.UV[0], prim.Tri), prim.Tri)
		t.Logf("%d corners: mean %.4f°, 95 of 100 within %.4f°, most %.3f°, %d with the other sign", d.Corners, d.MeanDeg, d.P95Deg, d.MaxDeg, d.Flipped)
		compared += d.Corners
	}
	require.Positive(t, compared)
}

// Shapes that reach the algorithm's branches: fans, mirrored and collapsed UVs, triangles without area, edges of three faces.
func TestEqualsReferenceOnOddShapes(t *testing.T) {
	p := oracle.Start(t, "tangents.mjs")
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 5))
		pos, nrm, uv, tri := oddMesh(r)
		n, most := differ(Generate(pos, nrm, uv, tri), reference(t, p, pos, nrm, uv, tri))
		require.Zero(t, n, "seed %d: the largest difference is %g", seed, most)
	}
}
