package desk

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/words"
)

func TestAsk(t *testing.T) {
	for name, c := range map[string]struct {
		answers string
		again   bool
		roles   []string
	}{
		"by word and by number":        {"cage\n2\n", true, []string{"cage", "sculpt"}},
		"enter keeps what is":          {"\nother\n", true, []string{"other", "other"}},
		"nonsense is asked again":      {"gold\n9\n0\ngame\n1\n", true, []string{"game", "game"}},
		"an answer without its end":    {"game\nsculpt", true, []string{"game", "sculpt"}},
		"no more answers":              {"game\n", false, nil},
		"nobody there after all":       {"", false, nil},
		"nonsense and then no answers": {"gold", false, nil},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			folder := t.TempDir()
			m := &acceptance.Manifest{Prop: "crate", Milestone: "final", Files: []acceptance.ManifestFile{{Path: "a.glb", Role: "other"}, {Path: "b.glb", Role: "other"}}}
			candidates := []string{"game", "sculpt", "cage", "other"}
			qs := answerable([]acceptance.Question{
				{Path: "a.glb", Why: "No name tells.", Candidates: candidates}, {Path: "b.glb", Why: "Nor this one.", Candidates: candidates},
				{Path: "a.glb#lid", Why: "A node.", Candidates: candidates}, {Path: "c", Why: "A link."},
			})
			require.Len(t, qs, 2)
			var said bytes.Buffer
			again, err := ask(Streams{In: strings.NewReader(c.answers), Err: &said}, words.English(), folder, m, qs)
			require.NoError(t, err)
			require.Equal(t, c.again, again, said.String())
			require.Contains(t, said.String(), "a.glb: No name tells.\n   1  game\n")
			if !c.again {
				require.NoFileExists(t, filepath.Join(folder, "delivery.yaml"))
				return
			}
			for i, role := range c.roles {
				require.Equal(t, role, m.Files[i].Role)
			}
			data, err := os.ReadFile(filepath.Join(folder, "delivery.yaml"))
			require.NoError(t, err)
			require.Contains(t, string(data), "role: "+c.roles[1])

			again, err = ask(Streams{In: strings.NewReader("game\ngame\n"), Err: &said}, words.English(), folder, m, qs)
			require.NoError(t, err)
			require.False(t, again, "a folder with its delivery.yaml is not asked about")
		})
	}
}

func TestBar(t *testing.T) {
	t.Parallel()
	var terminal, pipe bytes.Buffer
	b := &bar{l: words.English(), s: Streams{Err: &terminal, Terminal: true}, label: "crate"}
	b.set("hashing", 0.5)
	require.Equal(t, "\r\x1b[Kcrate [============            ]  50 %  hashing", terminal.String())
	b.clear()
	b.clear()
	require.True(t, strings.HasSuffix(terminal.String(), "hashing\r\x1b[K"))
	p := &bar{l: words.English(), s: Streams{Err: &pipe}, label: "crate"}
	for i := range 101 {
		p.set("reading", float64(i)/100)
	}
	p.clear()
	require.Equal(t, "crate: 25 %, reading\ncrate: 50 %, reading\ncrate: 75 %, reading\n", pipe.String())
}

func TestBeside(t *testing.T) {
	here, err := os.Getwd()
	require.NoError(t, err)
	for folder, want := range map[string]string{
		"crate": "crate-evidence", "crate/": "crate-evidence", "/a/crate": "/a/crate-evidence", ".": here + "-evidence", "..": filepath.Dir(here) + "-evidence",
	} {
		require.Equal(t, filepath.FromSlash(want), beside(folder, "-evidence"), folder)
	}
}
