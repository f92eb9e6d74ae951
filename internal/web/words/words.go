package words

import (
	"embed"
	"fmt"
	"html/template"
	"reflect"
	"strings"
	"sync"
	"time"

	"golang.org/x/text/language"

	"proofhouse/internal/acceptance/words"
)

//go:embed */*.yaml
var files embed.FS

// Phrase is a sentence as data; the same as in the evidence.
type Phrase = words.Phrase

// Language is the catalogue of findings and of pages in one language.
type Language = words.Language

// P makes a phrase of a code and plain arguments: a whole number is a count, a float64 a number, a string a name, a phrase a
// sentence within the sentence; words.Arg stays itself. Times need a reader: in a template, day and moment show them.
func P(code string, args ...any) Phrase {
	p := Phrase{Code: code}
	for _, a := range args {
		p.Args = append(p.Args, arg(a))
	}
	return p
}

// Term is a word of term.yaml as an argument.
func Term(code string) words.Arg { return words.Term(code) }

// Name is text that no language changes, as an argument.
func Name(s string) words.Arg { return words.Name(s) }

// Text is text that somebody wrote, as a phrase.
func Text(s string) Phrase { return Phrase{Code: words.Literal, Args: []words.Arg{words.Name(s)}} }

// Spoken is a term that a template says by itself, or sets into a sentence in the form that this asks for.
type Spoken struct {
	words.Arg
	text string
}

// String is the term's plain form.
func (s Spoken) String() string { return s.text }

// Speak is a term in the reader's language.
func (r Reader) Speak(code string) Spoken { return Spoken{words.Term(code), r.Term(code)} }

func arg(a any) words.Arg {
	switch v := a.(type) {
	case words.Arg:
		return v
	case Spoken:
		return v.Arg
	case Phrase:
		return words.Nested(v)
	case fmt.Stringer:
		return words.Name(v.String())
	}
	v := reflect.ValueOf(a)
	for v.Kind() == reflect.Pointer && !v.IsNil() {
		v = v.Elem()
	}
	switch {
	case v.CanInt():
		return words.Count(v.Int())
	case v.CanFloat():
		return words.Num(v.Float())
	case v.Kind() == reflect.String:
		return words.Name(v.String())
	}
	return words.Name(fmt.Sprint(a))
}

var languages = sync.OnceValue(func() []*Language {
	out, err := words.Joined(files)
	if err != nil {
		panic(fmt.Sprintf("words of pages: %v", err)) // a test reads every file
	}
	return out
})

// Languages are all that pages speak, English first.
func Languages() []*Language { return languages() }

// In is a language by its tag, English where pages do not speak it.
func In(tag string) *Language {
	for _, l := range languages() {
		if l.Tag == tag {
			return l
		}
	}
	return languages()[0]
}

// Speaks says whether pages speak a language, by its tag.
func Speaks(tag string) bool { return In(tag).Tag == tag }

var matcher = sync.OnceValue(func() language.Matcher {
	var tags []language.Tag
	for _, l := range languages() {
		tags = append(tags, language.MustParse(l.Tag))
	}
	return language.NewMatcher(tags)
})

// Asked is the language that a browser asks for by its Accept-Language (RFC 9110, 12.5.4); English where it asks for none
// that pages speak.
func Asked(acceptLanguage string) *Language {
	tags, _, err := language.ParseAcceptLanguage(acceptLanguage)
	if err != nil || len(tags) == 0 {
		return languages()[0]
	}
	_, at, _ := matcher().Match(tags...)
	return languages()[at]
}

// Reader is who a page is made for: in which language, and in which zone.
type Reader struct {
	*Language
	Zone *time.Location
}

// Say says a code (a string) with arguments, or a phrase. Arguments are as for P; a piece of HTML, from link, strong, day
// or moment, is set into the sentence as it is, and what is said is then HTML, everything else in it escaped.
func (r Reader) Say(what any, args ...any) (any, error) {
	var p Phrase
	switch v := what.(type) {
	case Phrase:
		if len(args) > 0 {
			return nil, fmt.Errorf("say: a phrase has its arguments already")
		}
		p = v
	case string:
		p.Code = v
	default:
		return nil, fmt.Errorf("say: %T is neither a code nor a phrase", what)
	}
	var marked bool
	for _, a := range args {
		if h, ok := a.(template.HTML); ok {
			marked = true
			p.Args = append(p.Args, words.Name(string(h)))
			continue
		}
		p.Args = append(p.Args, arg(a))
	}
	if p.Code != "" && !r.Has(p.Code) {
		return nil, fmt.Errorf("say: no language has words for %q", p.Code)
	}
	if !marked {
		return r.Sentence(p), nil
	}
	var b strings.Builder
	for n, text := range r.Parts(p.Code, p.Args...) {
		if n > 0 {
			if h, ok := args[n-1].(template.HTML); ok {
				b.WriteString(string(h))
				continue
			}
		}
		b.WriteString(template.HTMLEscapeString(text))
	}
	return template.HTML(b.String()), nil //nolint:gosec // every piece is escaped or HTML already
}

// Text says a phrase for a place that takes text.
func (r Reader) Text(p Phrase) string { return r.Sentence(p) }

// Term is a word of term.yaml; a code that it lacks is said as it is, without its prefix, since it is a value that a newer program
// has written.
func (r Reader) Term(code string) string {
	if s, ok := r.Language.TermIn(code, ""); ok {
		return s
	}
	_, bare, _ := strings.Cut(code, ".")
	return bare
}
