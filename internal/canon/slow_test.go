package canon

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"testing"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// slowly is Transform as the standard says it, value by value, over encoding/json's own tokens.
func slowly(doc []byte) ([]byte, error) {
	if !utf8.Valid(doc) {
		return nil, errors.New("canonical JSON: the text is not UTF-8")
	}
	if err := loneSurrogate(doc); err != nil {
		return nil, err
	}
	dec := json.NewDecoder(bytes.NewReader(doc))
	dec.UseNumber()
	out := make([]byte, 0, len(doc))
	out, err := slowAppendNext(out, dec, 0)
	if err != nil {
		return nil, fmt.Errorf("canonical JSON: %w", err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("canonical JSON: text after the document")
	}
	return out, nil
}

func slowAppendNext(out []byte, dec *json.Decoder, depth int) ([]byte, error) {
	t, err := dec.Token()
	if err != nil {
		return nil, err
	}
	return slowAppendValue(out, dec, t, depth)
}

func slowAppendValue(out []byte, dec *json.Decoder, t json.Token, depth int) ([]byte, error) {
	if depth > maxDepth {
		return nil, fmt.Errorf("more than %d levels deep", maxDepth)
	}
	switch v := t.(type) {
	case nil:
		return append(out, "null"...), nil
	case bool:
		return strconv.AppendBool(out, v), nil
	case string:
		return appendString(out, v), nil
	case json.Number:
		return appendNumber(out, v)
	case json.Delim:
		if v == '[' {
			return slowAppendArray(out, dec, depth)
		}
		return slowAppendObject(out, dec, depth)
	}
	return nil, fmt.Errorf("unexpected %T", t)
}

func slowAppendArray(out []byte, dec *json.Decoder, depth int) ([]byte, error) {
	out = append(out, '[')
	var err error
	for first := true; dec.More(); first = false {
		if !first {
			out = append(out, ',')
		}
		if out, err = slowAppendNext(out, dec, depth+1); err != nil {
			return nil, err
		}
	}
	if _, err = dec.Token(); err != nil {
		return nil, err
	}
	return append(out, ']'), nil
}

// appendObject sorts members by their names' UTF-16 code units (section 3.2.3).
func slowAppendObject(out []byte, dec *json.Decoder, depth int) ([]byte, error) {
	type member struct {
		name  string
		units []uint16
		value []byte
	}
	var members []member
	for dec.More() {
		t, err := dec.Token()
		if err != nil {
			return nil, err
		}
		name := t.(string) // the decoder lets nothing else through
		value, err := slowAppendNext(nil, dec, depth+1)
		if err != nil {
			return nil, err
		}
		members = append(members, member{name, utf16.Encode([]rune(name)), value})
	}
	if _, err := dec.Token(); err != nil {
		return nil, err
	}
	slices.SortFunc(members, func(a, b member) int { return slices.Compare(a.units, b.units) })
	out = append(out, '{')
	for i, m := range members {
		if i > 0 {
			if m.name == members[i-1].name {
				return nil, fmt.Errorf("the key %q is given twice", m.name)
			}
			out = append(out, ',')
		}
		out = appendString(out, m.name)
		out = append(out, ':')
		out = append(out, m.value...)
	}
	return append(out, '}'), nil
}

// sameAsSlowly holds that both refuse the same documents and write the others alike.
func sameAsSlowly(t require.TestingT, doc []byte) {
	want, refused := slowly(doc)
	got, err := Transform(doc)
	require.Equal(t, refused == nil, err == nil, "%q: %v, %v", doc, refused, err)
	require.Equal(t, string(want), string(got), "%q", doc)
}

func TestAsSlowly(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var value func(depth int) string
		space := func() string { return rapid.SampledFrom([]string{"", "", " ", "\n\t"}).Draw(t, "space") }
		text := func() string {
			s := rapid.StringOf(rapid.SampledFrom([]rune("abAB\"\\\u007f\u0080\ud7ff\ue000\uffff\U00010000\U0010ffff/<&\n\u0001"))).Draw(t, "text")
			if rapid.Bool().Draw(t, "escaped") {
				out := `"`
				for _, unit := range utf16.Encode([]rune(s)) {
					out += fmt.Sprintf(`\u%04X`, unit)
				}
				return out + `"`
			}
			data, _ := json.Marshal(s)
			return string(data)
		}
		value = func(depth int) string {
			kind := rapid.IntRange(0, 6).Draw(t, "kind")
			if depth > 3 {
				kind %= 4
			}
			switch kind {
			case 0:
				return rapid.SampledFrom([]string{"null", "true", "false", "0", "-0", "-0.0", "1e3", "1E-7", "999999999999999", "-1234567890123456", "9007199254740993", "1e21", "0.1"}).Draw(t, "literal")
			case 1:
				return strconv.FormatFloat(rapid.Float64().Draw(t, "number"), 'g', -1, 64)
			case 2, 3:
				return text()
			case 4:
				out := "["
				for i := range rapid.IntRange(0, 4).Draw(t, "items") {
					if i > 0 {
						out += ","
					}
					out += space() + value(depth+1) + space()
				}
				return out + space() + "]"
			}
			out := "{"
			for i := range rapid.IntRange(0, 10).Draw(t, "members") {
				if i > 0 {
					out += ","
				}
				out += space() + text() + space() + ":" + space() + value(depth+1) + space()
			}
			return out + space() + "}"
		}
		sameAsSlowly(t, []byte(space()+value(0)+space()))
	})
	for _, depth := range []int{maxDepth, maxDepth + 1} {
		sameAsSlowly(t, append(bytes.Repeat([]byte("["), depth+1), bytes.Repeat([]byte("]"), depth+1)...))
	}
}
