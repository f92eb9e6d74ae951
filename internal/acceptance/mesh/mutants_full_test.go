//go:build full

package mesh

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/oracle"
)

// rich is a valid document that uses most of what a prop may hold.
func rich() (obj, []byte) {
	doc, bin := base(), baseBin()
	bin = addAttribute(doc, bin, "TANGENT", obj{"componentType": 5126, "type": "VEC4", "count": 4}, f32(nil, 1, 0, 0, 1, 1, 0, 0, 1, 1, 0, 0, 1, 1, 0, 0, 1), 0)
	bin = addAttribute(doc, bin, "COLOR_0", obj{"componentType": 5121, "normalized": true, "type": "VEC4", "count": 4}, make([]byte, 16), 4)
	bin = addAttribute(doc, bin, "TEXCOORD_1", obj{"componentType": 5126, "type": "VEC2", "count": 4}, make([]byte, 32), 8)
	bin = sparseFixture(1, 2)(doc, bin)
	doc["images"] = []any{obj{"uri": "data:image/png;base64," + tinyPNG, "name": "wood"}}
	doc["samplers"] = []any{obj{"magFilter": 9729, "wrapS": 10497}}
	doc["textures"] = []any{obj{"source": 0, "sampler": 0}}
	doc["extensionsUsed"] = []any{"KHR_texture_transform", "KHR_materials_clearcoat"}
	doc["materials"] = []any{obj{"name": "paint", "pbrMetallicRoughness": obj{"baseColorFactor": []any{1.0, 0.5, 0.25, 1.0}, "metallicFactor": 0.5,
		"baseColorTexture": obj{"index": 0, "texCoord": 1, "extensions": obj{"KHR_texture_transform": obj{"offset": []any{0.5, 0.0}, "scale": []any{2.0, 2.0}, "rotation": 0.3}}}},
		"normalTexture": obj{"index": 0, "scale": 0.8}, "occlusionTexture": obj{"index": 0, "strength": 0.5}, "emissiveFactor": []any{0.0, 0.1, 1.0},
		"alphaMode": "MASK", "alphaCutoff": 0.4, "doubleSided": true, "extensions": obj{"KHR_materials_clearcoat": obj{"clearcoatFactor": 0.3}}}}
	doc["cameras"] = []any{obj{"type": "perspective", "perspective": obj{"yfov": 0.7, "znear": 0.1}}}
	doc["nodes"] = []any{
		obj{"name": "crate", "children": []any{1, 2}, "translation": []any{1.0, 2.0, 3.0}, "scale": []any{1.0, 1.0, -1.0}, "rotation": []any{0.0, 0.0, 0.0, 1.0}},
		obj{"name": "lid", "mesh": 0}, obj{"name": "body", "mesh": 0, "matrix": []any{1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 4.0, 0.0, 0.0, 1.0}}, obj{"camera": 0}}
	doc["scenes"] = []any{obj{"nodes": []any{0, 3}}, obj{"nodes": []any{3}}}
	return doc, bin
}

// rigged is a valid document with a skin, an animation, a morph target and a light.
func rigged() (obj, []byte) {
	doc, bin := base(), baseBin()
	bin = addAttribute(doc, bin, "JOINTS_0", obj{"componentType": 5121, "type": "VEC4", "count": 4}, []byte{0, 1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0}, 4)
	bin = addAttribute(doc, bin, "WEIGHTS_0", obj{"componentType": 5126, "type": "VEC4", "count": 4}, f32(nil, 0.5, 0.5, 0, 0, 0.25, 0.75, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0), 0)
	plain := func(acc obj, values ...float32) int {
		n := len(doc["accessors"].([]any))
		views := doc["bufferViews"].([]any)
		doc["bufferViews"] = append(views, obj{"buffer": 0, "byteOffset": len(bin), "byteLength": 4 * len(values)})
		acc["bufferView"], acc["componentType"] = len(views), 5126
		doc["accessors"] = append(doc["accessors"].([]any), acc)
		bin = f32(bin, values...)
		at(doc, "buffers", 0)["byteLength"] = len(bin)
		return n
	}
	unit := []float32{1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1}
	inverse := plain(obj{"type": "MAT4", "count": 2}, append(unit, unit...)...)
	times := plain(obj{"type": "SCALAR", "count": 2, "min": []any{0.0}, "max": []any{1.0}}, 0, 1)
	places := plain(obj{"type": "VEC3", "count": 2}, 0, 0, 0, 1, 0, 0)
	turns := plain(obj{"type": "VEC4", "count": 2}, 0, 0, 0, 1, 0, 1, 0, 0)
	weights := plain(obj{"type": "SCALAR", "count": 2}, 0, 1)
	moved := plain(obj{"type": "VEC3", "count": 4, "min": []any{0.0, 0.0, 0.0}, "max": []any{0.0, 0.0, 1.0}}, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0)
	at(doc, "meshes", 0, "primitives", 0)["targets"] = []any{obj{"POSITION": moved}}
	at(doc, "meshes", 0)["weights"] = []any{0.0}
	doc["skins"] = []any{obj{"joints": []any{1, 2}, "inverseBindMatrices": inverse, "skeleton": 1}}
	doc["extensionsUsed"] = []any{"KHR_lights_punctual"}
	doc["extensions"] = obj{"KHR_lights_punctual": obj{"lights": []any{obj{"type": "spot", "intensity": 3.0, "spot": obj{"innerConeAngle": 0.1, "outerConeAngle": 0.5}}}}}
	doc["nodes"] = []any{obj{"mesh": 0, "skin": 0}, obj{"name": "arm", "children": []any{2}}, obj{"name": "hand"},
		obj{"extensions": obj{"KHR_lights_punctual": obj{"light": 0}}}}
	doc["scenes"] = []any{obj{"nodes": []any{0, 1, 3}}}
	doc["animations"] = []any{obj{"samplers": []any{obj{"input": times, "output": places}, obj{"input": times, "output": turns, "interpolation": "STEP"}, obj{"input": times, "output": weights}},
		"channels": []any{obj{"sampler": 0, "target": obj{"node": 1, "path": "translation"}}, obj{"sampler": 1, "target": obj{"node": 1, "path": "rotation"}},
			obj{"sampler": 2, "target": obj{"node": 0, "path": "weights"}}}}}
	return doc, bin
}

// mutate changes one place of a document: a value replaced, dropped or moved. It says what it did.
func mutate(r *rand.Rand, doc any) string {
	type place struct {
		in   any
		key  string
		pos  int
		path string
	}
	var all []place
	var walk func(v any, path string)
	walk = func(v any, path string) {
		switch x := v.(type) {
		case obj:
			keys := make([]string, 0, len(x))
			for k := range x {
				keys = append(keys, k)
			}
			sort.Strings(keys)
			for _, k := range keys {
				all = append(all, place{x, k, -1, path + "/" + k})
				walk(x[k], path+"/"+k)
			}
		case []any:
			for i := range x {
				all = append(all, place{x, "", i, fmt.Sprintf("%s/%d", path, i)})
				walk(x[i], fmt.Sprintf("%s/%d", path, i))
			}
		}
	}
	walk(doc, "")
	p := all[r.IntN(len(all))]
	get := func() any {
		if p.pos >= 0 {
			return p.in.([]any)[p.pos]
		}
		return p.in.(obj)[p.key]
	}
	put := func(v any) {
		if p.pos >= 0 {
			p.in.([]any)[p.pos] = v
		} else {
			p.in.(obj)[p.key] = v
		}
	}
	choices := []any{nil, true, "x", "", -1, 0, 1, 2, 3, 4, 5, 0.5, 1.5, 1e30, -7, 12, 255, 5120, 5121, 5123, 5125, 5126, 34962, 34963, []any{}, obj{}, []any{0}, []any{0, 0}, "VEC3", "VEC2", "SCALAR", "MAT4", 1 << 40}
	switch n := r.IntN(10); {
	case n == 0 && p.pos < 0:
		delete(p.in.(obj), p.key)
		return "drop " + p.path
	case n == 1 && p.pos < 0:
		v := get()
		delete(p.in.(obj), p.key)
		p.in.(obj)[strings.ToUpper(p.key)] = v
		return "upper-case " + p.path
	case n < 5:
		if f, ok := get().(float64); ok {
			put(f + float64(r.IntN(9)-4))
			return fmt.Sprintf("%s: %v becomes %v", p.path, f, get())
		}
	}
	put(choices[r.IntN(len(choices))])
	return fmt.Sprintf("%s becomes %v", p.path, get())
}

// Documents with one to three random changes: error or no error agrees with the standard's validator on each. The seed
// is fixed and printed with a difference, so that the same mutant can be made again.
func TestMutantsAgreeWithStandardValidator(t *testing.T) {
	const mutants, seed = 1500, 20260601
	v := oracle.Start(t, "validate.mjs")
	path := filepath.Join(t.TempDir(), "a.glb")
	differ, broken, silent := 0, 0, 0
	for n := range mutants {
		r := rand.New(rand.NewPCG(seed, uint64(n)))
		doc, bin := rich()
		if n%3 == 0 {
			doc, bin = rigged()
		}
		var plain any
		require.NoError(t, json.Unmarshal(jsonText(doc), &plain))
		var did []string
		for range 1 + r.IntN(5)/4 + r.IntN(5)/4 {
			if r.IntN(6) == 0 && len(bin) > 0 {
				i := r.IntN(len(bin))
				bin[i] ^= byte(1 << r.IntN(8))
				did = append(did, fmt.Sprintf("byte %d flipped", i))
				continue
			}
			did = append(did, mutate(r, plain))
		}
		data := glbFile(jsonText(plain.(obj)), bin)
		require.NoError(t, os.WriteFile(path, data, 0o600))
		var report validatorReport
		if v.TryAsk(map[string]any{"path": path}, &report) != nil {
			silent++ // the validator itself failed
			continue
		}
		s, issues := Load(MemSource{"a.glb": data}, "a.glb", Limits{})
		checkSafe(t, s)
		s.Close()
		found := codes(issues, false)
		if report.Errors > 0 {
			broken++
		}
		if stricter(found) {
			continue
		}
		if (report.Errors > 0) != (len(found) > 0) {
			differ++
			t.Errorf("mutant %d of seed %d (%s): validator says %v, we say %v", n, seed, strings.Join(did, "; "), report.errorCodes(), issues)
		}
		if differ > 25 {
			t.Fatal("too many")
		}
	}
	require.Greater(t, broken, mutants/4, "mutants must break things")
	require.Less(t, silent, mutants/20, "the validator must answer nearly always")
	t.Logf("%d mutants, %d of them broken by the validator's word, %d differ", mutants, broken, differ)
}

// stricter tells whether all that we found is what we check beyond the validator: limits, whole images, and shear in a
// matrix, which the validator overlooks where the matrix's norm stays the same (it compares infinity norms of the matrix
// and of its recomposition, read from its answers).
func stricter(found []string) bool {
	if len(found) == 0 {
		return false
	}
	for _, c := range found {
		if !strings.HasPrefix(c, "limits.") && c != "image.undecodable" && c != "image.unknown_format" && c != "node.matrix_shear" {
			return false
		}
	}
	return true
}
