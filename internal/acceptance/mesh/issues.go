package mesh

import (
	"errors"
	"fmt"
)

// issuesPerCode is how many issues of one code are kept; the rest is counted in the last one's message. A broken
// export repeats one fault a million times, and nobody reads past the first hundred.
const issuesPerCode = 100

// issues collects faults of one file.
type issues struct {
	path  string
	kept  []Issue
	count map[string]int
}

func newIssues(path string) *issues { return &issues{path: path, count: map[string]int{}} }

func (is *issues) add(i Issue) {
	is.count[i.Code]++
	if is.count[i.Code] > issuesPerCode {
		return
	}
	if i.Path == "" {
		i.Path = is.path
	}
	is.kept = append(is.kept, i)
}

func (is *issues) error(code, pointer string, offset int64, msg string) {
	is.add(Issue{Code: code, Pointer: pointer, Offset: offset, Message: msg})
}

func (is *issues) warn(code, pointer string, offset int64, msg string) {
	is.add(Issue{Code: code, Pointer: pointer, Offset: offset, Message: msg, Warning: true})
}

func (is *issues) undecoded(code, pointer string, offset int64, msg string) {
	is.add(Issue{Code: code, Pointer: pointer, Offset: offset, Message: msg, Undecoded: true})
}

// errors counts issues that are neither warnings nor about what cannot be decoded.
func (is *issues) errors() int {
	n := 0
	for _, i := range is.kept {
		if !i.Warning && !i.Undecoded {
			n++
		}
	}
	return n
}

// merge adds another collector's issues, which come later in the file.
func (is *issues) merge(o *issues) {
	for _, i := range o.kept {
		is.add(i)
		o.count[i.Code]--
	}
	for code, n := range o.count {
		is.count[code] += n
	}
}

// addOpenError turns a failure to open the file itself into an issue.
func (is *issues) addOpenError(err error) {
	switch {
	case errors.Is(err, ErrTooLarge):
		is.error("limits.file_bytes", "", -1, fmt.Sprintf("The file is too large to be read: %v. Split it or reduce it.", err))
	case errors.Is(err, ErrNotDelivered):
		is.error("self_contained.missing", "", -1, "The file is not in the delivery; deliver it.")
	default:
		is.error("container.unreadable", "", -1, fmt.Sprintf("The file cannot be read: %v. Send it again.", err))
	}
}

// list returns what was kept, with the number of further ones said in the last issue of each code.
func (is *issues) list() []Issue {
	left := map[string]int{}
	for code, n := range is.count {
		left[code] = n - issuesPerCode
	}
	for i := len(is.kept) - 1; i >= 0; i-- {
		if n := left[is.kept[i].Code]; n > 0 {
			is.kept[i].Message += fmt.Sprintf(" (%d more like this are not listed.)", n)
			left[is.kept[i].Code] = 0
		}
	}
	return is.kept
}
