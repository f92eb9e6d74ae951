package desk

import (
	"bytes"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/qmuntal/gltf"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
)

const (
	renameSpec  = "prop: crate\ntier: background\nchecks:\n  names.pattern: {nodes: [\"{prop}_{part}\", \"{prop}_{part}_lod{lod}\"], materials: [\"m_{prop}_{part}\"]}\n"
	renameTable = "kind,vendor,studio\n# what the vendor's tools write, and what the studio's read\nfile,{prop}_LOD{lod}.glb,{prop}_lod{lod}.glb\nfile,{prop}.gltf,in/{prop}.gltf\nfile,{prop}_{map}.png,t_{prop}_{map}.png\n" +
		"node,{part}_geo,{prop}_{part}\nnode,{part}_geo_LOD{lod},{prop}_{part}_lod{lod}\nmaterial,{part}_mat,m_{prop}_{part}\n"
)

// desk is a folder with a delivery, its spec and a table of names.
type renameDesk struct {
	t                       *testing.T
	dir, spec, table, props string
}

func newRenameDesk(t *testing.T) renameDesk {
	d := renameDesk{t: t, dir: t.TempDir()}
	d.spec, d.table, d.props = d.write("spec.yaml", renameSpec), d.write("names.csv", renameTable), filepath.Join(d.dir, "crate")
	one := glbwrite.Prim{Pos: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, Tri: []uint32{0, 1, 2}, Material: &glbwrite.Material{Name: "wood_mat"}}
	node := func(name string) *glbwrite.Node {
		return &glbwrite.Node{Name: name, Scale: [3]float64{1, 1, 1}, Rotation: [4]float64{0, 0, 0, 1}, Mesh: &glbwrite.Mesh{Name: name, Prims: []glbwrite.Prim{one}}}
	}
	b, err := glbwrite.Bytes(glbwrite.Scene{Roots: []*glbwrite.Node{node("lid_geo"), node("lid_geo_LOD1")}})
	require.NoError(t, err)
	d.write("crate/crate_LOD0.glb", string(b))
	d.write("crate/crate.gltf", `{"asset":{"version":"2.0"}, "images":[{"uri":"maps/crate_base_color.png"}], "nodes":[{"name":"hinge\u005fgeo", "extras":{"name":"hinge_geo"}}]}`)
	d.write("crate/maps/crate_base_color.png", "pixels")
	d.write("crate/delivery.yaml", "prop: crate # ours\nfiles:\n  - {path: crate_LOD0.glb, role: game}\n  - {path: maps/crate_base_color.png, role: map.base_color}\n")
	return d
}

func (d renameDesk) write(name, text string) string {
	at := filepath.Join(d.dir, name)
	require.NoError(d.t, os.MkdirAll(filepath.Dir(at), 0o755))
	require.NoError(d.t, os.WriteFile(at, []byte(text), 0o644))
	return at
}

func (d renameDesk) run(args ...string) (string, int) {
	var out bytes.Buffer
	code := Rename(Streams{Out: &out, Err: &out}, append([]string{"--spec", d.spec, "--names", d.table}, args...))
	return out.String(), code
}

// files are a folder's, by path.
func (d renameDesk) files(folder string) map[string]string {
	all := map[string]string{}
	require.NoError(d.t, filepath.Walk(folder, func(p string, info os.FileInfo, err error) error {
		if err == nil && !info.IsDir() {
			b, err := os.ReadFile(p)
			require.NoError(d.t, err)
			rel, _ := filepath.Rel(folder, p)
			all[filepath.ToSlash(rel)] = string(b)
		}
		return err
	}))
	return all
}

// TestRename: shown, then done in a copy; done again it changes nothing; back it is what it was, to the byte.
func TestRename(t *testing.T) {
	t.Parallel()
	d := newRenameDesk(t)
	before := d.files(d.props)
	text, code := d.run("--dry-run", d.props)
	require.Equal(t, ExitPass, code, text)
	for _, line := range []string{"crate_LOD0.glb -> crate_lod0.glb", "crate.gltf -> in/crate.gltf", "maps/crate_base_color.png -> maps/t_crate_base_color.png",
		"lid_geo -> crate_lid  (crate_LOD0.glb)", "lid_geo_LOD1 -> crate_lid_lod1", "wood_mat -> m_crate_wood", "hinge_geo -> crate_hinge  (crate.gltf)", "7 names would change"} {
		require.Contains(t, text, line)
	}
	entries, err := os.ReadDir(d.dir)
	require.NoError(t, err)
	require.Len(t, entries, 3, "a dry run writes nothing")

	text, code = d.run(d.props)
	require.Equal(t, ExitPass, code, text)
	require.Equal(t, before, d.files(d.props), "the folder itself is left alone")
	renamed := filepath.Join(d.dir, "crate-renamed")
	after := d.files(renamed)
	require.ElementsMatch(t, []string{"crate_lod0.glb", "in/crate.gltf", "maps/t_crate_base_color.png", "delivery.yaml"}, mapKeys(after))
	require.Equal(t, `{"asset":{"version":"2.0"}, "images":[{"uri":"../maps/t_crate_base_color.png"}], "nodes":[{"name":"crate_hinge", "extras":{"name":"hinge_geo"}}]}`, after["in/crate.gltf"], "nothing but names and references")
	require.Contains(t, after["delivery.yaml"], "path: crate_lod0.glb, role: game")
	require.Contains(t, after["delivery.yaml"], "# ours")
	// qmuntal/gltf reads what was written, and the geometry is byte for byte what it was.
	was, err := gltf.Open(filepath.Join(d.props, "crate_LOD0.glb"))
	require.NoError(t, err)
	is, err := gltf.Open(filepath.Join(renamed, "crate_lod0.glb"))
	require.NoError(t, err)
	require.Equal(t, []string{"crate_lid", "crate_lid_lod1", "m_crate_wood"}, []string{is.Nodes[0].Name, is.Nodes[1].Name, is.Materials[0].Name})
	require.Equal(t, was.Buffers[0].Data, is.Buffers[0].Data)

	text, code = d.run(d.props)
	require.Equal(t, ExitWrongCall, code, text)
	require.Contains(t, text, "is there already")
	text, code = d.run(renamed)
	require.Equal(t, ExitPass, code, text)
	require.Contains(t, text, "Nothing to rename")
	require.NoDirExists(t, renamed+"-renamed")

	text, code = d.run("--back", "--language", "de", "--out", filepath.Join(d.dir, "again"), renamed)
	require.Equal(t, ExitPass, code, text)
	require.Contains(t, text, "7 Namen geändert")
	again := d.files(filepath.Join(d.dir, "again"))
	for _, name := range []string{"crate_LOD0.glb", "maps/crate_base_color.png"} {
		require.Equal(t, before[name], again[name], name)
	}
	require.Equal(t, strings.Replace(before["crate.gltf"], `\u005f`, "_", 1), again["crate.gltf"])
}

// What cannot be is refused whole, and nothing is written.
func TestRenameRefuses(t *testing.T) {
	t.Parallel()
	for name, row := range map[string]struct{ file, table, says string }{
		"two become one":         {"crate_lod0.glb", renameTable, "would both become crate_lod0.glb"},
		"letter case alone":      {"CRATE_lod0.glb", renameTable, "would both become"},
		"off the spec's pattern": {"a.txt", "kind,vendor,studio\nnode,{part}_geo,n_{part}\n", "would not fit the spec’s names.pattern"},
		"two rules":              {"a.txt", "kind,vendor,studio\nnode,{part}_geo,{prop}_{part}\nnode,{n}_geo,{prop}_a{n}\nnode,lid_{part},{prop}_b_{part}\n", "could become"},
		"no way back":            {"a.txt", "kind,vendor,studio\nnode,{part}_{n},{prop}_{part}\n", "the same tokens"},
		"cannot be filled in":    {"a.txt", "kind,vendor,studio\nnode,*_geo,{prop}_x\n", "cannot be filled in"},
		"leaves the folder":      {"a.txt", "kind,vendor,studio\nfile,{part}.glb,../{part}.glb\n", "cannot be filled in"},
		"unknown kind":           {"a.txt", "kind,vendor,studio\nbone,{part}_geo,{prop}_{part}\n", "none of file"},
		"no header":              {"a.txt", "node,{part}_geo,{prop}_{part}\n", "first line"},
		"no glTF":                {"broken.glb", renameTable, "broken.glb: is no glTF"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := newRenameDesk(t)
			d.write("crate/"+row.file, "x")
			if strings.HasSuffix(row.file, "lod0.glb") {
				d.write("crate/"+row.file, d.files(d.props)["crate_LOD0.glb"])
			}
			d.write("names.csv", row.table)
			text, code := d.run(d.props)
			require.NotEqual(t, ExitPass, code, text)
			require.Contains(t, text, row.says)
			entries, err := os.ReadDir(d.dir)
			require.NoError(t, err)
			require.Len(t, entries, 3)
		})
	}
}

// Whatever a name is: converting twice is converting once, and what was converted comes back.
func TestRenameThereAndBack(t *testing.T) {
	t.Parallel()
	tokens := spec.Tokens{Prop: "crate"}
	there, err := readNames(strings.NewReader(renameTable), tokens, false)
	require.NoError(t, err)
	back, err := readNames(strings.NewReader(renameTable), tokens, true)
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		part := rapid.StringMatching(`[a-z]{1,6}(_[a-z]{1,4})?`).Draw(t, "part")
		old := fmt.Sprintf(rapid.SampledFrom([]string{"%s_geo", "%s_geo_LOD3", "%s"}).Draw(t, "form"), part)
		now, err := there.convert("node", old)
		if err != nil {
			return // two rules: said, not guessed
		}
		twice, err := there.convert("node", now)
		if err != nil || twice != now {
			t.Fatalf("%s -> %s -> %s %v", old, now, twice, err)
		}
		if now != old {
			if home, err := back.convert("node", now); err != nil || home != old {
				t.Fatalf("%s -> %s -> %s %v", old, now, home, err)
			}
		}
	})
}

func mapKeys(m map[string]string) (all []string) {
	for k := range maps.Keys(m) {
		all = append(all, k)
	}
	return all
}
