package canon

import (
	"bytes"
	"encoding/json"
	"reflect"
	"testing"
)

// FuzzTransform holds that a canonical form is its own canonical form and says the same as what it was made of (RFC 8785).
func FuzzTransform(f *testing.F) {
	for _, seed := range []string{`{"b":1e30,"a":[0.1,-0,"\u20ac\n"],"\ud83d\ude00":null}`, `[1.7976931348623157e308,5e-324,true]`, `"\u0000\\"`, `{"a":{"a":{}}}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, doc []byte) {
		sameAsSlowly(t, doc)
		once, err := Transform(doc)
		if err != nil {
			return
		}
		twice, err := Transform(once)
		if err != nil || !bytes.Equal(once, twice) {
			t.Fatalf("%q became %q, then %q, %v", doc, once, twice, err)
		}
		var a, b any
		if json.Unmarshal(doc, &a) == nil && (json.Unmarshal(once, &b) != nil || !reflect.DeepEqual(a, b)) {
			t.Fatalf("%q says something else as %q", doc, once)
		}
	})
}
