package mesh

import (
	"bytes"
	"math"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// keys yields the index of each key of object i; its value is the next one.
func (t *tape) keys(i int) func(yield func(int) bool) {
	return func(yield func(int) bool) {
		if i < 0 || t.values[i].kind != '{' {
			return
		}
		for k := i + 1; k < int(t.values[i].next); k = int(t.values[k+1].next) {
			if !yield(k) {
				return
			}
		}
	}
}

// elems yields position and index of each element of array i.
func (t *tape) elems(i int) func(yield func(int, int) bool) {
	return func(yield func(int, int) bool) {
		if i < 0 || t.values[i].kind != '[' {
			return
		}
		n := 0
		for e := i + 1; e < int(t.values[i].next); e = int(t.values[e].next) {
			if !yield(n, e) {
				return
			}
			n++
		}
	}
}

// get returns the value of a key of object i, or -1.
func (t *tape) get(i int, key string) int {
	for k := range t.keys(i) {
		if t.is(k, key) {
			return k + 1
		}
	}
	return -1
}

// is tells whether string i reads s.
func (t *tape) is(i int, s string) bool {
	raw := t.raw(i)
	raw = raw[1 : len(raw)-1]
	return string(raw) == s || bytes.IndexByte(raw, '\\') >= 0 && unescape(raw) == s
}

// path is get through several objects.
func (t *tape) path(i int, keys ...string) int {
	for _, k := range keys {
		i = t.get(i, k)
	}
	return i
}

func (t *tape) kind(i int) byte {
	if i < 0 {
		return 0
	}
	return t.values[i].kind
}

// len returns the number of elements of array i; 0 where it is none.
func (t *tape) len(i int) int {
	n := 0
	for range t.elems(i) {
		n++
	}
	return n
}

// raw returns the text of value i.
func (t *tape) raw(i int) []byte { return t.text[t.values[i].start:t.values[i].end] }

// offset returns where value i begins in the file.
func (t *tape) offset(i int) int64 { return t.base + int64(t.values[i].start) }

// string returns string i without quotes and escapes; "" where it is none.
func (t *tape) string(i int) string {
	if t.kind(i) != '"' {
		return ""
	}
	raw := t.raw(i)
	raw = raw[1 : len(raw)-1]
	if bytes.IndexByte(raw, '\\') < 0 {
		return string(raw)
	}
	return unescape(raw)
}

// unescape resolves the escapes of a string that str accepted. A lone surrogate becomes U+FFFD.
func unescape(raw []byte) string {
	var b strings.Builder
	for i := 0; i < len(raw); i++ {
		if raw[i] != '\\' {
			b.WriteByte(raw[i])
			continue
		}
		i++
		switch raw[i] {
		case 'b':
			b.WriteByte('\b')
		case 'f':
			b.WriteByte('\f')
		case 'n':
			b.WriteByte('\n')
		case 'r':
			b.WriteByte('\r')
		case 't':
			b.WriteByte('\t')
		case 'u':
			r := hex4(raw[i+1:])
			i += 4
			if utf16.IsSurrogate(r) && i+6 < len(raw) && raw[i+1] == '\\' && raw[i+2] == 'u' {
				if pair := utf16.DecodeRune(r, hex4(raw[i+3:])); pair != utf8.RuneError {
					r = pair
					i += 6
				}
			}
			b.WriteRune(r)
		default:
			b.WriteByte(raw[i])
		}
	}
	return b.String()
}

func hex4(b []byte) rune {
	if len(b) < 4 {
		return utf8.RuneError
	}
	n, err := strconv.ParseUint(string(b[:4]), 16, 16)
	if err != nil {
		return utf8.RuneError
	}
	return rune(n)
}

// float returns number i.
func (t *tape) float(i int) (float64, bool) {
	if t.kind(i) != '0' {
		return 0, false
	}
	f, err := strconv.ParseFloat(string(t.raw(i)), 64)
	return f, err == nil
}

// int returns number i where it is a whole number; "3.0" is one, and 1e30 comes back as beyond.
func (t *tape) int(i int) (int64, bool) {
	if t.kind(i) != '0' {
		return 0, false
	}
	if n, err := strconv.ParseInt(string(t.raw(i)), 10, 64); err == nil {
		return min(max(n, -beyond), beyond), true
	}
	f, ok := t.float(i)
	switch {
	case !ok || f != math.Trunc(f):
		return 0, false
	case f > 1<<53:
		return beyond, true
	case f < -(1 << 53):
		return -beyond, true
	}
	return int64(f), true
}

// beyond stands for every whole number past what a double holds exactly: no count, offset or index is that large.
const beyond = 1 << 62
