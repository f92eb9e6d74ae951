package main

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
)

// writeGLB writes one node with one mesh of one primitive (glTF 2.0, binary container, chapter 4).
func writeGLB(path, name string, m mesh) error {
	n, t := len(m.pos)/3, len(m.idx)
	lo, hi := [3]float32{m.pos[0], m.pos[1], m.pos[2]}, [3]float32{m.pos[0], m.pos[1], m.pos[2]}
	for i, x := range m.pos {
		lo[i%3], hi[i%3] = min(lo[i%3], x), max(hi[i%3], x)
	}
	type object = map[string]any
	sizes := []int{12 * n, 12 * n, 8 * n, 4 * t}
	var views []object
	at := 0
	for i, s := range sizes {
		target := 34962
		if i == 3 {
			target = 34963
		}
		views = append(views, object{"buffer": 0, "byteOffset": at, "byteLength": s, "target": target})
		at += s
	}
	doc := object{
		"asset":  object{"version": "2.0", "generator": "bollard"},
		"scene":  0,
		"scenes": []object{{"nodes": []int{0}}},
		"nodes":  []object{{"name": name, "mesh": 0}},
		"meshes": []object{{"name": name, "primitives": []object{{
			"attributes": object{"POSITION": 0, "NORMAL": 1, "TEXCOORD_0": 2}, "indices": 3, "mode": 4,
		}}}},
		"accessors": []object{
			{"bufferView": 0, "componentType": 5126, "count": n, "type": "VEC3", "min": lo, "max": hi},
			{"bufferView": 1, "componentType": 5126, "count": n, "type": "VEC3"},
			{"bufferView": 2, "componentType": 5126, "count": n, "type": "VEC2"},
			{"bufferView": 3, "componentType": 5125, "count": t, "type": "SCALAR"},
		},
		"bufferViews": views,
		"buffers":     []object{{"byteLength": at}},
	}
	text, err := json.Marshal(doc)
	if err != nil {
		return err
	}
	for len(text)%4 != 0 {
		text = append(text, ' ')
	}
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	w := bufio.NewWriterSize(f, 1<<20)
	u32 := func(v uint32) { w.Write(binary.LittleEndian.AppendUint32(nil, v)) }
	u32(0x46546C67)
	u32(2)
	u32(uint32(12 + 8 + len(text) + 8 + at))
	u32(uint32(len(text)))
	u32(0x4E4F534A)
	w.Write(text)
	u32(uint32(at))
	u32(0x004E4942)
	for _, a := range [][]float32{m.pos, m.nrm, m.uv} {
		writeFloats(w, a)
	}
	var b [4]byte
	for _, i := range m.idx {
		binary.LittleEndian.PutUint32(b[:], i)
		w.Write(b[:])
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return f.Close()
}

func writeFloats(w *bufio.Writer, a []float32) {
	var b [4]byte
	for _, x := range a {
		binary.LittleEndian.PutUint32(b[:], math.Float32bits(x))
		w.Write(b[:])
	}
}
