package mesh

import (
	"bytes"
	"math"
	"strconv"
)

// Text formats are read in pieces that begin and end at line breaks, one for each thread and more: pieces are merged in
// file order, so the number of threads changes nothing in the result.

// piece is a run of whole lines.
type piece struct {
	from, to  int
	firstLine int // counted from 1
}

// pieceBytes is how long a piece is at least: short enough to keep every thread busy, long enough that merging costs
// nothing.
const pieceBytes = 4 << 20

// splitLines cuts text[from:] into pieces and numbers their lines.
func splitLines(text []byte, from, line int) []piece {
	var all []piece
	for from < len(text) {
		to := len(text)
		if from+pieceBytes < len(text) {
			if nl := bytes.IndexByte(text[from+pieceBytes:], '\n'); nl >= 0 {
				to = from + pieceBytes + nl + 1
			}
		}
		all = append(all, piece{from: from, to: to})
		from = to
	}
	counts := make([]int, len(all))
	parallel(len(all), func(i int) { counts[i] = bytes.Count(text[all[i].from:all[i].to], []byte{'\n'}) })
	for i := range all {
		all[i].firstLine = line
		line += counts[i]
	}
	return all
}

// nextLine returns the line that begins at i without its break, and where the following one begins.
func nextLine(text []byte, i int) (line []byte, next int) {
	nl := bytes.IndexByte(text[i:], '\n')
	if nl < 0 {
		return bytes.TrimSuffix(text[i:], []byte{'\r'}), len(text)
	}
	line = text[i : i+nl]
	if nl > 0 && line[nl-1] == '\r' {
		line = line[:nl-1]
	}
	return line, i + nl + 1
}

func blank(c byte) bool { return c == ' ' || c == '\t' }

// field returns the next run of characters that are not blank, and what follows it. Empty at the end.
func field(s []byte) (f, rest []byte) {
	i := 0
	for i < len(s) && blank(s[i]) {
		i++
	}
	j := i
	for j < len(s) && !blank(s[j]) {
		j++
	}
	return s[i:j], s[j:]
}

// pow10 holds the powers of ten that a float64 has exactly.
var pow10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// parseFloat reads a decimal number as Clinger's fast path does (W. D. Clinger, "How to read floating point numbers
// accurately", 1990): up to 2^53 times or over a power of ten that is exact gives the nearest float64 with one rounding.
// Other numbers go to the library. NaN, infinities and what float32 cannot hold come back as not finite.
func parseFloat(s []byte) (float32, bool) {
	i, neg := 0, false
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		neg = s[i] == '-'
		i++
	}
	mant, digits, exp := uint64(0), 0, 0
	for ; i < len(s) && s[i]-'0' <= 9; i++ {
		mant = mant*10 + uint64(s[i]-'0')
		digits++
	}
	if i < len(s) && s[i] == '.' {
		i++
		for ; i < len(s) && s[i]-'0' <= 9; i++ {
			mant = mant*10 + uint64(s[i]-'0')
			digits++
			exp--
		}
	}
	if digits == 0 || digits > 18 {
		return slowFloat(s)
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		e, err := strconv.Atoi(string(s[i+1:]))
		if err != nil {
			return 0, false
		}
		exp += e
		i = len(s)
	}
	if i != len(s) {
		return 0, false
	}
	if mant > 1<<53 || exp < -22 || exp > 22 {
		return slowFloat(s)
	}
	f := float64(mant)
	if exp < 0 {
		f /= pow10[-exp]
	} else {
		f *= pow10[exp]
	}
	if neg {
		f = -f
	}
	return float32(f), true
}

// slowFloat reads what the fast path does not; numbers that only the library's syntax knows are refused.
func slowFloat(s []byte) (float32, bool) {
	if len(s) > 400 || bytes.ContainsAny(s, "_xXpP") {
		return 0, false
	}
	f, err := strconv.ParseFloat(string(s), 64)
	if err != nil {
		return float32(math.Inf(1)), f != 0 // out of range reads as infinite, the rest is no number
	}
	return float32(f), true
}

// parseInt reads a decimal integer of at most ten digits.
func parseInt(s []byte) (int64, bool) {
	i, neg := 0, false
	if len(s) > 0 && (s[0] == '-' || s[0] == '+') {
		neg = s[0] == '-'
		i = 1
	}
	if i == len(s) || len(s)-i > 10 {
		return 0, false
	}
	n := int64(0)
	for ; i < len(s); i++ {
		if s[i]-'0' > 9 {
			return 0, false
		}
		n = n*10 + int64(s[i]-'0')
	}
	if neg {
		n = -n
	}
	return n, true
}
