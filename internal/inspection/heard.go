package inspection

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"unicode"

	"proofhouse/internal/acceptance"
)

// What a child says is a stranger's word once a file has taken it over: it goes into logs, counters, traces and the record only
// as far as it is known, and only so much of it.
const (
	saysMax     = 64 << 20 // bytes of all frames of one child; an honest one says some hundred KiB, and once a long outcome
	framesMax   = 100_000  // of one child; an honest one says some thousands in a quarter of an hour
	forceMax    = 8        // lines of what is in force
	lineMax     = 300      // bytes of a line in the log
	sentenceMax = 8 << 10  // bytes of what is recorded as a cause or a headline
)

// checkNames are the checks that a child may say it is making.
var checkNames = sync.OnceValue(func() map[string]bool {
	names := map[string]bool{}
	for _, c := range acceptance.Catalogue() {
		names[c.Name] = true
	}
	return names
})

// doing is what a child says that it does where that is one of the things an inspection does, else "".
func doing(says string) string {
	word, rest, _ := strings.Cut(says, " ")
	switch word {
	case stageChecking:
		if checkNames()[rest] {
			return says
		}
	case stageReading, "sorting", "pictures":
		return clipped(says, lineMax) // and the file, for who waits at the terminal
	}
	return ""
}

// clipped is a text without line ends and other control characters, and of at most n bytes.
func clipped(text string, n int) string {
	cut := len(text) > n
	if cut {
		text = text[:n]
	}
	text = strings.ToValidUTF8(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, text), "")
	if cut {
		return text + "…"
	}
	return text
}

// sentences is a text of one sentence a line, of at most n bytes.
func sentences(text string, n int) string {
	var out []string
	for line := range strings.SplitSeq(text, "\n") {
		if n <= 0 {
			break
		}
		line = clipped(line, n)
		out = append(out, line)
		n -= len(line) + 1
	}
	return strings.Join(out, "\n")
}

// ear bounds what one child may say.
type ear struct{ frames, force int }

// hear is a frame as far as it may be believed. It fails where the child says more than any honest one.
func (e *ear) hear(f frame) (frame, error) {
	if e.frames++; e.frames > framesMax {
		return f, fmt.Errorf("%w: it said more than %d things", ErrOutput, framesMax)
	}
	f.Doing, f.Done = doing(f.Doing), min(max(f.Done, 0), 1)
	f.InForce = f.InForce[:min(len(f.InForce), max(forceMax-e.force, 0))]
	e.force += len(f.InForce)
	for i, line := range f.InForce {
		f.InForce[i] = clipped(line, lineMax)
	}
	f.Failed = clipped(f.Failed, sentenceMax)
	if o := f.Outcome; o != nil {
		o.Headline, o.Refused, o.Unreadable = clipped(o.Headline, sentenceMax), sentences(o.Refused, sentenceMax), sentences(o.Unreadable, sentenceMax)
		o.Trace = clipped(o.Trace, 32)
	}
	return f, nil
}

// pictureKinds are what an inspection draws; a browser that is shown something else might run it.
var pictureKinds = []string{"image/png", "model/gltf-binary"}

// picturesMax is far more than the pictures of one inspection: some dozens for each texture set.
const picturesMax = 5000

// checkPictures refuses pictures that no inspection makes.
func checkPictures(pictures []Picture) error {
	if len(pictures) > picturesMax {
		return fmt.Errorf("there are %d, more than %d", len(pictures), picturesMax)
	}
	names := map[string]bool{evidenceName: true}
	for _, p := range pictures {
		if !slices.Contains(pictureKinds, p.MIME) {
			return fmt.Errorf("%s is of a kind that is not drawn", clipped(p.Name, 80))
		}
		if names[p.Name] || len(p.Name) > 200 || len(p.What) > sentenceMax {
			return fmt.Errorf("%s is named twice, or too long", clipped(p.Name, 80))
		}
		names[p.Name] = true
	}
	return nil
}
