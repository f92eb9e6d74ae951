package words

import "math"

// Phrase is one sentence as data: a stable code and the arguments that its template takes. It is what evidence keeps
// beside the English text, so that it can be said in any language later.
type Phrase struct {
	Code string `json:"code"`
	Args []Arg  `json:"args,omitempty"`
}

// P makes a phrase. The code must stand in the catalogue; a test reads every call.
func P(code string, args ...Arg) Phrase { return Phrase{Code: code, Args: args} }

// Literal is the code of a phrase that has no words of its own: its one argument is text that someone outside the
// program wrote, such as the reason that a spec gives.
const Literal = "engine.literal"

// Kind says how an argument is written.
type Kind string

// The kinds of arguments. A length is in millimetres, an area in square millimetres, a share between 0 and 1.
const (
	KindCount     Kind = "count"    // a whole number that a plural form may follow
	KindNumber    Kind = "number"   // a plain number, four digits
	KindMM        Kind = "mm"       // a length, as exact as it helps: 0.031 mm, 4.1 mm, 380 mm
	KindMMExact   Kind = "mm_exact" // a length against a contracted one: four digits
	KindSizeMM    Kind = "size_mm"  // three lengths, width × height × depth
	KindPointMM   Kind = "point_mm" // a place, whole millimetres
	KindMM2       Kind = "mm2"      // an area
	KindShare     Kind = "share"    // per cent with one decimal; never "0 %" for what is not nothing
	KindShareFine Kind = "share_fine"
	KindPx        Kind = "px"
	KindSizePx    Kind = "size_px" // width × height of a picture
	KindPxPerM    Kind = "px_per_m"
	KindDeg       Kind = "deg"
	KindBytes     Kind = "bytes"
	KindName      Kind = "name" // text that stays as it is: a node, a file, a role, a key of the spec
	KindTerm      Kind = "term" // a word that is translated: "left", "the sculpt"
	KindSays      Kind = "says" // a sentence within the sentence: Text is its code, Of its arguments
	KindOwn       Kind = "own"  // text given in English, whose code Text other languages may have words for
	KindList      Kind = "list" // arguments one after the other
	KindAnd       Kind = "and"  // the same with "and" before the last
)

// Kinds are all kinds of arguments.
func Kinds() []string {
	var out []string
	for _, k := range []Kind{KindCount, KindNumber, KindMM, KindMMExact, KindSizeMM, KindPointMM, KindMM2, KindShare, KindShareFine,
		KindPx, KindSizePx, KindPxPerM, KindDeg, KindBytes, KindName, KindTerm, KindSays, KindOwn, KindList, KindAnd} {
		out = append(out, string(k))
	}
	return out
}

// Arg is one argument of a phrase.
type Arg struct {
	Kind    Kind      `json:"kind"`
	Numbers []float64 `json:"numbers,omitempty"`
	Text    string    `json:"text,omitempty"` // a name, the code of a term, of a nested phrase or of text given in English
	Of      []Arg     `json:"of,omitempty"`   // of a list or a nested phrase; the English of text given so
}

// number makes an argument of numbers. JSON holds no NaN and no infinity: what is not finite becomes the word for that.
func number(k Kind, v ...float64) Arg {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return Term("not_finite")
		}
	}
	return Arg{Kind: k, Numbers: v}
}

// Count is a whole number of things. Templates add the noun in the right form.
func Count[N int | int32 | int64](n N) Arg { return number(KindCount, float64(n)) }

// Num is a plain number or a ratio.
func Num(v float64) Arg { return number(KindNumber, v) }

// MM is a length in millimetres.
func MM(mm float64) Arg { return number(KindMM, mm) }

// MMExact is a length in millimetres with four digits, for what is held against a contracted length.
func MMExact(mm float64) Arg { return number(KindMMExact, mm) }

// SizeMM is a box: three lengths in millimetres.
func SizeMM(mm [3]float64) Arg { return number(KindSizeMM, mm[:]...) }

// PointMM is a place in millimetres.
func PointMM(mm [3]float64) Arg { return number(KindPointMM, mm[:]...) }

// MM2 is an area in square millimetres.
func MM2(mm2 float64) Arg { return number(KindMM2, mm2) }

// Share is a part of a whole, 0 to 1, written in per cent with one decimal.
func Share(share float64) Arg { return number(KindShare, share) }

// ShareFine is a part of a whole, 0 to 1, written in per cent with two decimals.
func ShareFine(share float64) Arg { return number(KindShareFine, share) }

// Px is a length in pixels.
func Px(px float64) Arg { return number(KindPx, px) }

// SizePx is the size of a picture in pixels.
func SizePx(width, height int) Arg { return number(KindSizePx, float64(width), float64(height)) }

// PxPerM is a texel density in pixels per metre.
func PxPerM(d float64) Arg { return number(KindPxPerM, d) }

// Deg is an angle in degrees.
func Deg(deg float64) Arg { return number(KindDeg, deg) }

// Bytes is a size in bytes, written in binary multiples.
func Bytes[N int | int64](n N) Arg { return number(KindBytes, float64(n)) }

// Name is text that no language changes.
func Name(s string) Arg { return Arg{Kind: KindName, Text: s} }

// Names is a list of names.
func Names(list ...string) Arg {
	a := Arg{Kind: KindList}
	for _, s := range list {
		a.Of = append(a.Of, Name(s))
	}
	return a
}

// And is a list of names with "and" before the last.
func And(list ...string) Arg {
	a := Names(list...)
	a.Kind = KindAnd
	return a
}

// Term is a word of the file term.yaml, by its code without "term.".
func Term(code string) Arg { return Arg{Kind: KindTerm, Text: code} }

// Said is a sentence, or a part of one, within another.
func Said(code string, args ...Arg) Arg { return Arg{Kind: KindSays, Text: code, Of: args} }

// Nested is a phrase within another.
func Nested(p Phrase) Arg { return Said(p.Code, p.Args...) }

// Own is text whose English stands in Go beside what it describes, and which other languages say by its code; there, the
// English is the template's argument.
func Own(code, english string) Arg { return Arg{Kind: KindOwn, Text: code, Of: []Arg{Name(english)}} }

// List is several arguments, written with commas between them.
func List(args ...Arg) Arg { return Arg{Kind: KindList, Of: args} }
