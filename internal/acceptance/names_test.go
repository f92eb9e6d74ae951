package acceptance

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

func namedProp(nodes ...string) *propBuild {
	b := newProp("crate_a.glb")
	m := b.material("wood", 256)
	for i, n := range nodes {
		b.node(n, moved(float64(i), 0, 0), quadPrim(m, 0, 0, 1, 1, 0, 0, 1, 1))
	}
	return b
}

func TestNamesPattern(t *testing.T) {
	t.Parallel()
	const text = `checks: {names.pattern: {nodes: ["{prop}_{part}_{n}"], materials: ["/(wood|steel)/"]}}`
	good := namedProp("crate_a_plank_01", "crate_a_plank_02")
	f := run1(t, good.subject(t, specOf(t, spec.MidGround, text)), "names.pattern")
	require.Equal(t, Pass, f.Outcome, f.Sentence)

	bad := namedProp("crate_a_plank_01", "plank_02", "barrel_a_plank_03")
	bad.material("rust", 0)
	bad.scene.Prims[1].Material = 1
	f = run1(t, bad.subject(t, specOf(t, spec.MidGround, text)), "names.pattern")
	require.Equal(t, Warn, f.Outcome)
	require.Equal(t, 3.0, f.Metrics["count"])
	require.Equal(t, "plank_02", f.Where[0].Node)
	require.Equal(t, "/nodes/1", f.Where[0].Pointer)

	// Without patterns of its own a spec still asks for file names that survive on every system.
	s := good.subject(t, specOf(t, spec.MidGround, ""))
	require.Equal(t, Pass, run1(t, s, "names.pattern").Outcome)
	s.Files = append(s.Files, &File{Path: "maps/crate a ö.png"})
	f = run1(t, s, "names.pattern")
	require.Equal(t, 1.0, f.Metrics["count"])
}

// What a renderer never draws is not held to names: sockets and collision pieces keep their exporter's names.
func TestNamesOnlyOfWhatShips(t *testing.T) {
	t.Parallel()
	b := namedProp("lid", "Cube.001", "Cube.002")
	b.instance("Empty.003", moved(9, 0, 0), 0) // draws the lid's mesh as a socket's shape
	s := b.subject(t, specOf(t, spec.MidGround, ""))
	require.Equal(t, 3.0, run1(t, s, "names.default").Metrics["count"])
	s.Parts = []*Part{
		b.part("lid", spec.Part{Kind: spec.Solid, Density: 1}, b.scene.Draws[:1]),
		b.part("hull", spec.Part{Kind: spec.Collision}, b.scene.Draws[1:3]),
		b.part("socket", spec.Part{Kind: spec.Helper}, b.scene.Draws[3:]),
	}
	f := run1(t, s, "names.default")
	require.Zero(t, f.Metrics["count"])
	require.Equal(t, Pass, f.Outcome)
}

func TestNamesDefaultList(t *testing.T) {
	t.Parallel()
	leftovers := []string{"Cube", "cube.001", "Box001", "Sphere_2", "Plane 3", "Object_12", "mesh", "Mesh.004", "Material", "material_1",
		"plank.001", "untitled", "Group7", "lid copy", "lid_copy2", "texture 1", "default"}
	honest := []string{"plank_04", "box_04", "lid", "crate_a", "tube_left", "handle_copy_protection", "mesh_door", "cube_shelf", "rope_2a",
		"planks.01", "node_lamp", "a.0001", "testament", "Boxwood"}
	for i, list := range [][]string{leftovers, honest} {
		for _, name := range list {
			f := run1(t, namedProp(name).subject(t, specOf(t, spec.MidGround, "")), "names.default")
			require.Equal(t, i == 0, f.Metrics["count"] == 1, "%q", name)
		}
	}
	f := run1(t, namedProp("jetty").subject(t, specOf(t, spec.MidGround, `checks: {names.default: {leftovers: ["jet*"]}}`)), "names.default")
	require.Equal(t, 2.0, f.Metrics["count"], "the spec's list is the list: node and mesh")
}

func TestNamesUnique(t *testing.T) {
	t.Parallel()
	s := namedProp("plank_1", "plank_2").subject(t, specOf(t, spec.MidGround, ""))
	require.Equal(t, Pass, run1(t, s, "names.unique").Outcome)
	s = namedProp("Plank", "plank", "PLANK", "straße", "STRASSE", "ΣΑΣ", "σας").subject(t, specOf(t, spec.MidGround, ""))
	f := run1(t, s, "names.unique")
	// Nodes and their meshes: two planks again and one with a final sigma; ß folds to two letters in full folding only.
	require.Equal(t, 6.0, f.Metrics["count"])
	require.Equal(t, Warn, f.Outcome)
	s.Files = append(s.Files, &File{Path: "maps/Wood.png"}, &File{Path: "maps/wood.PNG"})
	require.Equal(t, 7.0, run1(t, s, "names.unique").Metrics["count"])

	// The same material in the files of two LODs is the same material.
	a, b := namedProp("crate_a_lod0"), namedProp("crate_a_lod1")
	b.scene.Path = "crate_a_lod1.glb"
	s = a.subject(t, specOf(t, spec.MidGround, ""))
	s.LODs = append(s.LODs, &Body{Surface: mesh.Flatten(b.scene, b.scene.Draws)})
	require.Equal(t, Pass, run1(t, s, "names.unique").Outcome)
}

func TestNamesPairing(t *testing.T) {
	t.Parallel()
	const needsSculpt = "files: [{role: game, pattern: '{prop}.glb', needed: true}, {role: sculpt, pattern: '{prop}_sculpt.glb', needed: true}]"
	b, high := namedProp("lid", "body", "handle"), namedProp("lid_high", "body_high", "bolts_high")
	s := b.subject(t, specOf(t, spec.MidGround, needsSculpt))
	part := func(i int, def spec.Part, sculpt ...int) *Part {
		p := b.part(b.scene.Nodes[i].Name, def, b.scene.Draws[i:i+1])
		for _, k := range sculpt {
			p.Sculpt.Append(mesh.Flatten(high.scene, high.scene.Draws[k:k+1]))
		}
		return p
	}
	solid := spec.Part{Kind: spec.Solid, Density: 1}
	s.Parts = []*Part{part(0, solid, 0), part(1, solid, 1), part(2, solid)}
	require.Equal(t, NotEvaluated, run1(t, s, "names.pairing").Outcome, "no sculpt read")

	s.Sculpt = &Body{Surface: mesh.Flatten(high.scene, high.scene.Draws)}
	f := run1(t, s, "names.pairing")
	require.Equal(t, Fail, f.Outcome)
	require.Equal(t, 1.0, f.Metrics["count"])
	require.Equal(t, "handle", f.Where[0].Node)

	// Legitimate: the spec says that the handle has no sculpt. The bolts then belong to nobody, which only warns.
	none := solid
	none.Sculpt = []string{"none"}
	s.Parts[2] = part(2, none)
	f = run1(t, s, "names.pairing")
	require.Equal(t, Warn, f.Outcome)
	require.Equal(t, 1.0, f.Metrics["sculpt_pieces"])
	require.Equal(t, "bolts_high", f.Where[0].Node)

	// Many to one: several sculpt pieces for one part.
	s.Parts[1] = part(1, solid, 1, 2)
	require.Equal(t, Pass, run1(t, s, "names.pairing").Outcome)

	// Parts on sheets that are sculpted apart need no sculpt of their own.
	for _, kind := range []spec.SetKind{spec.Tiling, spec.Trim, spec.DecalAtlas} {
		plain := namedProp("wall")
		s := plain.subject(t, specOf(t, spec.MidGround, needsSculpt))
		s.Sets[0].Def.Kind = kind
		require.Equal(t, NotApplicable, run1(t, s, "names.pairing").Outcome, "%s", kind)
	}
	// Glass is painted as often as sculpted.
	s = b.subject(t, specOf(t, spec.MidGround, needsSculpt))
	s.Sculpt = &Body{Surface: mesh.Flatten(high.scene, high.scene.Draws[:2])}
	s.Parts = []*Part{part(0, solid, 0), part(1, solid, 1), part(2, spec.Part{Kind: spec.Glass, Density: 1})}
	require.Equal(t, Pass, run1(t, s, "names.pairing").Outcome)
	s.Parts[2].Def.Kind = spec.Solid
	require.Equal(t, Fail, run1(t, s, "names.pairing").Outcome)

	// A spec that asks for no sculpt gets none.
	s = namedProp("wall").subject(t, specOf(t, spec.MidGround, ""))
	require.Equal(t, NotApplicable, run1(t, s, "names.pairing").Outcome)
}

func TestPlacesOfManyNamesAreTen(t *testing.T) {
	t.Parallel()
	var names []string
	for i := range 40 {
		names = append(names, fmt.Sprintf("Cube.%03d", i))
	}
	f := run1(t, namedProp(names...).subject(t, specOf(t, spec.MidGround, "")), "names.default")
	require.Equal(t, 40.0, f.Metrics["count"])
	require.Len(t, f.Where, maxPlaces)
}
