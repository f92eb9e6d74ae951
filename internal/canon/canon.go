// Package canon writes JSON in the canonical form of RFC 8785 (JSON Canonicalization Scheme), so that equal documents
// have equal bytes and therefore equal digests.
//
// It never changes a value: what the form cannot hold exactly (an integer beyond 2^53, text that is not Unicode, a key
// given twice) is an error and not rounded.
package canon

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// maxDepth bounds nesting, so that a hostile document cannot exhaust the stack. Free choice, far above our documents.
const maxDepth = 256

// Marshal returns the canonical form of v's JSON encoding (encoding/json's tags and rules apply).
func Marshal(v any) ([]byte, error) {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, fmt.Errorf("canonical JSON: %w", err)
	}
	return Transform(buf.Bytes())
}

// Transform returns the canonical form of one JSON document.
func Transform(doc []byte) ([]byte, error) {
	if !utf8.Valid(doc) {
		return nil, errors.New("canonical JSON: the text is not UTF-8")
	}
	if err := loneSurrogate(doc); err != nil {
		return nil, err
	}
	dec := json.NewDecoder(bytes.NewReader(doc))
	dec.UseNumber()
	out := make([]byte, 0, len(doc))
	out, err := appendNext(out, dec, 0)
	if err != nil {
		return nil, fmt.Errorf("canonical JSON: %w", err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("canonical JSON: text after the document")
	}
	return out, nil
}

// Digest returns the SHA-256 (FIPS 180-4) of canonical bytes in lower-case hex.
func Digest(canonical []byte) string {
	sum := sha256.Sum256(canonical)
	return hex.EncodeToString(sum[:])
}

func appendNext(out []byte, dec *json.Decoder, depth int) ([]byte, error) {
	t, err := dec.Token()
	if err != nil {
		return nil, err
	}
	return appendValue(out, dec, t, depth)
}

func appendValue(out []byte, dec *json.Decoder, t json.Token, depth int) ([]byte, error) {
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
			return appendArray(out, dec, depth)
		}
		return appendObject(out, dec, depth)
	}
	return nil, fmt.Errorf("unexpected %T", t)
}

func appendArray(out []byte, dec *json.Decoder, depth int) ([]byte, error) {
	out = append(out, '[')
	var err error
	for first := true; dec.More(); first = false {
		if !first {
			out = append(out, ',')
		}
		if out, err = appendNext(out, dec, depth+1); err != nil {
			return nil, err
		}
	}
	if _, err = dec.Token(); err != nil {
		return nil, err
	}
	return append(out, ']'), nil
}

// appendObject sorts members by their names' UTF-16 code units (section 3.2.3).
func appendObject(out []byte, dec *json.Decoder, depth int) ([]byte, error) {
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
		value, err := appendNext(nil, dec, depth+1)
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

// appendString escapes what section 3.2.2.2 says and nothing else.
func appendString(out []byte, s string) []byte {
	const hexDigits = "0123456789abcdef"
	out = append(out, '"')
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case c == '"' || c == '\\':
			out = append(out, '\\', c)
		case c >= 0x20:
			out = append(out, c)
		case c == '\b':
			out = append(out, '\\', 'b')
		case c == '\t':
			out = append(out, '\\', 't')
		case c == '\n':
			out = append(out, '\\', 'n')
		case c == '\f':
			out = append(out, '\\', 'f')
		case c == '\r':
			out = append(out, '\\', 'r')
		default:
			out = append(out, '\\', 'u', '0', '0', hexDigits[c>>4], hexDigits[c&15])
		}
	}
	return append(out, '"')
}

// appendNumber writes a number as ECMAScript's Number.prototype.toString does (section 3.2.2.3): the shortest digits
// that read back as the same double, plain from 1e-6 up to below 1e21, else with an exponent.
func appendNumber(out []byte, n json.Number) ([]byte, error) {
	f, err := strconv.ParseFloat(string(n), 64)
	if err != nil {
		return nil, fmt.Errorf("the number %s is out of range", n)
	}
	if !strings.ContainsAny(string(n), ".eE") {
		// The shortest digits of a double past 2^53 need not be its exact value, so those pass too.
		i, ok := new(big.Int).SetString(string(n), 10)
		back, _ := new(big.Float).SetFloat64(f).Int(nil)
		if shortest := strconv.FormatFloat(f, 'f', -1, 64); !ok || i.Cmp(back) != 0 && shortest != string(n) {
			return nil, fmt.Errorf("the integer %s is not exact as a double", n)
		}
	}
	if f == 0 {
		return append(out, '0'), nil // also for -0
	}
	if abs := math.Abs(f); abs >= 1e-6 && abs < 1e21 {
		return strconv.AppendFloat(out, f, 'f', -1, 64), nil
	}
	e := strconv.FormatFloat(f, 'e', -1, 64)
	// Go pads the exponent to two digits, ECMAScript does not.
	if i := len(e) - 2; e[i] == '0' && (e[i-1] == '-' || e[i-1] == '+') {
		e = e[:i] + e[i+1:]
	}
	return append(out, e...), nil
}

// loneSurrogate finds an escaped half of a surrogate pair: encoding/json would quietly replace it.
func loneSurrogate(doc []byte) error {
	for i := 0; i+1 < len(doc); i++ {
		if doc[i] != '\\' {
			continue
		}
		if doc[i+1] != 'u' {
			i++
			continue
		}
		r, ok := escaped(doc[i:])
		i += 5
		if !ok || !utf16.IsSurrogate(r) {
			continue
		}
		low, ok := escaped(doc[min(i+1, len(doc)):])
		if !ok || utf16.DecodeRune(r, low) == utf8.RuneError {
			return fmt.Errorf("canonical JSON: half a surrogate pair at byte %d", i-5)
		}
		i += 6
	}
	return nil
}

func escaped(b []byte) (rune, bool) {
	if len(b) < 6 || b[0] != '\\' || b[1] != 'u' {
		return 0, false
	}
	v, err := strconv.ParseUint(string(b[2:6]), 16, 32)
	return rune(v), err == nil
}
