package words

import (
	"iter"
	"strconv"
	"strings"
	"unicode"
)

// Say says a code with its arguments. The zero code says nothing.
func (l *Language) Say(code string, args ...Arg) string {
	var b strings.Builder
	for _, text := range l.Parts(code, args...) {
		b.WriteString(text)
	}
	return b.String()
}

// Parts are the pieces of what Say says, in order, each with the number of the argument that it comes from, from 1; 0 is the
// sentence's own words. For who marks arguments up.
func (l *Language) Parts(code string, args ...Arg) iter.Seq2[int, string] {
	return func(yield func(int, string) bool) {
		t, ok := l.templates[code]
		if !ok {
			switch {
			case code == "":
			case l.fallback != nil:
				l.fallback.Parts(code, args...)(yield)
			default:
				yield(0, missing(code, args))
			}
			return
		}
		for _, s := range t.segments {
			text := s.text
			switch {
			case s.arg > len(args):
				text = "?"
			case s.arg > 0:
				text = l.place(s, args[s.arg-1])
			}
			if !yield(s.arg, text) {
				return
			}
		}
	}
}

// Sentence says one phrase.
func (l *Language) Sentence(p Phrase) string { return l.Say(p.Code, p.Args...) }

// Text says phrases one after the other.
func (l *Language) Text(list []Phrase) string {
	out := make([]string, len(list))
	for i, p := range list {
		out[i] = l.Sentence(p)
	}
	return strings.Join(out, " ")
}

// Or says a code where the language has it, and the given text where it does not: for words whose English stands beside
// the code that they describe, such as a check's definition.
func (l *Language) Or(code, english string) string {
	if l.Has(code) {
		return l.Say(code)
	}
	return english
}

func (l *Language) place(s segment, a Arg) string {
	if s.forms == nil {
		return l.arg(a, s.form)
	}
	if a.Kind != KindCount || len(a.Numbers) != 1 {
		return l.arg(a, "") + " " + s.forms[len(s.forms)-1]
	}
	form := s.forms[l.plural(int(a.Numbers[0]))]
	if s.bare {
		return form
	}
	return l.arg(a, "") + " " + form
}

func (l *Language) arg(a Arg, form string) string {
	switch a.Kind {
	case KindName:
		return printable(a.Text)
	case KindTerm:
		return l.term(a.Text, form)
	case KindSays:
		return l.Say(a.Text, a.Of...)
	case KindOwn:
		if !l.Has(a.Text) && len(a.Of) == 1 {
			return l.arg(a.Of[0], "")
		}
		return l.Say(a.Text, a.Of...)
	case KindList, KindAnd:
		parts := make([]string, len(a.Of))
		for i, of := range a.Of {
			parts[i] = l.arg(of, form)
		}
		if last := len(parts) - 1; a.Kind == KindAnd && last > 0 {
			return strings.Join(parts[:last], ", ") + " " + l.term("and", "") + " " + parts[last]
		}
		return strings.Join(parts, ", ")
	}
	return l.number(a)
}

// printable shows what would not be seen, and what could move a terminal's cursor or turn the direction of a line: names
// come from files that someone else wrote.
func printable(s string) string {
	if strings.IndexFunc(s, hidden) < 0 {
		return s
	}
	var b strings.Builder
	for _, r := range s {
		if hidden(r) {
			b.WriteString(strings.Trim(strconv.QuoteRuneToASCII(r), "'"))
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// The two spaces that do not break stand between a number and its unit.
func hidden(r rune) bool { return r != ' ' && r != '\u00a0' && r != '\u202f' && !unicode.IsPrint(r) }

func (l *Language) term(code, form string) string {
	forms, ok := l.terms[code]
	if !ok {
		if l.fallback != nil {
			return l.fallback.term(code, "")
		}
		return missing("term."+code, nil)
	}
	if text, ok := forms[form]; ok {
		return text
	}
	return forms[""]
}

// TermIn is a term in one of its forms, "" being the plain one; ok is false where neither the language nor English has it.
func (l *Language) TermIn(code, form string) (text string, ok bool) {
	if _, ok := l.terms[code]; ok || l.fallback == nil {
		return l.term(code, form), ok
	}
	return l.fallback.TermIn(code, "")
}

// missing is what is said where even English has no words: ugly on purpose, and no loss of what was measured.
func missing(code string, args []Arg) string {
	parts := make([]string, len(args))
	for i, a := range args {
		parts[i] = English().arg(a, "")
	}
	return strings.TrimSpace("[" + code + "] " + strings.Join(parts, ", "))
}
