package endtoend

import (
	"bytes"
	"compress/zlib"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
)

// glb wraps a document and its binary chunk into a container (glTF 2.0, 4.4).
func glb(document string, bin []byte) []byte {
	for len(document)%4 != 0 {
		document += " "
	}
	for len(bin)%4 != 0 {
		bin = append(bin, 0)
	}
	out := binary.LittleEndian.AppendUint32([]byte("glTF"), 2)
	out = binary.LittleEndian.AppendUint32(out, uint32(12+8+len(document)+8+len(bin)))
	out = binary.LittleEndian.AppendUint32(out, uint32(len(document)))
	out = append(append(out, "JSON"...), document...)
	out = binary.LittleEndian.AppendUint32(out, uint32(len(bin)))
	return append(append(out, "BIN\x00"...), bin...)
}

// parts takes a container apart again.
func parts(t *testing.T, file []byte) (document map[string]any, bin []byte) {
	t.Helper()
	n := binary.LittleEndian.Uint32(file[12:])
	require.NoError(t, json.Unmarshal(file[20:20+n], &document))
	return document, file[20+n+8:]
}

// edited is the box with its document changed.
func edited(t *testing.T, code string, change func(doc map[string]any, bin []byte)) []byte {
	t.Helper()
	doc, bin := parts(t, boxGLB(t, code))
	change(doc, bin)
	text, err := json.Marshal(doc)
	require.NoError(t, err)
	return glb(string(text), bin)
}

func item(doc map[string]any, list string, i int) map[string]any {
	return doc[list].([]any)[i].(map[string]any)
}

// hugePNG is a PNG of 60,000 × 60,000 pixels by its header, and hardly any bytes (PNG, 5.3 and 11.2.2).
func hugePNG() []byte {
	chunk := func(kind string, data []byte) []byte {
		out := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
		body := append([]byte(kind), data...)
		return binary.BigEndian.AppendUint32(append(out, body...), crc32.ChecksumIEEE(body))
	}
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, 60_000), 60_000)
	return bytes.Join([][]byte{[]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", append(head, 16, 6, 0, 0, 0)), chunk("IDAT", []byte{0x78, 0x9c}), chunk("IEND", nil)}, nil)
}

// swellingPNG says that it has 16 × 16 pixels and unpacks to 128 MiB.
func swellingPNG(t *testing.T) []byte {
	chunk := func(kind string, data []byte) []byte {
		body := append([]byte(kind), data...)
		return binary.BigEndian.AppendUint32(append(binary.BigEndian.AppendUint32(nil, uint32(len(data))), body...), crc32.ChecksumIEEE(body))
	}
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed)
	for range 128 {
		_, err := z.Write(make([]byte, 1<<20))
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, 16), 16)
	return bytes.Join([][]byte{[]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", append(head, 8, 6, 0, 0, 0)), chunk("IDAT", packed.Bytes()), chunk("IEND", nil)}, nil)
}

// wrong is one thing that goes wrong, and what the sender must be told.
type wrong struct {
	name  string
	file  func(t *testing.T, code string) []byte // of the game mesh
	ext   string                                 // ".glb" unless said
	extra map[string][]byte                      // more files, by the end of their names
	check string                                 // that fails; "": none need say so, and memory must stay small all the same
	says  string
	where string // "offset", "pointer" or "" where the file itself is the place
}

func wrongs(t *testing.T, elsewhere string) []wrong {
	good := boxGLB(t, "box")
	whole := func(_ *testing.T, code string) []byte { return good }
	return []wrong{
		{name: "truncated", file: func(*testing.T, string) []byte { return good[:len(good)*2/3] }, check: "file.format", says: "cut off", where: "offset"},
		{name: "wrong extension", file: whole, ext: ".gltf", check: "file.format", says: ".glb"},
		{name: "nested JSON bomb", file: func(*testing.T, string) []byte {
			return glb(`{"asset":{"version":"2.0"},"extras":`+strings.Repeat("[", 2<<20)+strings.Repeat("]", 2<<20)+`}`, nil)
		}, check: "file.format", says: "deep", where: "offset"},
		{name: "wide JSON bomb", file: func(*testing.T, string) []byte {
			return glb(`{"asset":{"version":"2.0"},"nodes":[`+strings.Repeat("{},", 8<<20)+`{}]}`, nil)
		}, check: "file.format", says: "values", where: "offset"},
		{name: "accessor past its buffer", file: func(t *testing.T, code string) []byte {
			return edited(t, code, func(doc map[string]any, _ []byte) { item(doc, "accessors", 0)["count"] = 1000 })
		}, check: "file.format", says: "", where: "pointer"},
		{name: "2^32 indices", file: func(t *testing.T, code string) []byte {
			return edited(t, code, func(doc map[string]any, _ []byte) {
				prim := item(doc, "meshes", 0)["primitives"].([]any)[0].(map[string]any)
				item(doc, "accessors", int(prim["indices"].(float64)))["count"] = 1 << 32
			})
		}, check: "file.format", says: "4294967296", where: "pointer"},
		{name: "NaN positions", file: func(t *testing.T, code string) []byte {
			return edited(t, code, func(doc map[string]any, bin []byte) {
				prim := item(doc, "meshes", 0)["primitives"].([]any)[0].(map[string]any)
				acc := item(doc, "accessors", int(prim["attributes"].(map[string]any)["POSITION"].(float64)))
				at, _ := item(doc, "bufferViews", int(acc["bufferView"].(float64)))["byteOffset"].(float64)
				binary.LittleEndian.PutUint32(bin[int(at)+24:], math.Float32bits(float32(math.NaN())))
			})
		}, check: "file.format", says: "", where: "pointer"},
		{name: "image of 60,000 by 60,000", file: whole, extra: map[string][]byte{"_base_color.png": hugePNG()}, check: "file.format", says: "60000"},
		{name: "image of 60,000 by 60,000 inside", file: func(t *testing.T, code string) []byte {
			return edited(t, code, func(doc map[string]any, _ []byte) {
				doc["images"] = []any{map[string]any{"uri": "data:image/png;base64," + base64Of(hugePNG())}}
				doc["textures"] = []any{map[string]any{"source": 0}}
				item(doc, "materials", 0)["pbrMetallicRoughness"] = map[string]any{"baseColorTexture": map[string]any{"index": 0}}
			})
		}, check: "file.format", says: "60000", where: "pointer"},
		{name: "endless scene graph", file: func(t *testing.T, code string) []byte {
			return edited(t, code, func(doc map[string]any, _ []byte) {
				doc["nodes"] = append(doc["nodes"].([]any), map[string]any{"children": []any{0}})
				item(doc, "nodes", 0)["children"] = []any{1}
			})
		}, check: "file.format", says: "", where: "pointer"},
		{name: "a chain of 100,000 nodes", file: func(*testing.T, string) []byte {
			var b strings.Builder
			for i := 1; i < 100_000; i++ {
				fmt.Fprintf(&b, `{"children":[%d]},`, i)
			}
			return glb(`{"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[0]}],"nodes":[`+b.String()+`{}]}`, nil)
		}, check: "file.format", says: "", where: "pointer"},
		{name: "elements that overlap each other", file: func(t *testing.T, code string) []byte {
			return edited(t, code, func(doc map[string]any, _ []byte) {
				prim := item(doc, "meshes", 0)["primitives"].([]any)[0].(map[string]any)
				acc := item(doc, "accessors", int(prim["attributes"].(map[string]any)["POSITION"].(float64)))
				item(doc, "bufferViews", int(acc["bufferView"].(float64)))["byteStride"] = 4 // of 12 bytes each
			})
		}, check: "file.format", says: "", where: "pointer"},
		{name: "an image that unpacks without end", file: whole, extra: map[string][]byte{"_base_color.png": swellingPNG(t)}}, // read as far as its header says, and no byte further
		{name: "external URI", file: func(t *testing.T, code string) []byte {
			return edited(t, code, func(doc map[string]any, _ []byte) {
				doc["images"] = []any{map[string]any{"uri": elsewhere + "/quay.png"}}
			})
		}, check: "file.self_contained", says: elsewhere, where: "pointer"},
		{name: "path out of the delivery", file: func(t *testing.T, code string) []byte {
			return edited(t, code, func(doc map[string]any, _ []byte) {
				doc["images"] = []any{map[string]any{"uri": "../../../etc/passwd"}}
			})
		}, check: "file.self_contained", says: "..", where: "pointer"},
	}
}

// What goes wrong reaches the sender as one clear finding; memory stays far under the limit, the next delivery is not
// held up, and what was stored before is still there.
func TestWhatGoesWrong(t *testing.T) {
	t.Parallel()
	asked := make(chan string, 100)
	elsewhere := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { asked <- r.URL.Path }))
	defer elsewhere.Close()
	h := newHarbour(t)
	p := h.serve("--memory-mb", "512", "--minutes", "1")
	before := h.deliver(h.contract("first", "background", boxSpec("first")), folderOf(t, "first", ".glb", boxGLB(t, "first"), nil), map[string]string{"first_game.glb": "game"})
	first := h.await(before)

	cases := wrongs(t, elsewhere.URL)
	for i, c := range cases {
		code := "box_" + string(rune('a'+i))
		if c.ext == "" {
			c.ext = ".glb"
		}
		roles := map[string]string{code + "_game" + c.ext: "game"}
		for end := range c.extra {
			roles[code+end] = "map." + strings.TrimPrefix(strings.TrimSuffix(end, ".png"), "_")
		}
		folder := folderOf(t, code, c.ext, c.file(t, code), c.extra)
		got := h.await(h.deliver(h.contract(code, "background", boxSpec(code)), folder, roles))
		require.EqualValues(t, "fail", *got.Verdict, "%s: %s", c.name, got.Headline)
		e := h.evidence(got)
		if c.check != "" {
			requireTold(t, c, e)
		}
	}
	require.Empty(t, asked, "nothing outside the delivery is ever fetched")

	last := h.await(h.deliver(h.contract("last", "background", boxSpec("last")), folderOf(t, "last", ".glb", boxGLB(t, "last"), nil), map[string]string{"last_game.glb": "game"}))
	h.evidence(last)
	h.evidence(first)
	h.recordedOnce(len(cases) + 2)
	require.Equal(t, 1, h.count(`SELECT max(attempts) FROM ph.inspection`), "none needed a second try")
	require.Zero(t, h.count(`SELECT count(*) FROM ph.inspection WHERE finished_at - started_at > interval '30 seconds'`))
	held := p.logged("most memory held")
	require.Len(t, held, len(cases)+2)
	for _, line := range held {
		mib, err := strconv.Atoi(strings.Fields(line["msg"].(string))[3])
		require.NoError(t, err)
		require.Less(t, mib, 400, line)
		t.Log(line["msg"])
	}
	require.Zero(t, p.stop())
}

// What one delivery may have is not enough for it: it is not evaluated, once, with the reason, and nobody else is held up.
func TestALimitIsToldAsTheReason(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	p := h.serve("--memory-mb", "8") // less than the program itself needs
	got := h.await(h.deliver(h.contract("box", "background", boxSpec("box")), folderOf(t, "box", ".glb", boxGLB(t, "box"), nil), map[string]string{"box_game.glb": "game"}))
	require.EqualValues(t, "not_evaluated", *got.Verdict)
	require.Contains(t, got.Headline, "more memory than one delivery may have (8 MiB)")
	h.recordedOnce(1)
	require.Equal(t, 1, h.count(`SELECT attempts FROM ph.inspection`), "it would be the same again")
	require.Zero(t, p.stop())
}

func folderOf(t *testing.T, code, ext string, game []byte, extra map[string][]byte) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, code+"_game"+ext), game, 0o600))
	for end, data := range extra {
		require.NoError(t, os.WriteFile(filepath.Join(dir, code+end), data, 0o600))
	}
	return dir
}

// requireTold looks for the finding that names what, where and what to do.
func requireTold(t *testing.T, c wrong, e *acceptance.Evidence) {
	t.Helper()
	var told []string
	for _, f := range findings(e, c.check) {
		if f.Outcome != acceptance.Fail {
			continue
		}
		told = append(told, fmt.Sprintf("%s: %s %+v", f.File, f.Sentence, f.Where))
		if !f.Blocks || f.FollowsFrom != "" || !strings.Contains(f.Sentence, c.says) || f.Sentence == "" || f.Remedy == "" || f.Why == "" || f.File == "" {
			continue
		}
		at := c.where == ""
		for _, w := range f.Where {
			at = at || c.where == "offset" && w.Offset != nil || c.where == "pointer" && w.Pointer != ""
		}
		if at {
			return
		}
	}
	require.Fail(t, "the sender is not told", "%s: %v", c.name, told)
}

func base64Of(b []byte) string { return base64.StdEncoding.EncodeToString(b) }
