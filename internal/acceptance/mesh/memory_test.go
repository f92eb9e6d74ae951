package mesh

import (
	"bytes"
	"encoding/json"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// bombs are files that ask for far more than they hold.
func bombs() []fixture {
	list := func(n int, s string) string { return strings.TrimSuffix(strings.Repeat(s+",", n), ",") }
	zeros := `{"componentType":5126,"type":"VEC3","count":100000000,"min":[0,0,0],"max":[0,0,0]}`
	manyZeros := asset + `"accessors":[` + list(500, strings.Replace(zeros, "100000000", "1000000", 1)) + `],"meshes":[{"primitives":[`
	for i := range 500 {
		manyZeros += fmt.Sprintf(`{"attributes":{"POSITION":%d}},`, i)
	}
	manyZeros = strings.TrimSuffix(manyZeros, ",") + `]}]}`
	many := base() // one mesh of many primitives under many nodes
	var prims, nodes, roots []any
	for range 2000 {
		prims = append(prims, at(many, "meshes", 0)["primitives"].([]any)[0])
	}
	for i := range 20_000 {
		nodes = append(nodes, obj{"mesh": 0})
		roots = append(roots, i)
	}
	at(many, "meshes", 0)["primitives"], many["nodes"], many["scenes"] = prims, nodes, []any{obj{"nodes": roots}}
	manyText, _ := json.Marshal(many)
	return []fixture{
		raw("8 MB of empty objects in extras", "", glbFile([]byte(asset+`"extras":[`+list(2_700_000, "{}")+`]}`), nil)),
		raw("8 MB of empty nodes", "limits.nodes", glbFile([]byte(asset+`"nodes":[`+list(2_700_000, "{}")+`]}`), nil)),
		raw("6 million values in an unknown extension", "limits.json_values", glbFile([]byte(asset+`"extensionsUsed":["X_y"],"extensions":{"X_y":{"a":[`+list(6_000_000, "1")+`]}}}`), nil)),
		raw("100,000 keys in one object", "limits.json_keys", glbFile([]byte(asset+`"extensionsUsed":["X_y"],"extensions":{"X_y":{`+func() string {
			var b strings.Builder
			for i := range 100_000 {
				fmt.Fprintf(&b, `"k%d":0,`, i)
			}
			return strings.TrimSuffix(b.String(), ",")
		}()+`}}}`), nil)),
		raw("8 MB of opening brackets", "limits.json_depth", glbFile(bytes.Repeat([]byte("["), 8<<20), nil)),
		inline("100 million zeros without a view", "limits.expansion", asset+`"accessors":[`+zeros+`],"meshes":[{"primitives":[{"attributes":{"POSITION":0}}]}]}`),
		inline("500 times a million zeros", "limits.expansion", manyZeros),
		raw("2,000 primitives under 20,000 nodes", "limits.triangles", glbFile(manyText, baseBin())),
		{name: "obj of one endless line", file: "a.obj", files: MemSource{"a.obj": []byte("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\nf" + strings.Repeat(" 1", 4<<20))}, want: "limits.polygon"},
		{name: "obj of a million groups", file: "a.obj", files: MemSource{"a.obj": []byte("v 0 0 0\n" + func() string {
			var b strings.Builder
			for i := range 400_000 {
				fmt.Fprintf(&b, "g %d\nf 1 1 1\n", i)
			}
			return b.String()
		}())}, want: "limits.nodes"},
		{name: "obj of a million faults", file: "a.obj", files: MemSource{"a.obj": []byte(strings.Repeat("v x\n", 1<<20))}, want: "obj.number"},
	}
}

// Reading a hostile file allocates no more than a base and a small multiple of its size, whatever it claims. The
// multiple is the JSON tape's: 16 bytes a value, doubled as it grows, over values as short as two characters.
func TestMemoryStaysSmall(t *testing.T) {
	for _, f := range append(fixtures(), bombs()...) {
		size := uint64(0)
		for _, data := range f.files {
			size += uint64(len(data))
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		s, issues := Load(f.files, f.file, Limits{})
		runtime.ReadMemStats(&after)
		used := after.TotalAlloc - before.TotalAlloc
		require.Less(t, used, 70<<20+40*size, "%s: %d bytes of file", f.name, size)
		if f.want != "" {
			require.Contains(t, codes(issues, false), f.want, f.name)
		}
		require.Less(t, len(issues), 1000, f.name)
		s.Close()
		if size > 1<<20 {
			t.Logf("%-45s %6.1f MiB of file, %7.1f MiB allocated", f.name, float64(size)/(1<<20), float64(used)/(1<<20))
		} else {
			require.Less(t, used, uint64(66<<20), f.name)
		}
	}
}
