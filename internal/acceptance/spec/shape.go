package spec

import (
	"fmt"
	"strings"
)

// form is what a value may look like.
type form int

const (
	formText form = iota
	formWord      // one out of words
	formNumber
	formInteger
	formFlag
	formList
	formObject // fixed keys
	formTable  // free keys, one shape of value
	formEither // one of several forms, told apart by what is written
)

// shape describes a value of a spec. One tree of shapes serves the parser, the JSON Schema and the explanation, so
// that they cannot disagree.
type shape struct {
	form form
	what string // one sentence for the schema
	def  string // name in the schema where it stands in several places

	words []string // formWord

	low, high     float64 // formNumber, formInteger, where bounded
	bounded       bool    // low and high hold
	aboveLow      bool    // low itself is not allowed
	maxLen        int     // formText; 0 means maxText
	pattern       bool    // formText: a name pattern, compiled when read
	expr          string  // formText: RE2 and ECMA expression that it must match as a whole
	exprWhat      string  // the same in words
	item          *shape  // formList
	least, most   int     // formList, formTable: number of entries
	fields        []field // formObject
	value         *shape  // formTable
	either        []*shape
	reasonIfNotes bool // formObject: reason is needed where mode is not_applicable
}

// field is one key of an object.
type field struct {
	key    string
	needed bool
	shape  *shape
}

// Limits of size. They are far above any real spec and keep a hostile one small.
const (
	maxBytes = 1 << 20
	maxText  = 2000
	maxItems = 1000
)

func (s *shape) field(key string) *shape {
	for _, f := range s.fields {
		if f.key == key {
			return f.shape
		}
	}
	return nil
}

func (s *shape) keys() []string {
	keys := make([]string, len(s.fields))
	for i, f := range s.fields {
		keys[i] = f.key
	}
	return keys
}

// expects says in words what a shape takes, for messages.
func (s *shape) expects() string {
	switch s.form {
	case formText:
		if s.exprWhat != "" {
			return s.exprWhat
		}
		return "a text"
	case formWord:
		if len(s.words) == 1 {
			return "the word " + s.words[0]
		}
		return "one of " + orList(s.words)
	case formNumber, formInteger:
		return s.expectsNumber()
	case formFlag:
		return "true or false"
	case formList:
		if s.least == s.most && s.least > 0 {
			return fmt.Sprintf("a list of %d, each %s", s.least, s.item.expects())
		}
		return "a list, each " + s.item.expects()
	case formObject:
		return "keys and values"
	case formTable:
		return "names, each with " + s.value.expects()
	}
	var forms []string
	for _, e := range s.either {
		forms = append(forms, e.expects())
	}
	return strings.Join(forms, ", or ")
}

func (s *shape) expectsNumber() string {
	kind := "a number"
	if s.form == formInteger {
		kind = "a whole number"
	}
	switch {
	case !s.bounded:
		return kind
	case s.aboveLow:
		return fmt.Sprintf("%s above %g and at most %g", kind, s.low, s.high)
	}
	return fmt.Sprintf("%s from %g to %g", kind, s.low, s.high)
}

func orList(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

func text(what string) *shape { return &shape{form: formText, what: what} }

func code(what string) *shape {
	return &shape{form: formText, what: what, maxLen: 80, expr: `[A-Za-z0-9][A-Za-z0-9._-]*`,
		exprWhat: "a name of letters, digits, '.', '_' and '-'"}
}

func namePattern(what string) *shape {
	return &shape{form: formText, what: what, pattern: true, maxLen: 500}
}

func word[W ~string](what string, words ...W) *shape {
	s := &shape{form: formWord, what: what}
	for _, w := range words {
		s.words = append(s.words, string(w))
	}
	return s
}

func number(what string, low, high float64) *shape {
	return &shape{form: formNumber, what: what, low: low, high: high, bounded: true}
}

func above(what string, low, high float64) *shape {
	return &shape{form: formNumber, what: what, low: low, high: high, bounded: true, aboveLow: true}
}

func integer(what string, low, high float64) *shape {
	return &shape{form: formInteger, what: what, low: low, high: high, bounded: true}
}

func flag(what string) *shape { return &shape{form: formFlag, what: what} }

func list(what string, item *shape) *shape {
	return &shape{form: formList, what: what, item: item, most: maxItems}
}

func exactly(n int, what string, item *shape) *shape {
	return &shape{form: formList, what: what, item: item, least: n, most: n}
}

func table(what string, value *shape) *shape {
	return &shape{form: formTable, what: what, value: value, most: maxItems}
}

func object(what string, fields ...field) *shape {
	return &shape{form: formObject, what: what, fields: fields}
}

func either(what string, forms ...*shape) *shape {
	return &shape{form: formEither, what: what, either: forms}
}

func may(key string, s *shape) field { return field{key: key, shape: s} }

func must(key string, s *shape) field { return field{key: key, shape: s, needed: true} }
