package acceptance

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// tester is what the helpers need of a test, a benchmark or a rapid property.
type tester interface {
	require.TestingT
	Helper()
}

// propBuild makes small props in memory: one scene of nodes, each with one primitive.
type propBuild struct{ scene *mesh.Scene }

var identity16 = [16]float64{0: 1, 5: 1, 10: 1, 15: 1}

func newProp(path string) *propBuild {
	return &propBuild{&mesh.Scene{Path: path, Format: "glb"}}
}

// material adds a material with a base colour map of the given edge; 0 adds none.
func (b *propBuild) material(name string, px int) int {
	none := mesh.TexRef{Image: -1}
	m := mesh.Material{Name: name, BaseTex: none, MetalRough: none, Normal: none, Occlusion: none, Emissive: none,
		Pointer: fmt.Sprintf("/materials/%d", len(b.scene.Materials))}
	if px > 0 {
		m.BaseTex = mesh.TexRef{Image: len(b.scene.Images), Scale: [2]float64{1, 1}}
		b.scene.Images = append(b.scene.Images, mesh.Image{Name: name + "_base_color", Data: []byte(name), Width: px, Height: px,
			Pointer: fmt.Sprintf("/images/%d", len(b.scene.Images))})
	}
	b.scene.Materials = append(b.scene.Materials, m)
	return len(b.scene.Materials) - 1
}

// node adds a node that draws a primitive of its own and returns its index.
func (b *propBuild) node(name string, world [16]float64, p mesh.Primitive) int {
	s := b.scene
	p.Mesh, p.Pointer = len(s.Meshes), fmt.Sprintf("/meshes/%d/primitives/0", len(s.Meshes))
	if p.Drawn == 0 {
		p.Drawn = len(p.Tri) / 3
	}
	s.Meshes = append(s.Meshes, mesh.Group{Name: name + "_mesh", Prims: []int{len(s.Prims)}})
	s.Prims = append(s.Prims, p)
	return b.instance(name, world, len(s.Meshes)-1)
}

// instance adds a node that draws a mesh that is there.
func (b *propBuild) instance(name string, world [16]float64, meshIndex int) int {
	s := b.scene
	n := len(s.Nodes)
	s.Nodes = append(s.Nodes, mesh.Node{Name: name, Parent: -1, Mesh: meshIndex, Local: world, World: world, Pointer: fmt.Sprintf("/nodes/%d", n)})
	s.Roots = append(s.Roots, n)
	for _, p := range s.Meshes[meshIndex].Prims {
		s.Draws = append(s.Draws, mesh.Draw{Node: n, Prim: p})
	}
	return n
}

// moved is a translation in metres.
func moved(x, y, z float64) [16]float64 {
	m := identity16
	m[12], m[13], m[14] = x, y, z
	return m
}

// quadPrim is a rectangle in the plane z=0 with its UVs over [u0,u1] × [v0,v1].
func quadPrim(material int, x0, y0, x1, y1, u0, v0, u1, v1 float32) mesh.Primitive {
	return mesh.Primitive{
		Material: material, Mode: 4,
		Pos: []float32{x0, y0, 0, x1, y0, 0, x1, y1, 0, x0, y1, 0},
		Nrm: []float32{0, 0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 1},
		UV:  [][]float32{{u0, v1, u1, v1, u1, v0, u0, v0}},
		Tri: []uint32{0, 1, 2, 0, 2, 3},
	}
}

// boxPrim is a box from lo to hi with hard edges: 24 vertices, 12 triangles, one UV island a side in a 3 × 2 grid.
func boxPrim(material int, lo, hi [3]float32) mesh.Primitive {
	p := mesh.Primitive{Material: material, Mode: 4, UV: [][]float32{nil}}
	side := 0
	for axis := range 3 {
		for _, sign := range []float32{-1, 1} {
			u, v := (axis+1)%3, (axis+2)%3
			if sign < 0 {
				u, v = v, u
			}
			base := uint32(len(p.Pos) / 3)
			for _, c := range [4][2]float32{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
				at := lo
				if sign > 0 {
					at[axis] = hi[axis]
				}
				at[u] = lo[u] + c[0]*(hi[u]-lo[u])
				at[v] = lo[v] + c[1]*(hi[v]-lo[v])
				p.Pos = append(p.Pos, at[:]...)
				var n [3]float32
				n[axis] = sign
				p.Nrm = append(p.Nrm, n[:]...)
				p.UV[0] = append(p.UV[0], (float32(side%3)+0.02+0.96*c[0])/3, (float32(side/3)+0.98-0.96*c[1])/2) // V points down
			}
			p.Tri = append(p.Tri, base, base+1, base+2, base, base+2, base+3)
			side++
		}
	}
	return p
}

// specOf resolves a spec for the final milestone; text is what stands below prop and tier.
func specOf(t tester, tier spec.Tier, text string) *spec.Spec {
	return specAt(t, tier, spec.Final, text)
}

func specAt(t tester, tier spec.Tier, m spec.Milestone, text string) *spec.Spec {
	t.Helper()
	full := fmt.Sprintf("prop: crate_a\ntier: %s\n%s", tier, text)
	d, err := spec.Parse("spec.yaml", []byte(full), Catalogue())
	require.NoError(t, err, full)
	s, err := spec.Resolve(d, Catalogue(), m, nil)
	require.NoError(t, err, full)
	return s
}

// subject is the delivery of the scene alone, as LOD 0, with one set a material and one part. Tests change it as needed.
func (b *propBuild) subject(t tester, sp *spec.Spec) *Subject {
	t.Helper()
	sum := sha256.Sum256([]byte(b.scene.Path))
	f := &File{Path: b.scene.Path, Role: "game", Bytes: int64(len(b.scene.Path)), SHA256: hex.EncodeToString(sum[:]), Scene: b.scene}
	f.Declared.Bytes = -1
	body := &Body{Surface: mesh.Flatten(b.scene, b.scene.Draws), Files: []*File{f}}
	s := &Subject{Spec: sp, Files: []*File{f}, LODs: []*Body{body}, Threads: 1}
	s.Parts = []*Part{b.part("", spec.Part{Kind: spec.Solid, Density: 1}, b.scene.Draws)}
	for i := range b.scene.Materials {
		s.Sets = append(s.Sets, b.set(i, spec.Set{Kind: spec.Baked}))
	}
	return s
}

func (b *propBuild) part(name string, def spec.Part, draws []mesh.Draw) *Part {
	def.Name = name
	return &Part{Name: name, Def: def, Game: mesh.Flatten(b.scene, draws)}
}

func (b *propBuild) set(material int, def spec.Set) *Set {
	m := &b.scene.Materials[material]
	def.Name = m.Name
	set := &Set{Name: m.Name, Def: def, Materials: []string{m.Name}, memo: &uvMemo{}}
	var draws []mesh.Draw
	for _, d := range b.scene.Draws {
		if b.scene.Prims[d.Prim].Material == material {
			draws = append(draws, d)
		}
	}
	set.Game = mesh.Flatten(b.scene, draws)
	if m.BaseTex.Image >= 0 {
		set.WidthPx, set.HeightPx = b.scene.Images[m.BaseTex.Image].Width, b.scene.Images[m.BaseTex.Image].Height
	}
	return set
}

// runCheck runs one check as the engine would and returns its findings, targets in order.
func runCheck(t tester, s *Subject, name string) []Finding {
	t.Helper()
	var out []Finding
	for _, c := range checks() {
		if c.Def.Name != name {
			continue
		}
		for _, st := range plan(s, []Check{c}) {
			if f := runStep(context.Background(), s, st); f.Outcome != "" {
				requireWellFormed(t, f)
				out = append(out, f)
			}
		}
	}
	return out
}

// run1 is runCheck for checks that make one finding.
func run1(t tester, s *Subject, name string) Finding {
	t.Helper()
	out := runCheck(t, s, name)
	require.Len(t, out, 1, name)
	return out[0]
}

// requireWellFormed holds for every finding of every check.
func requireWellFormed(t tester, f Finding) {
	t.Helper()
	require.NotEmpty(t, f.Sentence, f.Check)
	require.NotEmpty(t, f.Why, f.Check)
	require.LessOrEqual(t, len(f.Where), maxPlaces, f.Check)
	require.NotContains(t, f.Sentence, "fault of its own", "a check must not panic")
	require.NotContains(t, f.Sentence, "%!", "formatting")
	for k, v := range f.Metrics {
		require.True(t, finite(v), "%s %s", f.Check, k)
	}
	if f.Outcome == Fail || f.Outcome == Warn {
		require.NotEmpty(t, f.Remedy, f.Check)
	}
}
