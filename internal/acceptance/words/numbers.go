package words

import (
	"math"
	"strconv"
	"strings"
)

// number writes an argument of numbers with its unit.
func (l *Language) number(a Arg) string {
	n := a.Numbers
	want := map[Kind]int{KindSizeMM: 3, KindPointMM: 3, KindSizePx: 2}[a.Kind]
	if want == 0 {
		want = 1
	}
	if len(n) != want {
		return "?"
	}
	switch a.Kind {
	case KindCount:
		return l.Fixed(n[0], 0)
	case KindMM:
		return l.mm(n[0])
	case KindMMExact:
		return l.Digits(n[0], 4) + " mm"
	case KindSizeMM:
		return l.Digits(n[0], 6) + " × " + l.Digits(n[1], 6) + " × " + l.Digits(n[2], 6) + " mm"
	case KindPointMM:
		return "(" + l.List(l.Fixed(n[0], 0), l.Fixed(n[1], 0), l.Fixed(n[2], 0)) + ") mm"
	case KindMM2:
		return l.mm2(n[0])
	case KindShare:
		return l.share(n[0])
	case KindShareFine:
		return l.Fixed(100*n[0], 2) + " %"
	case KindPx:
		return l.px(n[0])
	case KindSizePx:
		return l.Fixed(n[0], 0) + " × " + l.Fixed(n[1], 0) + " px"
	case KindPxPerM:
		return l.Fixed(n[0], 0) + " px/m"
	case KindDeg:
		return l.deg(n[0])
	case KindBytes:
		return l.bytes(n[0])
	}
	return l.Digits(n[0], 4)
}

func (l *Language) mm(mm float64) string {
	switch {
	case math.Abs(mm) >= 100:
		return l.Fixed(mm, 0) + " mm"
	case math.Abs(mm) >= 0.095:
		return l.Fixed(mm, 1) + " mm"
	}
	return l.Digits(mm, 2) + " mm"
}

func (l *Language) mm2(mm2 float64) string {
	switch {
	case mm2 >= 1e5:
		return l.Fixed(mm2/1e4, 1) + " dm²"
	case mm2 >= 10:
		return l.Fixed(mm2, 0) + " mm²"
	}
	return l.Digits(mm2, 2) + " mm²"
}

// share writes per cent: no "0 %" for what is not nothing, no "100 %" for what is not all.
func (l *Language) share(share float64) string {
	switch {
	case share <= 0:
		return "0 %"
	case share < 0.0005:
		return l.term("less_than", "") + " " + l.Fixed(0.1, 1) + " %"
	case share < 1 && share > 0.9995:
		return l.term("more_than", "") + " " + l.Fixed(99.9, 1) + " %"
	}
	return strings.TrimSuffix(l.Fixed(100*share, 1), l.decimal+"0") + " %"
}

func (l *Language) px(px float64) string {
	if math.Abs(px) < 1 {
		return l.Digits(px, 2) + " px"
	}
	return l.Digits(px, 3) + " px"
}

func (l *Language) deg(deg float64) string {
	if math.Abs(deg) >= 10 {
		return l.Fixed(deg, 0) + "°"
	}
	return l.Digits(deg, 2) + "°"
}

func (l *Language) bytes(n float64) string {
	switch {
	case n >= 1<<30:
		return l.Fixed(n/(1<<30), 1) + " GiB"
	case n >= 1<<20:
		return l.Fixed(n/(1<<20), 1) + " MiB"
	case n >= 1<<10:
		return l.Fixed(n/(1<<10), 1) + " KiB"
	}
	return l.Fixed(n, 0) + " bytes"
}

// List sets numbers beside each other, apart from their decimal signs.
func (l *Language) List(numbers ...string) string {
	if l.decimal == "," {
		return strings.Join(numbers, "; ")
	}
	return strings.Join(numbers, ", ")
}

// Fixed writes a number with a fixed count of decimals.
func (l *Language) Fixed(v float64, decimals int) string {
	return l.local(strconv.FormatFloat(v, 'f', decimals, 64))
}

// Digits writes a number rounded to so many digits, without an exponent and without zeros at the end of its decimals.
// Digits before the decimal point are never lost.
func (l *Language) Digits(v float64, digits int) string {
	e := strconv.FormatFloat(v, 'e', digits-1, 64)
	at := strings.IndexByte(e, 'e')
	exp, err := strconv.Atoi(e[at+1:])
	if err != nil {
		return e
	}
	s := strconv.FormatFloat(v, 'f', max(0, digits-1-exp), 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return l.local(s)
}

// groupFrom is the count of digits before the decimal point from which thousands are set apart. Four digits read well
// without (ISO 80000-1, 7.3.1 leaves grouping free).
const groupFrom = 5

// local puts the language's decimal sign and thousands signs into a number.
func (l *Language) local(s string) string { return l.grouped(s, groupFrom) }

func (l *Language) grouped(s string, from int) string {
	sign := ""
	if strings.HasPrefix(s, "-") {
		sign, s = "-", s[1:]
	}
	whole, decimals, has := strings.Cut(s, ".")
	if strings.Trim(whole+decimals, "0") == "" {
		sign = "" // no minus before a zero
	}
	if len(whole) >= from {
		var b strings.Builder
		for i, c := range whole {
			if i > 0 && (len(whole)-i)%3 == 0 {
				b.WriteString(l.group)
			}
			b.WriteRune(c)
		}
		whole = b.String()
	}
	if has {
		whole += l.decimal + decimals
	}
	return sign + whole
}
