package words

import (
	"regexp"
	"slices"
	"strings"
	"sync"

	"proofhouse/internal/acceptance/words"
)

// told is how a sentence of the record's or the interface's is known again: its English words with what was set into them.
type told struct {
	code  string
	shape *regexp.Regexp
	fixed int // letters that are the sentence's own
}

// toldPrefix begins the codes of sentences that Go says in English: the refusals of the record, and problems of the interface.
const toldPrefix = "told."

// places bounds the arguments of such a sentence.
const places = 6

var toldShapes = sync.OnceValue(func() []told {
	var out []told
	args := slices.Repeat([]words.Arg{words.Name("#")}, places)
	en := languages()[0]
	for _, code := range en.Codes() {
		if !strings.HasPrefix(code, toldPrefix) {
			continue
		}
		t := told{code: code}
		var b strings.Builder
		for n, text := range en.Parts(code, args...) {
			if n > 0 {
				b.WriteString("(.*?)")
				continue
			}
			t.fixed += len(text)
			b.WriteString(regexp.QuoteMeta(text))
		}
		t.shape = regexp.MustCompile(`(?s)^` + b.String() + `$`)
		out = append(out, t)
	}
	slices.SortStableFunc(out, func(a, b told) int { return b.fixed - a.fixed }) // the most words of its own wins
	return out
})

// Again says an English sentence of the record or of the interface in the reader's language. What the catalogue does not know
// stays English: it is what happened, and nobody is to miss it.
func (r Reader) Again(english string) string {
	if r.Tag == languages()[0].Tag {
		return english
	}
	for _, t := range toldShapes() {
		found := t.shape.FindStringSubmatch(english)
		if found == nil {
			continue
		}
		var args []words.Arg
		for _, set := range found[1:] {
			if ofSpec.MatchString(t.code) { // what a spec may hold is written in its own words
				args = append(args, words.Name(r.Again(set)))
				continue
			}
			args = append(args, words.Name(r.word(set)))
		}
		return r.Language.Say(t.code, args...)
	}
	return english
}

// ofSpec are the codes of sentences about what is written in a spec.
var ofSpec = regexp.MustCompile(`^told\.(spec|form|found)_`)

// valueKinds are the kinds of terms that such a sentence may name, as the record writes them.
var valueKinds = []string{"state", "delivery_state", "milestone", "decision", "outcome", "role", "desk", "side", "permission", "question", "change", "tier"}

// word is what is set into such a sentence: a value of the record that has a word, or a sentence in its turn.
func (r Reader) word(value string) string {
	if roles := strings.Split(value, " or "); len(roles) > 1 { // as the record names who may do something
		said := make([]string, len(roles))
		for i, role := range roles {
			var known bool
			if said[i], known = r.TermIn("role."+strings.ReplaceAll(role, " ", "_"), ""); !known {
				return r.Again(value)
			}
		}
		return strings.Join(said, ", ")
	}
	code := strings.ReplaceAll(value, " ", "_")
	for _, kind := range valueKinds {
		if said, ok := r.TermIn(kind+"."+code, ""); ok {
			return said
		}
	}
	return r.Again(value)
}

// Knows says whether the catalogue has words for an English sentence; for the tests of who makes such sentences.
func Knows(english string) bool {
	return slices.ContainsFunc(toldShapes(), func(t told) bool { return t.shape.MatchString(english) })
}
