package spec

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// value is a checked piece of a document. Which fields hold depends on its shape.
type value struct {
	fields map[string]*value // object or table
	keys   []string          // of fields, in the document's order
	items  []*value          // list
	text   string            // text or word
	num    float64           // number
	isNum  bool              // for shapes that take number or word
	flag   bool
	isList bool
	origin string // "spec line 14", "parent yard-kit@3 line 8"
	line   int
	col    int
}

func (v *value) get(key string) *value {
	if v == nil {
		return nil
	}
	return v.fields[key]
}

// reader checks nodes against shapes and collects every fault on the way.
type reader struct {
	file   string
	label  string // how origins name the document: "spec", "parent yard-kit@3"
	faults Faults
}

func (r *reader) fault(n *yaml.Node, path, format string, args ...any) {
	r.faults.add(Fault{File: r.file, Line: n.Line, Col: n.Column, Path: path, Message: fmt.Sprintf(format, args...)})
}

// read returns nil where the node does not fit.
func (r *reader) read(n *yaml.Node, s *shape, path string) *value {
	if n.Kind == yaml.AliasNode || n.Anchor != "" {
		r.fault(n, path, "anchors and aliases are not read; write the value out, or put what is common into a spec that this one extends")
		return nil
	}
	v := &value{origin: fmt.Sprintf("%s line %d", r.label, n.Line), line: n.Line, col: n.Column}
	ok := false
	switch s.form {
	case formEither:
		return r.read(n, pick(n, s), path)
	case formObject:
		ok = r.object(n, s, path, v)
	case formTable:
		ok = r.table(n, s, path, v)
	case formList:
		ok = r.list(n, s, path, v)
	default:
		ok = r.scalar(n, s, path, v)
	}
	if !ok {
		return nil
	}
	return v
}

// pick chooses the form of an either that fits what is written best, so that messages are about that form.
func pick(n *yaml.Node, s *shape) *shape {
	for _, e := range s.either {
		switch e.form {
		case formObject, formTable:
			if n.Kind == yaml.MappingNode {
				return e
			}
		case formList:
			if n.Kind == yaml.SequenceNode {
				return e
			}
		case formNumber, formInteger:
			if n.Kind == yaml.ScalarNode && isNumber(n) {
				return e
			}
		case formWord:
			if n.Kind == yaml.ScalarNode && n.Tag == "!!str" && slices.Contains(e.words, n.Value) {
				return e
			}
		case formText:
			if n.Kind == yaml.ScalarNode && n.Tag == "!!str" {
				return e
			}
		}
	}
	return &shape{form: formText, expr: fitsNothing, exprWhat: s.expects()}
}

// fitsNothing is an expression that no text matches: a message is all that it is for.
const fitsNothing = `\z.`

func isNumber(n *yaml.Node) bool { return n.Tag == "!!int" || n.Tag == "!!float" }

func (r *reader) object(n *yaml.Node, s *shape, path string, v *value) bool {
	if n.Kind != yaml.MappingNode {
		r.fault(n, path, "expected %s, found %s", s.expects(), found(n))
		return false
	}
	v.fields = map[string]*value{}
	good := r.pairs(n, path, func(key *yaml.Node, val *yaml.Node) bool {
		sub := s.field(key.Value)
		if sub == nil {
			r.fault(key, join(path, key.Value), "unknown key %q.%s", key.Value, r.suggest(key.Value, s))
			return false
		}
		child := r.read(val, sub, join(path, key.Value))
		if child == nil {
			return false
		}
		v.fields[key.Value] = child
		v.keys = append(v.keys, key.Value)
		return true
	})
	for _, f := range s.fields {
		if f.needed && !written(n, f.key) {
			r.fault(n, path, "the key %q is missing", f.key)
			good = false
		}
	}
	if s.reasonIfNotes && v.get("mode") != nil && v.get("mode").text == string(NotAppl) && v.get("reason") == nil && !written(n, "reason") {
		r.fault(n, path, "mode not_applicable needs a reason: write reason: and say why the check does not apply")
		good = false
	}
	return good
}

func (r *reader) suggest(got string, s *shape) string {
	if hint := didYouMean(got, s.keys()); hint != "" {
		return hint
	}
	for _, f := range s.fields { // a check by the name that people use, without its family or where only checks may not stand
		if strings.HasSuffix(f.key, "."+strings.ToLower(got)) {
			return fmt.Sprintf(" Did you mean %q?", f.key)
		}
		if f.key != "checks" {
			continue
		}
		for _, check := range f.shape.keys() {
			if check == got || strings.HasSuffix(check, "."+strings.ToLower(got)) {
				return fmt.Sprintf(" Did you mean %q?", "checks: "+check)
			}
		}
	}
	if keys := s.keys(); len(keys) > 0 && len(keys) <= 12 {
		return " Known here: " + orList(keys) + "."
	}
	return ""
}

// pairs walks a mapping and refuses keys given twice and keys that are not plain text.
func (r *reader) pairs(n *yaml.Node, path string, each func(key, val *yaml.Node) bool) bool {
	good := true
	seen := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, val := n.Content[i], n.Content[i+1]
		if key.Kind != yaml.ScalarNode || key.Tag == "!!merge" || key.Anchor != "" {
			r.fault(key, path, "a key must be a plain word; merge keys are not read")
			good = false
			continue
		}
		if line, twice := seen[key.Value]; twice {
			r.fault(key, join(path, key.Value), "the key %q is given twice, first on line %d", key.Value, line)
			good = false
			continue
		}
		seen[key.Value] = key.Line
		good = each(key, val) && good
	}
	return good
}

func (r *reader) table(n *yaml.Node, s *shape, path string, v *value) bool {
	if n.Kind != yaml.MappingNode {
		r.fault(n, path, "expected %s, found %s", s.expects(), found(n))
		return false
	}
	v.fields = map[string]*value{}
	return r.pairs(n, path, func(key, val *yaml.Node) bool {
		if !tableKey.MatchString(key.Value) {
			r.fault(key, join(path, key.Value), "%q is not a name of letters, digits, '.', '_' and '-'", key.Value)
			return false
		}
		child := r.read(val, s.value, join(path, key.Value))
		if child == nil {
			return false
		}
		v.fields[key.Value] = child
		v.keys = append(v.keys, key.Value)
		return true
	})
}

var tableKey = regexp.MustCompile(`^` + tableKeyExpr + `$`)

const tableKeyExpr = `[A-Za-z0-9][A-Za-z0-9._-]{0,79}`

func (r *reader) list(n *yaml.Node, s *shape, path string, v *value) bool {
	if n.Kind != yaml.SequenceNode {
		r.fault(n, path, "expected %s, found %s", s.expects(), found(n))
		return false
	}
	if len(n.Content) < s.least || s.most > 0 && len(n.Content) > s.most {
		want := fmt.Sprintf("from %d to %d", s.least, s.most)
		if s.least == s.most {
			want = strconv.Itoa(s.least)
		}
		r.fault(n, path, "the list has %d entries, expected %s", len(n.Content), want)
		return false
	}
	v.isList = true
	good := true
	for i, c := range n.Content {
		item := r.read(c, s.item, fmt.Sprintf("%s[%d]", path, i))
		if item == nil {
			good = false
			continue
		}
		v.items = append(v.items, item)
	}
	return good
}

func (r *reader) scalar(n *yaml.Node, s *shape, path string, v *value) bool {
	if n.Kind != yaml.ScalarNode {
		r.fault(n, path, "expected %s, found %s", s.expects(), found(n))
		return false
	}
	switch s.form {
	case formNumber, formInteger:
		return r.number(n, s, path, v)
	case formFlag:
		if n.Tag != "!!bool" {
			r.fault(n, path, "expected true or false, found %s", found(n))
			return false
		}
		v.flag = strings.EqualFold(n.Value, "true")
		return true
	}
	if n.Tag != "!!str" {
		r.fault(n, path, "expected %s, found %s", s.expects(), found(n))
		return false
	}
	v.text = n.Value
	if s.form == formWord {
		for _, w := range s.words {
			if w == n.Value {
				return true
			}
		}
		r.fault(n, path, "expected %s, found %q.%s", s.expects(), n.Value, didYouMean(n.Value, s.words))
		return false
	}
	return r.text(n, s, path)
}

func (r *reader) text(n *yaml.Node, s *shape, path string) bool {
	most := s.maxLen
	if most == 0 {
		most = maxText
	}
	switch count := utf8.RuneCountInString(n.Value); {
	case count == 0:
		r.fault(n, path, "the text is empty")
		return false
	case count > most:
		r.fault(n, path, "the text has %d characters, at most %d are allowed", count, most)
		return false
	}
	if s.expr != "" && !wholeMatch(s.expr, n.Value) {
		r.fault(n, path, "expected %s, found %s", s.expects(), found(n))
		return false
	}
	if s.pattern {
		if _, err := CompilePattern(n.Value, Tokens{}); err != nil {
			r.fault(n, path, "%v", err)
			return false
		}
	}
	return true
}

func wholeMatch(expr, s string) bool { return regexp.MustCompile(`^(?:` + expr + `)$`).MatchString(s) }

func (r *reader) number(n *yaml.Node, s *shape, path string, v *value) bool {
	if !isNumber(n) {
		r.fault(n, path, "expected %s, found %s", s.expects(), found(n))
		return false
	}
	var f float64
	if err := n.Decode(&f); err != nil || math.IsNaN(f) || math.IsInf(f, 0) {
		r.fault(n, path, "%s is not a finite number", n.Value)
		return false
	}
	tooLow := f < s.low || s.aboveLow && f == s.low
	if s.bounded && (tooLow || f > s.high) || s.form == formInteger && f != math.Trunc(f) {
		r.fault(n, path, "expected %s, found %s", s.expects(), n.Value)
		return false
	}
	v.num, v.isNum = f, true
	return true
}

func written(n *yaml.Node, key string) bool {
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			return true
		}
	}
	return false
}

// found says in words what stands where something else was expected.
func found(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "keys and values"
	case yaml.SequenceNode:
		return "a list"
	}
	switch n.Tag {
	case "!!null":
		return "nothing"
	case "!!bool":
		return n.Value + " (true or false; write it in quotes if a text is meant)"
	case "!!int", "!!float":
		return "the number " + n.Value
	case "!!timestamp":
		return "a date (write it in quotes if a text is meant)"
	}
	shown := n.Value
	if utf8.RuneCountInString(shown) > 60 {
		shown = string([]rune(shown)[:60]) + "…"
	}
	return strconv.Quote(shown)
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
