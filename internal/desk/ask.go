package desk

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/words"
)

// answerable are the questions that a role in delivery.yaml would settle.
func answerable(qs []acceptance.Question) []acceptance.Question {
	var out []acceptance.Question
	for _, q := range qs {
		if len(q.Candidates) > 0 && !strings.Contains(q.Path, "#") {
			out = append(out, q)
		}
	}
	return out
}

// ask asks the person at the keyboard what each file is and writes delivery.yaml into the folder. again says that
// something was answered. A folder that has its delivery.yaml is not asked about: it is there to be edited.
func ask(s Streams, l *words.Language, folder string, m *acceptance.Manifest, qs []acceptance.Question) (again bool, err error) {
	if _, err := os.Stat(filepath.Join(folder, acceptance.ManifestName)); !errors.Is(err, fs.ErrNotExist) {
		return false, err
	}
	in := bufio.NewReader(s.In)
	for _, q := range qs {
		i := slices.IndexFunc(m.Files, func(f acceptance.ManifestFile) bool { return f.Path == q.Path })
		if i < 0 {
			continue
		}
		role, err := askOne(s, l, in, q, m.Files[i].Role)
		if err != nil {
			return false, err
		}
		if role == "" { // no more answers
			return false, nil
		}
		m.Files[i].Role = role
	}
	if err := acceptance.WriteManifest(folder, m); err != nil {
		return false, err
	}
	fmt.Fprintln(s.Err, l.Say("desk.ask_wrote", words.Name(filepath.Join(folder, acceptance.ManifestName))))
	return true, nil
}

// askOne asks until the answer is one of the candidates, their number, or nothing, which keeps what is.
func askOne(s Streams, l *words.Language, in *bufio.Reader, q acceptance.Question, now string) (string, error) {
	fmt.Fprintf(s.Err, "%s: %s\n", q.Path, q.In(l))
	for i, c := range q.Candidates {
		fmt.Fprintf(s.Err, "  %2d  %s\n", i+1, c)
	}
	for {
		fmt.Fprint(s.Err, l.Say("desk.ask_role", words.Name(now)))
		line, err := in.ReadString('\n')
		word := strings.TrimSpace(line)
		switch n, nerr := strconv.Atoi(word); {
		case nerr == nil && n >= 1 && n <= len(q.Candidates):
			return q.Candidates[n-1], nil
		case slices.Contains(q.Candidates, word):
			return word, nil
		case word == "" && err == nil:
			return now, nil
		case errors.Is(err, io.EOF):
			fmt.Fprintln(s.Err)
			return "", nil
		case err != nil:
			return "", fmt.Errorf("read the answer: %w", err)
		}
		fmt.Fprintln(s.Err, l.Say("desk.ask_none", words.Name(word)))
	}
}

// tellQuestions prints what the names leave open, for a person or a script to settle later.
func tellQuestions(w io.Writer, l *words.Language, qs []acceptance.Question) {
	for _, q := range qs {
		if len(q.Candidates) == 0 {
			fmt.Fprintf(w, "%s: %s\n", q.Path, q.In(l))
			continue
		}
		fmt.Fprintln(w, l.Say("desk.open_role", words.Name(q.Path), words.Name(q.In(l)), words.Name(acceptance.ManifestName), words.Names(q.Candidates...)))
	}
}
