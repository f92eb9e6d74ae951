package mesh

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"unicode/utf8"
)

// A tape is a JSON text read into one flat array of values, in text order: small, bounded, and every value knows its
// byte offset. encoding/json folds the case of keys, keeps the last of two equal keys silently, and turns a few
// megabytes of empty objects into hundreds; this reader does none of that. What lies under "extras" is checked for
// syntax and not kept.
//
// An object is followed by its keys and values in turn, an array by its elements.
type tape struct {
	text   []byte
	base   int64 // offset of the text in its file
	values []jval
}

// jval is one value or key.
type jval struct {
	start, end uint32 // in the text; strings with their quotes
	next       uint32 // index of the first value after this one's subtree
	kind       byte   // '{', '[', '"', '0' (number), 't', 'f' or 'n'
}

const (
	maxJSONDepth  = 128     // nesting; glTF itself needs about ten
	maxJSONValues = 4 << 20 // 64 MiB of tape
	maxJSONKeys   = 4096    // of one object
	maxJSONDigits = 400     // of one number; the longest that a double needs has 309 before its point
)

// jsonFault is a text that is not JSON or passes a limit.
type jsonFault struct {
	code string
	at   int // in the text
	what string
}

// parseJSON reads a whole text. Equal keys in one object are reported to duplicate and the first one counts.
func parseJSON(text []byte, base int64, duplicate func(key string, at int)) (*tape, *jsonFault) {
	p := jsonParser{t: tape{text: text, base: base}, duplicate: duplicate}
	if bytes.HasPrefix(text, []byte("\xef\xbb\xbf")) {
		return nil, &jsonFault{"json.invalid", 0, "it begins with a byte order mark, which glTF does not allow"}
	}
	p.space()
	p.value(0)
	p.space()
	if p.fault == nil && p.at < len(text) {
		p.fail("json.invalid", "something follows after its end")
	}
	if p.fault != nil {
		return nil, p.fault
	}
	return &p.t, nil
}

type jsonParser struct {
	t         tape
	at        int
	skip      bool // inside extras: check, keep nothing
	fault     *jsonFault
	duplicate func(string, int)
}

func (p *jsonParser) fail(code, what string) {
	if p.fault == nil {
		p.fault = &jsonFault{code, p.at, what}
	}
}

func (p *jsonParser) space() {
	for p.at < len(p.t.text) {
		switch p.t.text[p.at] {
		case ' ', '\t', '\n', '\r':
			p.at++
		default:
			return
		}
	}
}

func (p *jsonParser) peek() byte {
	if p.at < len(p.t.text) {
		return p.t.text[p.at]
	}
	return 0
}

// open appends a value that begins here and returns its index.
func (p *jsonParser) open(kind byte) int {
	if p.skip {
		return -1
	}
	if len(p.t.values) >= maxJSONValues {
		p.fail("limits.json_values", fmt.Sprintf("it holds more than %d values", maxJSONValues))
		return -1
	}
	if len(p.t.values) == cap(p.t.values) { // doubling keeps what is thrown away below what is kept
		p.t.values = slices.Grow(p.t.values, max(64, len(p.t.values)))
	}
	p.t.values = append(p.t.values, jval{start: uint32(p.at), kind: kind})
	return len(p.t.values) - 1
}

func (p *jsonParser) close(i int) {
	if i >= 0 {
		p.t.values[i].end = uint32(p.at)
		p.t.values[i].next = uint32(len(p.t.values))
	}
}

func (p *jsonParser) value(depth int) {
	if p.fault != nil {
		return
	}
	if depth > maxJSONDepth {
		p.fail("limits.json_depth", fmt.Sprintf("it is nested more than %d deep", maxJSONDepth))
		return
	}
	switch c := p.peek(); {
	case c == '{':
		p.object(depth)
	case c == '[':
		p.array(depth)
	case c == '"':
		i := p.open('"')
		p.str()
		p.close(i)
	case c == 't':
		p.word("true")
	case c == 'f':
		p.word("false")
	case c == 'n':
		p.word("null")
	case c == '-' || c >= '0' && c <= '9':
		i := p.open('0')
		p.number()
		p.close(i)
	case p.at >= len(p.t.text):
		p.fail("json.invalid", "it ends in the middle")
	default:
		p.fail("json.invalid", fmt.Sprintf("a value cannot begin with %q", c))
	}
}

func (p *jsonParser) word(w string) {
	i := p.open(w[0])
	if !bytes.HasPrefix(p.t.text[p.at:], []byte(w)) {
		p.fail("json.invalid", "a bare word stands where a value belongs")
		return
	}
	p.at += len(w)
	p.close(i)
}

func (p *jsonParser) array(depth int) {
	i := p.open('[')
	p.at++
	p.space()
	if p.peek() == ']' {
		p.at++
		p.close(i)
		return
	}
	for p.fault == nil {
		p.space()
		p.value(depth + 1)
		p.space()
		switch p.peek() {
		case ',':
			p.at++
		case ']':
			p.at++
			p.close(i)
			return
		default:
			p.fail("json.invalid", "an array is not closed or lacks a comma")
		}
	}
}

func (p *jsonParser) object(depth int) {
	i := p.open('{')
	p.at++
	p.space()
	if p.peek() == '}' {
		p.at++
		p.close(i)
		return
	}
	for keys := 1; p.fault == nil; keys++ {
		p.space()
		if p.peek() != '"' {
			p.fail("json.invalid", "an object's key is missing or not in quotes")
			return
		}
		if keys > maxJSONKeys && !p.skip {
			p.fail("limits.json_keys", fmt.Sprintf("an object has more than %d keys", maxJSONKeys))
			return
		}
		p.member(depth)
		p.space()
		switch p.peek() {
		case ',':
			p.at++
		case '}':
			p.at++
			p.close(i)
			p.duplicates(i)
			return
		default:
			p.fail("json.invalid", "an object is not closed or lacks a comma")
		}
	}
}

// member reads one key and its value.
func (p *jsonParser) member(depth int) {
	k := p.open('"')
	from := p.at
	p.str()
	p.close(k)
	extras := string(p.t.text[from:p.at]) == `"extras"`
	p.space()
	if p.peek() != ':' {
		p.fail("json.invalid", "a key is not followed by a colon")
		return
	}
	p.at++
	p.space()
	if p.skip || !extras {
		p.value(depth + 1)
		return
	}
	v := p.open('e')
	p.skip = true
	p.value(depth + 1)
	p.skip = false
	p.close(v)
}

// duplicates reports keys of object i that were there before.
func (p *jsonParser) duplicates(i int) {
	if i < 0 || p.duplicate == nil || p.fault != nil {
		return
	}
	n := 0
	for range p.t.keys(i) {
		n++
	}
	if n <= fewKeys {
		for k := range p.t.keys(i) {
			if first := p.t.get(i, p.t.string(k)); first != k+1 {
				p.duplicate(p.t.string(k), int(p.t.values[k].start))
			}
		}
		return
	}
	seen := make(map[string]bool, n)
	for k := range p.t.keys(i) {
		key := p.t.string(k)
		if seen[key] {
			p.duplicate(key, int(p.t.values[k].start))
		}
		seen[key] = true
	}
}

// fewKeys is up to how many keys an object is searched without a map.
const fewKeys = 16

// str checks a string from its opening quote past its closing one.
func (p *jsonParser) str() {
	for p.at++; p.at < len(p.t.text); p.at++ {
		switch c := p.t.text[p.at]; {
		case c == '"':
			p.at++
			return
		case c < 0x20:
			p.fail("json.invalid", "a control character stands in a string")
			return
		case c == '\\':
			p.at++
			if !p.escape() {
				p.fail("json.invalid", "a string holds an escape that JSON does not know")
				return
			}
		case c >= utf8.RuneSelf:
			r, n := utf8.DecodeRune(p.t.text[p.at:])
			if r == utf8.RuneError && n <= 1 {
				p.fail("json.invalid", "a string is not UTF-8")
				return
			}
			p.at += n - 1
		}
	}
	p.fail("json.invalid", "a string is not closed")
}

func (p *jsonParser) escape() bool {
	switch p.peek() {
	case '"', '\\', '/', 'b', 'f', 'n', 'r', 't':
		return true
	case 'u':
		if p.at+4 >= len(p.t.text) {
			return false
		}
		_, err := strconv.ParseUint(string(p.t.text[p.at+1:p.at+5]), 16, 16)
		p.at += 4
		return err == nil
	}
	return false
}

// number checks RFC 8259's grammar.
func (p *jsonParser) number() {
	digits := func() bool {
		from := p.at
		for c := p.peek(); c >= '0' && c <= '9'; c = p.peek() {
			p.at++
		}
		return p.at > from
	}
	if p.peek() == '-' {
		p.at++
	}
	lead := p.peek()
	from := p.at
	ok := digits() && (lead != '0' || p.at == from+1)
	if ok && p.peek() == '.' {
		p.at++
		ok = digits()
	}
	if c := p.peek(); ok && (c == 'e' || c == 'E') {
		p.at++
		if c := p.peek(); c == '+' || c == '-' {
			p.at++
		}
		ok = digits()
	}
	switch {
	case !ok:
		p.fail("json.invalid", "a number is not written as JSON writes numbers")
	case p.at-from > maxJSONDigits:
		p.fail("limits.json_number", fmt.Sprintf("a number is longer than %d digits", maxJSONDigits))
	}
}
