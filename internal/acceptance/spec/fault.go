package spec

import (
	"fmt"
	"sort"
	"strings"
)

// Fault is one thing wrong with a spec document.
type Fault struct {
	File    string // as the caller named it, or "parent yard-kit@3"
	Line    int    // from 1; 0 where it is about the whole document
	Col     int    // from 1, in characters
	Path    string // "checks.uv.padding.min_px", "parts[2].kind"
	Message string // what is wrong and what to do
}

// String gives file:line:col: path: message.
func (f Fault) String() string {
	var b strings.Builder
	b.WriteString(f.File)
	if f.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", f.Line, f.Col)
	}
	b.WriteString(": ")
	if f.Path != "" {
		b.WriteString(f.Path + ": ")
	}
	b.WriteString(f.Message)
	return b.String()
}

// Faults is everything wrong with a spec, in the order of the document. It is an error.
type Faults []Fault

// Error lists all faults, one a line.
func (fs Faults) Error() string {
	lines := make([]string, len(fs))
	for i, f := range fs {
		lines[i] = f.String()
	}
	return strings.Join(lines, "\n")
}

// maxFaults bounds the list: nobody reads more, and a hostile document could hold a million.
const maxFaults = 100

func (fs *Faults) add(f Fault) {
	if len(*fs) < maxFaults {
		*fs = append(*fs, f)
	}
}

func (fs Faults) sorted() Faults {
	sort.SliceStable(fs, func(i, j int) bool {
		if fs[i].File != fs[j].File {
			return false
		}
		if fs[i].Line != fs[j].Line {
			return fs[i].Line < fs[j].Line
		}
		return fs[i].Col < fs[j].Col
	})
	return fs
}

// didYouMean returns ` Did you mean "x"?` for the known word nearest to one that is not known, or "".
func didYouMean(got string, known []string) string {
	best, bestDistance := "", 1+len(got)/3
	for _, k := range known {
		if d := distance(strings.ToLower(got), strings.ToLower(k)); d <= bestDistance && (best == "" || d < bestDistance) {
			best, bestDistance = k, d
		}
	}
	if best == "" {
		return ""
	}
	return fmt.Sprintf(" Did you mean %q?", best)
}

// distance counts the single-letter edits between two words, a swap of neighbours being one (Damerau 1964, in the
// restricted form that edits no place twice).
func distance(a, b string) int {
	if len(a) > maxWord || len(b) > maxWord {
		return maxWord
	}
	prev2 := make([]int, len(b)+1)
	prev := make([]int, len(b)+1)
	cur := make([]int, len(b)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		cur[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				cur[j] = min(cur[j], prev2[j-2]+1)
			}
		}
		prev2, prev, cur = prev, cur, prev2
	}
	return prev[len(b)]
}

// maxWord is the longest word for which a nearest one is looked for.
const maxWord = 100
