package acceptance

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var sameMeshDef = spec.Check{
	Name: "bake.same_mesh", Scope: spec.PerDelivery, Title: "what was baked is what ships",
	What: "The mesh that was baked (role bake_pose, its pieces may be moved apart) against the one that ships: triangles and their diagonals, UVs, normals, " +
		"and the shape of each piece.",
	Why:    "A normal map holds only for the triangulation, normals and UVs that it was baked onto; any other shows creases across faces.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_triangles", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Triangles that may differ.", Origin: spec.CommonPractice},
		{Key: "max_normal_deg", Kind: spec.AtMost, Unit: "deg", Default: same(2), What: "Largest angle between normals of the same corner.", Origin: spec.CommonPractice},
		{Key: "max_shape_mm", Kind: spec.AtMost, Unit: "mm", Default: same(0.1),
			What: "Largest difference of a piece's shape, once it is put back to its place.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromMaps,
	Metrics: []string{"triangles", "turned_quads", "max_normal_deg", "max_shape_mm", "moved_mm", "scale"},
}

// bakeSameMesh holds the mesh in the role bake_pose against what ships of LOD 0.
func bakeSameMesh(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	if len(s.LODs) == 0 || s.LODs[0].Triangles() == 0 {
		return unable("engine.no_game_mesh")
	}
	ship := cornersOf(&s.LODs[0].Surface, shipped(s, 0))
	digest := ship.digest()
	pose := bakePose(s)
	if pose == nil || len(pose.tri) == 0 {
		f := exempt("bake.same_mesh.none")
		if asksFor(s.Spec, "bake_pose") {
			f = unable("bake.same_mesh.missing")
		}
		f.Labels = withLabel(f.Labels, "mesh_digest", digest)
		return f
	}
	d := compareMeshes(ship, pose)
	f := judge(r, map[string]float64{
		"triangles": float64(max(len(d.missing), d.extra)), "turned_quads": float64(d.turned), "max_normal_deg": d.normalDeg,
		"max_shape_mm": d.shapeMM, "moved_mm": d.movedMM, "scale": d.scale,
	}, atMost("triangles", "max_triangles"), atMost("max_shape_mm", "max_shape_mm"), atMost("max_normal_deg", "max_normal_deg"))
	f.Labels = withLabel(f.Labels, "mesh_digest", digest)
	d.tell(s, ship, &f)
	return f
}

// bakePose gathers the mesh that was baked over all files in that role; nil where there is none.
func bakePose(s *Subject) *cornerMesh {
	var all *cornerMesh
	for _, file := range s.Files {
		if file.Role != "bake_pose" || file.Scene == nil {
			continue
		}
		var draws []mesh.Draw
		for _, d := range file.Scene.Draws {
			if len(file.Scene.Prims[d.Prim].Tri) > 0 {
				draws = append(draws, d)
			}
		}
		sf := mesh.Flatten(file.Scene, draws)
		one := cornersOf(&sf, sf.Of)
		if all == nil {
			all = one
			continue
		}
		all.add(&sf, sf.Of)
	}
	return all
}

// cornerMesh is a surface by corners, as far as a bake depends on it.
type cornerMesh struct {
	pos, nrm []float32 // 3 a corner
	tri      []triKey
	of       []sourceTriangle
}

// triKey is a triangle by the UVs of its corners, rounded, turned so that the least comes first: what names it in both meshes.
type triKey [6]int32

// uvSteps is how finely UVs are told apart: a sixteenth of a texel at 4096. Re-export and quantisation move them by less.
const uvSteps = 65536

func cornersOf(sf *mesh.Surface, ranges []mesh.Range) *cornerMesh {
	m := &cornerMesh{}
	m.add(sf, ranges)
	return m
}

func (m *cornerMesh) add(sf *mesh.Surface, ranges []mesh.Range) {
	for _, r := range ranges {
		for t := r.First; t < r.End; t++ {
			var q [3][2]int32
			for k := range 3 {
				v := sf.Tri[3*t+k]
				for a := range 2 {
					q[k][a] = int32(math.Round(clampUV(float64(sf.UV[2*int(v)+a])) * uvSteps))
				}
			}
			first := 0
			for k := 1; k < 3; k++ {
				if q[k][0] < q[first][0] || q[k][0] == q[first][0] && q[k][1] < q[first][1] {
					first = k
				}
			}
			var key triKey
			for k := range 3 {
				c := (first + k) % 3
				v := 3 * int(sf.Tri[3*t+c])
				m.pos, m.nrm = append(m.pos, sf.Pos[v:v+3]...), append(m.nrm, sf.Nrm[v:v+3]...)
				key[2*k], key[2*k+1] = q[c][0], q[c][1]
			}
			m.tri = append(m.tri, key)
			m.of = append(m.of, sourceTriangle{r, t - r.First})
		}
	}
}

// clampUV keeps what is far out or not a number within what a step can count.
func clampUV(v float64) float64 {
	if !(v >= -16000) {
		return -16000
	}
	return min(v, 16000)
}

// digest is the SHA-256 over triangles, normals and UVs in the order of the file: equal digests are the same mesh to a bake.
// Positions are left out, since pieces may be moved.
func (m *cornerMesh) digest() string {
	h := sha256.New()
	var b [4 * 15]byte
	for t, key := range m.tri {
		for i, v := range key {
			binary.LittleEndian.PutUint32(b[4*i:], uint32(v))
		}
		for i, v := range m.nrm[9*t : 9*t+9] {
			binary.LittleEndian.PutUint32(b[24+4*i:], uint32(int32(math.Round(float64(v)*1e4))))
		}
		h.Write(b[:])
	}
	return hex.EncodeToString(h.Sum(nil))
}

// tell says how the meshes differ.
func (d *meshDifference) tell(s *Subject, ship *cornerMesh, f *Finding) {
	if !broke(*f) {
		f.say("bake.same_mesh.same", words.MM(d.movedMM))
		if d.scaled() {
			f.also("bake.same_mesh.scale", words.Num(d.scale))
		}
		return
	}
	var says []func(code string, args ...words.Arg)
	add := func(code string, args ...words.Arg) {
		if len(says) == 0 {
			f.say(code, args...)
		} else {
			f.also(code, args...)
		}
		says = append(says, f.also)
	}
	if d.turned > 0 {
		add("bake.same_mesh.turned", words.Count(d.turned))
	}
	if n := len(d.missing) - 2*d.turned; n > 0 && n == d.extra-2*d.turned {
		add("bake.same_mesh.uvs", words.Count(n))
	} else {
		if n > 0 {
			add("bake.same_mesh.triangles", words.Count(n))
		}
		if x := d.extra - 2*d.turned; x > 0 {
			add("bake.same_mesh.extra", words.Count(x))
		}
	}
	if limit, on := f.Limit["max_shape_mm"]; on && d.shapeMM > limit {
		add("bake.same_mesh.shape", words.MM(d.shapeMM))
	}
	if limit, on := f.Limit["max_normal_deg"]; on && d.normalDeg > limit {
		add("bake.same_mesh.normals", words.Deg(d.normalDeg))
	}
	f.remedy("bake.same_mesh.triangulate")
	for _, t := range d.places() {
		var mm [3]float64
		for c := range 3 {
			for k := range 3 {
				mm[k] += float64(float64(ship.pos[9*t+3*c+k]) * (1000.0 / 3))
			}
		}
		for k := range mm {
			mm[k] = roundMM(mm[k])
		}
		p := Place{Node: ship.of[t].r.NodeName(), Triangles: []int{ship.of[t].number}, PointMM: &mm}
		p.note("bake.same_mesh.place")
		if len(s.Parts) > 0 {
			p.Side = sideOf(s, s.Parts[0], mm)
		}
		f.Where = append(f.Where, p)
	}
}
