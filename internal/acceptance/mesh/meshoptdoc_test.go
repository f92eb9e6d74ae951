package mesh

import (
	"encoding/binary"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// packAttributes writes an attribute stream of version 0 that saves nothing: every group takes eight bits a value.
func packAttributes(data []byte, count, stride int) []byte {
	out := []byte{0xa0}
	last := make([]byte, stride)
	each := min(meshoptBlockBytes/stride&^(meshoptGroup-1), meshoptBlockMost)
	for at := 0; at < count; at += each {
		n := min(each, count-at)
		groups := (n + meshoptGroup - 1) / meshoptGroup
		for k := range stride {
			for range (groups + 3) / 4 {
				out = append(out, 0xff)
			}
			for i := range groups * meshoptGroup {
				if i >= n {
					out = append(out, 0)
					continue
				}
				v := data[(at+i)*stride+k]
				d := v - last[k]
				out, last[k] = append(out, d<<1^byte(int8(d)>>7)), v
			}
		}
	}
	return append(out, make([]byte, max(stride, meshoptTailLeast0))...)
}

// packSequence writes an index sequence whose differences are all to the index before.
func packSequence(index []uint32) []byte {
	out, last := []byte{0xd1}, uint32(0)
	for _, v := range index {
		d := v - last
		out, last = binary.AppendUvarint(out, uint64(uint32(d<<1^uint32(int32(d)>>31)))<<1&(1<<32-1)), v
	}
	return append(out, 0, 0, 0, 0)
}

// What is packed is unpacked, for any bytes.
func TestMeshoptRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		stride, count := 4*rapid.IntRange(1, 64).Draw(t, "words"), rapid.IntRange(1, 70).Draw(t, "count")
		data := rapid.SliceOfN(rapid.Byte(), stride*count, stride*count).Draw(t, "data")
		got, err := meshoptAttributes(packAttributes(data, count, stride), count, stride)
		require.NoError(t, err)
		require.Equal(t, data, got)

		index := rapid.SliceOfN(rapid.Uint32Max(1<<29), 1, 50).Draw(t, "index")
		raw, err := meshoptSequence(packSequence(index), len(index), 4)
		require.NoError(t, err)
		for i, v := range index {
			require.Equal(t, v, binary.LittleEndian.Uint32(raw[4*i:]))
		}
	})
}

// packedDocument is base with its views packed; the second buffer is the one that readers without the extension would ask.
func packedDocument() (doc obj, bin []byte) {
	doc, plain := base(), baseBin()
	doc["extensionsUsed"], doc["extensionsRequired"] = []any{meshoptName}, []any{meshoptName}
	var index []uint32
	for i := range 6 {
		index = append(index, uint32(binary.LittleEndian.Uint16(plain[128+2*i:])))
	}
	for i, v := range []struct {
		packed        []byte
		mode          string
		stride, count int
	}{
		{packAttributes(plain[:48], 4, 12), "ATTRIBUTES", 12, 4}, {packAttributes(plain[48:96], 4, 12), "ATTRIBUTES", 12, 4},
		{packAttributes(plain[96:128], 4, 8), "ATTRIBUTES", 8, 4}, {packSequence(index), "INDICES", 2, 6},
	} {
		view := at(doc, "bufferViews", i)
		view["buffer"] = 1
		view["extensions"] = obj{meshoptName: obj{"buffer": 0, "byteOffset": len(bin), "byteLength": len(v.packed), "byteStride": v.stride,
			"count": v.count, "mode": v.mode, "filter": "NONE"}}
		bin = append(bin, v.packed...)
	}
	doc["buffers"] = []any{obj{"byteLength": len(bin)}, obj{"byteLength": 140, "extensions": obj{meshoptName: obj{"fallback": true}}}}
	return doc, bin
}

func TestMeshoptDocument(t *testing.T) { // alone: it counts what is allocated
	load := func(doc obj, bin []byte) (*Scene, []Issue) {
		s, issues := Load(MemSource{"a.glb": glbFile(jsonText(doc), bin)}, "a.glb", Limits{})
		t.Cleanup(func() { s.Close() })
		return s, issues
	}
	doc, bin := packedDocument()
	s, issues := load(doc, bin)
	require.Empty(t, codes(issues, false))
	plain, _ := load(base(), baseBin())
	require.Equal(t, plain.Prims[0].Pos, s.Prims[0].Pos)
	require.Equal(t, plain.Prims[0].Nrm, s.Prims[0].Nrm)
	require.Equal(t, plain.Prims[0].UV, s.Prims[0].UV)
	require.Equal(t, plain.Prims[0].Tri, s.Prims[0].Tri)

	for name, change := range map[string]func(ext, view obj){
		"no buffer":              func(ext, _ obj) { delete(ext, "buffer") },
		"a buffer that is not":   func(ext, _ obj) { ext["buffer"] = 7 },
		"a buffer that is text":  func(ext, _ obj) { ext["buffer"] = "0" },
		"itself":                 func(ext, _ obj) { ext["buffer"] = 1 },
		"before the buffer":      func(ext, _ obj) { ext["byteOffset"] = -8 },
		"behind the buffer":      func(ext, _ obj) { ext["byteOffset"] = 1 << 40 },
		"offset that overflows":  func(ext, _ obj) { ext["byteOffset"] = int64(1) << 62 },
		"length that overflows":  func(ext, _ obj) { ext["byteLength"] = int64(1) << 62 },
		"too short":              func(ext, _ obj) { ext["byteLength"] = 9 },
		"another mode":           func(ext, _ obj) { ext["mode"] = "TRIANGLES" },
		"no mode":                func(ext, _ obj) { delete(ext, "mode") },
		"another filter":         func(ext, _ obj) { ext["filter"] = "OCTAHEDRAL" },
		"another count":          func(ext, _ obj) { ext["count"] = 5 },
		"a negative count":       func(ext, _ obj) { ext["count"] = -4 },
		"no stride":              func(ext, _ obj) { ext["byteStride"] = 0 },
		"an odd stride":          func(ext, view obj) { ext["byteStride"], ext["count"] = 6, 8 },
		"a stride of the view's": func(_, view obj) { view["byteStride"] = 16 },
		"far more than it holds": func(ext, view obj) { ext["count"], view["byteLength"] = 1<<26, 12<<26 },
	} {
		doc, bin := packedDocument()
		view := at(doc, "bufferViews", 0)
		change(at(view, "extensions", meshoptName), view)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, issues := load(doc, bin)
		runtime.ReadMemStats(&after)
		require.NotEmpty(t, codes(issues, false), name)
		require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(8<<20), name)
	}
}
