package httpapi

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"
)

func quietServer() *Server { return &Server{log: slog.New(slog.DiscardHandler)} }

// numbered are n rows that hardly repeat each other.
func numbered(n int) (list [][]string) {
	for i := range n {
		list = append(list, []string{fmt.Sprint(i), fmt.Sprintf("Buoy, no. %d", i*i), "=1+1", "a \"b\"\nc"})
	}
	return list
}

func given(list [][]string) Rows {
	return func(_ context.Context, row func([]string) error) error {
		for _, cells := range list {
			if err := row(bytesOf(cells)); err != nil {
				return err
			}
		}
		return nil
	}
}

func bytesOf(cells []string) []string { return append([]string(nil), cells...) } // a row's cells are changed where they are

// A long table is byte for byte the short one, whether its reader keeps up, comes late or reads byte by byte, and what waits for a late
// one is small.
func TestLongTableIsTheTable(t *testing.T) {
	header := []string{"n", "title", "sum", "text"}
	for _, n := range []int{0, 1, 2_000, 60_000} {
		list := numbered(n)
		short, _ := table(header, clone(list))
		want, err := io.ReadAll(short)
		require.NoError(t, err)
		for _, late := range []bool{false, true} {
			long, err := quietServer().longTable(t.Context(), header, given(list))
			require.NoError(t, err)
			if late {
				require.Eventually(t, func() bool { long.mu.Lock(); defer long.mu.Unlock(); return long.over }, time.Minute, time.Millisecond)
				held := 0
				for _, p := range long.parts {
					held += len(p.text)
				}
				require.LessOrEqual(t, held, tablePartsRaw*(tablePartBytes+100)+len(want)/3)
			}
			var from io.Reader = long
			if n < 5_000 {
				from = iotest.OneByteReader(long)
			}
			got, err := io.ReadAll(from)
			require.NoError(t, err)
			require.True(t, bytes.Equal(want, got), "%d rows, late %v", n, late)
			require.NoError(t, long.Close())
		}
	}
}

func clone(list [][]string) (out [][]string) {
	for _, cells := range list {
		out = append(out, bytesOf(cells))
	}
	return out
}

// Its first rows are there while the others are still to come, and nobody's rows are asked for after its end.
func TestLongTableBeginsAtOnceAndEnds(t *testing.T) {
	wait, ended := make(chan struct{}), make(chan error, 1)
	rows := func(ctx context.Context, row func([]string) error) (err error) {
		defer func() { ended <- err }() // the end may come before the first rows are through
		for _, cells := range numbered(3_000) {
			if err = row(cells); err != nil {
				return err
			}
		}
		<-wait
		for err == nil {
			err = row([]string{"more"})
		}
		return err
	}
	long, err := quietServer().longTable(t.Context(), []string{"n"}, rows)
	require.NoError(t, err)
	first := make([]byte, tablePartBytes)
	_, err = io.ReadFull(long, first)
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(string(first), "n\r\n0,"))
	require.NoError(t, long.Close())
	close(wait)
	require.ErrorIs(t, <-ended, context.Canceled)
}

// What fails at once is an answer like any other; what fails later cuts the connection. A panic counts as failing.
func TestLongTableThatFails(t *testing.T) {
	broken := errors.New("the database is gone")
	for name, fail := range map[string]func() error{"error": func() error { return broken }, "panic": func() error { panic(broken.Error()) }} {
		at := 0
		rows := func(_ context.Context, row func([]string) error) error {
			for _, cells := range numbered(at) {
				if err := row(cells); err != nil {
					return err
				}
			}
			return fail()
		}
		_, err := quietServer().longTable(t.Context(), []string{"n"}, rows)
		require.ErrorContains(t, err, broken.Error(), name)

		at = 5_000
		e := echo.New()
		e.GET("/", func(c echo.Context) error { return quietServer().SendTable(c, []string{"n"}, rows) })
		server := httptest.NewServer(e)
		answer, err := http.Get(server.URL)
		require.NoError(t, err, name)
		require.Equal(t, 200, answer.StatusCode)
		_, err = io.ReadAll(answer.Body)
		require.ErrorIs(t, err, io.ErrUnexpectedEOF, name)
		require.NoError(t, answer.Body.Close())
		server.Close()
	}
}

// A long list is what encoding/json makes of all its items.
func TestLongListIsTheList(t *testing.T) {
	type item struct {
		Title string  `json:"title"`
		Due   *string `json:"due_on"`
	}
	for n := range 4 {
		list := make([]item, n)
		for i := range list {
			list[i].Title = fmt.Sprintf("<b> %d & \u2028", i)
		}
		var want, got bytes.Buffer
		require.NoError(t, json.NewEncoder(&want).Encode(list))
		require.NoError(t, writeList(t.Context(), &got, func(_ context.Context, give func(item) error) error {
			for _, v := range list {
				if err := give(v); err != nil {
					return err
				}
			}
			return nil
		}))
		require.Equal(t, want.String(), got.String())
	}
}
