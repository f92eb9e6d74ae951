package words

import (
	"fmt"
	"strconv"
	"strings"
)

// template is a sentence with places for its arguments.
type template struct {
	segments []segment
	takes    int // how many arguments
}

// segment is text, or where arg is set, a place for an argument.
type segment struct {
	text  string
	arg   int      // from 1; 0 is text
	form  string   // of a term: "dat"; "" is its plain form
	forms []string // plural forms of the noun that follows a count
	bare  bool     // only the plural form, without the number
}

// parse reads a template:
//
//	{1}                     the first argument, written by its kind
//	{1.dat}                 a term in one of its forms
//	{1|triangle|triangles}  a count and its noun; one form for each of the language's plurals
//	{1?is|are}              only the form that goes with the count
//	{{ and }}               braces
func parse(text string, plurals int) (template, error) {
	var t template
	var plain strings.Builder
	flush := func() {
		if plain.Len() > 0 {
			t.segments = append(t.segments, segment{text: plain.String()})
			plain.Reset()
		}
	}
	for i := 0; i < len(text); {
		switch c := text[i]; {
		case (c == '{' || c == '}') && i+1 < len(text) && text[i+1] == c:
			plain.WriteByte(c)
			i += 2
		case c == '{':
			end := strings.IndexByte(text[i:], '}')
			if end < 0 {
				return t, fmt.Errorf("%q: a brace is not closed", text)
			}
			s, err := parsePlace(text[i+1:i+end], plurals)
			if err != nil {
				return t, fmt.Errorf("%q: %w", text, err)
			}
			flush()
			t.segments = append(t.segments, s)
			t.takes = max(t.takes, s.arg)
			i += end + 1
		case c == '}':
			return t, fmt.Errorf("%q: a brace closes nothing", text)
		default:
			plain.WriteByte(c)
			i++
		}
	}
	flush()
	return t, nil
}

func parsePlace(inner string, plurals int) (segment, error) {
	digits := 0
	for digits < len(inner) && inner[digits] >= '0' && inner[digits] <= '9' {
		digits++
	}
	n, err := strconv.Atoi(inner[:digits])
	if err != nil || n < 1 {
		return segment{}, fmt.Errorf("{%s} does not begin with the number of an argument", inner)
	}
	s := segment{arg: n}
	rest := inner[digits:]
	switch {
	case rest == "":
		return s, nil
	case rest[0] == '.':
		s.form = rest[1:]
		return s, nil
	case rest[0] == '|' || rest[0] == '?':
		s.bare = rest[0] == '?'
		s.forms = strings.Split(rest[1:], "|")
		if len(s.forms) != plurals {
			return s, fmt.Errorf("{%s} has %d plural forms, the language has %d", inner, len(s.forms), plurals)
		}
		return s, nil
	}
	return s, fmt.Errorf("{%s} is not understood", inner)
}
