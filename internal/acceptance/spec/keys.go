package spec

import (
	"slices"
	"strings"
)

// Key is one key of a spec, for who writes one: what it means, and the words that it takes where those are fixed.
type Key struct {
	Path  string // "conventions.green", "parts.kind"; entries of a list have no number
	Name  string
	What  string // in English; other languages have the code "spec.key/" and the path
	Words []string
	Of    []Key // keys within it
}

// Code is what the key's meaning is called in the catalogue of words. What an annotation shares with a part is called as
// the part's.
func (k Key) Code() string {
	if key, of := strings.CutPrefix(k.Path, "annotations."); of && slices.ContainsFunc(partKeys(), func(f field) bool { return f.key == key }) {
		return "spec.key/parts." + key
	}
	return "spec.key/" + k.Path
}

// Keys are the keys of a spec in the order of its schema. Those of checks are the checks' limits and are not among them.
func Keys() []Key { return keysOf(documentShape(nil), "", 1) }

// keysOf tells the keys of an object and, so many levels down, those of the objects in it.
func keysOf(s *shape, under string, deeper int) (out []Key) {
	for _, f := range s.fields {
		if f.key == "checks" && under != "" { // the same as at the top
			continue
		}
		k := Key{Path: under + f.key, Name: f.key, What: f.shape.what}
		inner := f.shape
		if inner.form == formList {
			inner = inner.item
		}
		switch {
		case inner.form == formWord && len(inner.words) > 1:
			k.Words = slices.Clone(inner.words)
		case inner.form == formObject && deeper > 0:
			k.Of = keysOf(inner, k.Path+".", deeper-1)
		}
		out = append(out, k)
	}
	return out
}
