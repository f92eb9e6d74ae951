package post

import (
	"bytes"
	"errors"
	"io"
	"net/http"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// answersWith answers every call alike, and breaks off where told.
type answersWith struct {
	status int
	body   []byte
	breaks bool
}

func (a answersWith) RoundTrip(r *http.Request) (*http.Response, error) {
	var body io.Reader = bytes.NewReader(a.body)
	if a.breaks {
		body = io.MultiReader(body, broken{})
	}
	return &http.Response{StatusCode: a.status, Header: http.Header{}, Body: io.NopCloser(body), Request: r}, nil
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, errors.New("cut") }

// FuzzHookAnswer calls webhooks at any address whose receivers answer anything: what is kept is short, and text.
func FuzzHookAnswer(f *testing.F) {
	f.Add("https://receiver.example/hook", 204, []byte(nil), false)
	f.Add("https://receiver.example/hook", 500, []byte("out of order \x00\xff"), true)
	f.Add("http://[::1%25eth0]:99999/\n", 410, bytes.Repeat([]byte("ä"), 600), false)
	f.Fuzz(func(t *testing.T, address string, status int, body []byte, breaks bool) {
		h := &Hooks{client: &http.Client{Transport: answersWith{status, body, breaks}}, now: time.Now}
		a := h.call(t.Context(), ledger.Sending{Hook: uuid.Nil, MessageID: uuid.Max, URL: address, Secrets: [][]byte{[]byte("s")}, Body: []byte(`{}`)})
		require.True(t, utf8.ValidString(a.Excerpt))
		require.LessOrEqual(t, len(a.Excerpt), 3*hookExcerpt, "each byte that is none becomes a sign of three")
		require.Equal(t, a.Status == nil, a.Problem != "")
		if a.Status != nil {
			require.Equal(t, status, *a.Status)
		}
	})
}
