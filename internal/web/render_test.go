package web

import (
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/web/words"
)

// TestCopiesSpeakToTheirReader: renderings side by side each speak to the reader that they were lent for.
func TestCopiesSpeakToTheirReader(t *testing.T) {
	t.Parallel()
	p := &Pages{pages: map[string]*copies{}}
	require.NoError(t, p.readTemplates())
	one, err := p.pages["login"].borrow()
	require.NoError(t, err)
	two, err := p.pages["login"].borrow()
	require.NoError(t, err)
	*one.reader, *two.reader = words.Reader{Language: words.In("en"), Zone: time.UTC}, words.Reader{Language: words.In("de"), Zone: time.UTC}
	for want, b := range map[string]*lent{"Password": one, "Passwort": two, "Log in": one, "Anmelden": two} {
		require.Contains(t, rendered(t, b), want)
	}
	p.pages["login"].giveBack(one)
	again, err := p.pages["login"].borrow()
	require.NoError(t, err)
	require.Same(t, one, again, "what was given back is lent again")
}

type text struct{ b []byte }

func (w *text) Write(b []byte) (int, error) { w.b = append(w.b, b...); return len(b), nil }

func rendered(t testing.TB, b *lent) string {
	t.Helper()
	var w text
	require.NoError(t, b.Execute(&w, map[string]any{"Frame": frame{Title: words.P("login.title"), Here: "/login"}, "Page": loginPage{}}))
	return string(w.b)
}

// BenchmarkBorrow: a page from a copy that waits, and from one that is made first.
func BenchmarkBorrow(b *testing.B) {
	p := &Pages{pages: map[string]*copies{}}
	require.NoError(b, p.readTemplates())
	for name, keep := range map[string]bool{"kept": true, "made": false} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				c, err := p.pages["login"].borrow()
				require.NoError(b, err)
				*c.reader = words.Reader{Language: words.In("de"), Zone: time.UTC}
				require.NoError(b, c.Execute(io.Discard, map[string]any{"Frame": frame{Title: words.P("login.title"), Here: "/login"}, "Page": loginPage{}}))
				if keep {
					p.pages["login"].giveBack(c)
				}
			}
		})
	}
}
