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
	if !json.Valid(doc) {
		return nil, fmt.Errorf("canonical JSON: %w", json.Unmarshal(doc, new(json.RawMessage)))
	}
	r := reader{doc: doc}
	out, err := r.appendValue(make([]byte, 0, len(doc)), 0)
	if err != nil {
		return nil, fmt.Errorf("canonical JSON: %w", err)
	}
	return out, nil
}

// Digest returns the SHA-256 (FIPS 180-4) of canonical bytes in lower-case hex.
func Digest(canonical []byte) string {
	sum := sha256.Sum256(canonical)
	return hex.EncodeToString(sum[:])
}

// reader walks over a document that is known to be JSON in UTF-8.
type reader struct {
	doc []byte
	at  int
}

// next skips white space and separators and returns the byte that stands behind them.
func (r *reader) next() byte {
	for {
		switch c := r.doc[r.at]; c {
		case ' ', '\t', '\n', '\r', ',', ':':
			r.at++
		default:
			return c
		}
	}
}

func (r *reader) appendValue(out []byte, depth int) ([]byte, error) {
	if depth > maxDepth {
		return nil, fmt.Errorf("more than %d levels deep", maxDepth)
	}
	switch c := r.next(); c {
	case '"':
		raw := r.text()
		if bytes.IndexByte(raw, '\\') < 0 {
			return append(out, raw...), nil
		}
		s, err := unquoted(raw)
		if err != nil {
			return nil, err
		}
		return appendString(out, s), nil
	case '[':
		return r.appendArray(out, depth)
	case '{':
		return r.appendObject(out, depth)
	case 't', 'f', 'n':
		n := 4
		if c == 'f' {
			n = 5
		}
		r.at += n
		return append(out, r.doc[r.at-n:r.at]...), nil
	}
	return r.appendNumber(out)
}

// text takes a string with its quotation marks, as it stands.
func (r *reader) text() []byte {
	from := r.at
	for r.at++; r.doc[r.at] != '"'; r.at++ {
		if r.doc[r.at] == '\\' {
			r.at++
		}
	}
	r.at++
	return r.doc[from:r.at]
}

func unquoted(raw []byte) (s string, err error) {
	err = json.Unmarshal(raw, &s)
	return s, err
}

// appendNumber takes a number. An integer that every double holds stays as it is written.
func (r *reader) appendNumber(out []byte) ([]byte, error) {
	from, short := r.at, true
	for ; r.at < len(r.doc); r.at++ {
		c := r.doc[r.at]
		if c >= '0' && c <= '9' || c == '-' && r.at == from {
			continue
		}
		if c != '-' && c != '+' && c != '.' && c != 'e' && c != 'E' {
			break
		}
		short = false
	}
	n := r.doc[from:r.at]
	if short && len(n) <= 15 && string(n) != "-0" { // 10^15 < 2^53
		return append(out, n...), nil
	}
	return appendNumber(out, json.Number(n))
}

func (r *reader) appendArray(out []byte, depth int) ([]byte, error) {
	out = append(out, '[')
	r.at++
	var err error
	for first := true; r.next() != ']'; first = false {
		if !first {
			out = append(out, ',')
		}
		if out, err = r.appendValue(out, depth+1); err != nil {
			return nil, err
		}
	}
	r.at++
	return append(out, ']'), nil
}

// member is one member of an object that is being written: its name, and where in the output it stands.
type member struct {
	name     string
	from, to int
}

// appendObject sorts members by their names' UTF-16 code units (section 3.2.3).
func (r *reader) appendObject(out []byte, depth int) ([]byte, error) {
	out = append(out, '{')
	r.at++
	var few [8]member
	members, start, sorted := few[:0], len(out), true
	for r.next() != '}' {
		raw := r.text()
		m := member{name: string(raw[1 : len(raw)-1]), from: len(out)}
		var err error
		if bytes.IndexByte(raw, '\\') < 0 {
			out = append(out, raw...)
		} else if m.name, err = unquoted(raw); err != nil {
			return nil, err
		} else {
			out = appendString(out, m.name)
		}
		if out, err = r.appendValue(append(out, ':'), depth+1); err != nil {
			return nil, err
		}
		m.to = len(out)
		out = append(out, ',')
		sorted = sorted && (len(members) == 0 || byUnits(members[len(members)-1].name, m.name) < 0)
		members = append(members, m)
	}
	r.at++
	if len(members) == 0 {
		return append(out, '}'), nil
	}
	if !sorted {
		slices.SortFunc(members, func(a, b member) int { return byUnits(a.name, b.name) })
		written := bytes.Clone(out[start:])
		out = out[:start]
		for i, m := range members {
			if i > 0 && m.name == members[i-1].name {
				return nil, fmt.Errorf("the key %q is given twice", m.name)
			}
			out = append(append(out, written[m.from-start:m.to-start]...), ',')
		}
	}
	out[len(out)-1] = '}' // in place of the last comma
	return out, nil
}

// byUnits compares two texts by their UTF-16 code units: by their runes, except that those beyond the first plane are written
// as surrogates, which stand before U+E000.
func byUnits(a, b string) int {
	for a != "" && b != "" {
		if a[0] < utf8.RuneSelf && b[0] < utf8.RuneSelf {
			if a[0] != b[0] {
				return int(a[0]) - int(b[0])
			}
			a, b = a[1:], b[1:]
			continue
		}
		x, i := utf8.DecodeRuneInString(a)
		y, j := utf8.DecodeRuneInString(b)
		if x != y {
			const plane, after = 0x10000, 0xe000
			switch {
			case x >= plane && y >= after && y < plane:
				return -1
			case y >= plane && x >= after && x < plane:
				return 1
			}
			return int(x) - int(y)
		}
		a, b = a[i:], b[j:]
	}
	return len(a) - len(b)
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
