package mesh

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// The checks of form that glTF 2.0's JSON schema makes, from tables (schema_gltf.go): types, ranges, lengths, what
// must be there, and whether an index points at something. A field that fails is treated as not given afterwards.

// form is what one value must look like.
type form struct {
	kind     formKind
	obj      *shape // of an object, of an array's objects and of a map's
	elem     *form  // of an array or a map
	of       string // an index's collection: "nodes", "meshes", …
	min, max float64
	open     bool // min itself is out of range
	lens     []int
	minLen   int
	unique   bool
	words    []string // allowed strings; others are only a warning, as extensions may add some
	numbers  []int64  // allowed whole numbers; likewise
	strict   bool     // others than words or numbers are an error
	required bool
	multiple int64
	pattern  *regexp.Regexp
	fail     string // code in place of the general one
}

type formKind byte

const (
	anyForm formKind = iota
	objectForm
	arrayForm
	mapForm
	stringForm
	intForm
	indexForm
	numberForm
	boolForm
)

var formNames = [...]string{"value", "object", "array", "object", "string", "whole number", "whole number, 0 or more", "number", "true or false"}

// shape is the properties of one kind of object.
type shape struct {
	props map[string]*form
	oneOf []string          // exactly one of these
	needs map[string]string // a key that needs another one
	exts  map[string]*shape // known extensions that may stand here
	free  bool              // holds anything

	once     sync.Once
	required []string
}

// must returns the keys that have to be there, sorted.
func (s *shape) must() []string {
	s.once.Do(func() {
		for _, key := range sortedKeys(s.props) {
			if s.props[key].required {
				s.required = append(s.required, key)
			}
		}
	})
	return s.required
}

// schemaCheck walks a document.
type schemaCheck struct {
	t     *tape
	is    *issues
	where []int           // keys by their index on the tape, elements as -1 - position
	sizes map[string]int  // of top-level collections
	used  map[string]bool // extensionsUsed
	bad   map[int]bool    // values that are not as they must be
}

func (c *schemaCheck) pointer() string {
	var b strings.Builder
	for _, w := range c.where {
		b.WriteByte('/')
		if w < 0 {
			b.WriteString(strconv.Itoa(-1 - w))
			continue
		}
		b.WriteString(strings.NewReplacer("~", "~0", "/", "~1").Replace(clip(c.t.string(w))))
	}
	return b.String()
}

func (c *schemaCheck) fault(v int, code, msg string) {
	c.is.error(code, c.pointer(), c.t.offset(v), msg)
	c.bad[v] = true
}

func (c *schemaCheck) push(w int) { c.where = append(c.where, w) }
func (c *schemaCheck) pop()       { c.where = c.where[:len(c.where)-1] }

// value checks value v against a form.
func (c *schemaCheck) value(v int, f *form) {
	t := c.t
	ok := true
	switch f.kind {
	case objectForm, mapForm:
		ok = t.kind(v) == '{'
	case arrayForm:
		ok = t.kind(v) == '['
	case stringForm:
		ok = t.kind(v) == '"'
	case intForm, indexForm:
		_, ok = t.int(v)
	case numberForm:
		_, ok = t.float(v)
	case boolForm:
		ok = t.kind(v) == 't' || t.kind(v) == 'f'
	}
	if !ok {
		c.fault(v, "schema.type", fmt.Sprintf("This must be a %s and is %s; the exporter wrote it wrongly.", formNames[f.kind], clip(string(t.raw(v)))))
		return
	}
	switch f.kind {
	case objectForm:
		c.object(v, f.obj)
	case mapForm:
		c.mapping(v, f)
	case arrayForm:
		c.array(v, f)
	case stringForm:
		c.text(v, f)
	case intForm, indexForm:
		c.whole(v, f)
	case numberForm:
		x, _ := t.float(v)
		c.inRange(v, f, x)
	}
}

// clip shortens what a file holds for a message.
func clip(s string) string {
	const most = 40
	if len(s) > most {
		s = strings.ToValidUTF8(s[:most], "") + "…"
	}
	return s
}

func (c *schemaCheck) inRange(v int, f *form, x float64) {
	if x < f.min || x > f.max || f.open && x == f.min || math.IsInf(x, 0) {
		c.fault(v, "schema.range", fmt.Sprintf("The value %s is out of range; glTF allows %s.", clip(string(c.t.raw(v))), f.rangeText()))
	}
}

func (f *form) rangeText() string {
	lo := strconv.FormatFloat(f.min, 'g', -1, 64) + " or more"
	if f.open {
		lo = "more than " + strconv.FormatFloat(f.min, 'g', -1, 64)
	}
	if f.max < math.MaxFloat64 {
		return lo + " and at most " + strconv.FormatFloat(f.max, 'g', -1, 64)
	}
	return lo
}

func (c *schemaCheck) whole(v int, f *form) {
	n, _ := c.t.int(v)
	switch {
	case f.kind == indexForm && n < 0:
		c.fault(v, "schema.index", fmt.Sprintf("The index %d is negative; indices count from 0.", n))
	case f.kind == indexForm && f.of != "" && n >= int64(c.sizes[f.of]):
		c.fault(v, "reference.unresolved", fmt.Sprintf("This points at %s %d and the file has %d; the exporter lost it.", f.of, n, c.sizes[f.of]))
	case f.kind == indexForm:
	case f.numbers != nil:
		if !slices.Contains(f.numbers, n) {
			c.outside(v, f, fmt.Sprintf("The value %d is none of %v.", n, f.numbers))
		}
	case f.multiple > 0 && n%f.multiple != 0:
		c.fault(v, "schema.multiple", fmt.Sprintf("The value %d must be a multiple of %d.", n, f.multiple))
	default:
		c.inRange(v, f, float64(n))
	}
}

func (c *schemaCheck) text(v int, f *form) {
	s := c.t.string(v)
	switch {
	case f.words != nil && !slices.Contains(f.words, s):
		c.outside(v, f, fmt.Sprintf("The value %q is none of %s.", clip(s), strings.Join(f.words, ", ")))
	case f.pattern != nil && !f.pattern.MatchString(s):
		c.fault(v, "schema.pattern", fmt.Sprintf("The value %q is not written as it must be (%s).", clip(s), f.pattern))
	}
}

func (c *schemaCheck) outside(v int, f *form, msg string) {
	c.bad[v] = true
	if f.strict {
		c.is.error("schema.value", c.pointer(), c.t.offset(v), msg)
		return
	}
	c.is.warn("schema.value", c.pointer(), c.t.offset(v), msg)
}

func (c *schemaCheck) array(v int, f *form) {
	n := c.t.len(v)
	switch {
	case n == 0 && f.lens == nil:
		c.fault(v, "schema.empty", "An array is empty; leave it out.")
		return
	case f.lens != nil && !slices.Contains(f.lens, n):
		c.fault(v, "schema.length", fmt.Sprintf("The array has %d elements and must have %v.", n, f.lens))
		return
	case n < f.minLen:
		c.fault(v, "schema.length", fmt.Sprintf("The array has %d elements and must have %d or more.", n, f.minLen))
		return
	}
	seen := map[string]bool{}
	for i, e := range c.t.elems(v) {
		c.push(-1 - i)
		c.value(e, f.elem)
		if f.unique {
			raw := string(c.t.raw(e))
			if seen[raw] {
				c.fault(e, "schema.duplicate", fmt.Sprintf("%s stands twice in a list that must not repeat.", clip(raw)))
			}
			seen[raw] = true
		}
		c.pop()
	}
	for _, e := range c.t.elems(v) {
		if f.elem.kind != objectForm && c.bad[e] {
			c.bad[v] = true
		}
	}
}

func (c *schemaCheck) mapping(v int, f *form) {
	n := 0
	for k := range c.t.keys(v) {
		n++
		c.push(k)
		c.value(k+1, f.elem)
		c.pop()
	}
	if n < f.minLen {
		c.fault(v, "schema.empty", "An object is empty where something must be in it.")
	}
}

func (c *schemaCheck) object(v int, s *shape) {
	if s.free {
		return
	}
	for k := range c.t.keys(v) {
		c.push(k)
		switch f := s.props[c.t.string(k)]; {
		case c.t.is(k, "extensions"):
			c.extensions(k+1, s)
		case c.t.is(k, "extras"):
		case f != nil:
			c.value(k+1, f)
		default:
			c.unexpected(k, s)
		}
		c.pop()
	}
	for _, key := range s.must() {
		if c.t.get(v, key) < 0 {
			c.fault(v, "schema.missing", fmt.Sprintf("The property %q is missing.", key))
		}
	}
	for _, key := range sortedKeys(s.needs) {
		if c.t.get(v, key) >= 0 && c.t.get(v, s.needs[key]) < 0 {
			c.fault(v, "schema.dependency", fmt.Sprintf("The property %q needs %q beside it.", key, s.needs[key]))
		}
	}
	c.choice(v, s)
}

func (c *schemaCheck) choice(v int, s *shape) {
	if s.oneOf == nil {
		return
	}
	n := 0
	for _, k := range s.oneOf {
		if c.t.get(v, k) >= 0 {
			n++
		}
	}
	if n != 1 {
		c.fault(v, "schema.one_of", fmt.Sprintf("Exactly one of %s must be given.", strings.Join(s.oneOf, ", ")))
	}
}

// unexpected warns of a key that glTF does not know; one that differs by case only is most likely meant.
func (c *schemaCheck) unexpected(k int, s *shape) {
	key := c.t.string(k)
	for _, known := range sortedKeys(s.props) {
		if strings.EqualFold(known, key) {
			c.is.warn("schema.key_case", c.pointer(), c.t.offset(k), fmt.Sprintf("The key %q is not read: glTF writes it %q.", clip(key), known))
			return
		}
	}
	c.is.warn("schema.unexpected_key", c.pointer(), c.t.offset(k), fmt.Sprintf("The key %q is not glTF's and is not read.", clip(key)))
}

func (c *schemaCheck) extensions(v int, s *shape) {
	if c.t.kind(v) != '{' {
		c.fault(v, "schema.type", "\"extensions\" must be an object.")
		return
	}
	for k := range c.t.keys(v) {
		name := c.t.string(k)
		c.push(k)
		if !c.used[name] {
			c.fault(k+1, "extension.undeclared", fmt.Sprintf("The extension %s is used and not listed in extensionsUsed.", clip(name)))
		}
		known, here := s.exts[name]
		switch {
		case c.t.kind(k+1) != '{':
			c.fault(k+1, "schema.type", "An extension must be an object.")
		case here && c.used[name]:
			c.object(k+1, known)
		case !here && placedExtensions[name]:
			c.fault(k+1, "extension.misplaced", fmt.Sprintf("The extension %s does not belong on this object.", name))
		}
		c.pop()
	}
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
