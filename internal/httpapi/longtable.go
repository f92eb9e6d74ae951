package httpapi

import (
	"bytes"
	"compress/flate"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"sync"

	"github.com/labstack/echo/v4"
)

// Rows hands a table's rows to row, one after the other, until one cannot be written.
type Rows func(ctx context.Context, row func(cells []string) error) error

// LongTable is a table of any length as bytes to read: its first rows are there before its last ones have been asked for. It is written
// as fast as rows give it, whatever the pace of whoever reads it, so that no transaction waits for somebody's slow line; what waits is
// held in parts, compressed but for the first few. Where rows fail at once, nothing was written and their error comes back; where they
// fail later, reading ends in a panic that cuts the connection, so that nobody takes the table for whole.
type LongTable struct {
	cancel context.CancelFunc
	broke  func(error) // told what reading broke off for

	mu    sync.Mutex
	more  chan struct{} // room for one: something was added
	parts []tablePart
	over  bool
	err   error

	now io.Reader // the part that is being read
}

// tablePart is a piece of the table, deflated (RFC 1951) where it has to wait.
type tablePart struct {
	text     []byte
	deflated bool
}

const (
	tablePartBytes = 32 << 10
	tablePartsRaw  = 16 // parts that wait as they are
)

// longTable begins a table of a header line and rows; it returns when its first part is there.
func (s *Server) longTable(ctx context.Context, header []string, rows Rows) (*LongTable, error) {
	return s.longText(ctx, func(ctx context.Context, out io.Writer) error {
		lines := recordsTo(out)
		if err := lines.write(header); err != nil {
			return err
		}
		return rows(ctx, func(cells []string) error {
			for i, c := range cells {
				cells[i] = plainCell(c)
			}
			return lines.write(cells)
		})
	})
}

func (s *Server) longText(ctx context.Context, write func(ctx context.Context, out io.Writer) error) (*LongTable, error) {
	ctx, cancel := context.WithCancel(ctx)
	t := &LongTable{cancel: cancel, more: make(chan struct{}, 1), broke: func(err error) { s.log.ErrorContext(ctx, "a table broke off", "error", err.Error()) }}
	go func() {
		err := errors.New("a panic") // recovered here: this runs beside the request
		defer func() {
			if why := recover(); why != nil {
				err = fmt.Errorf("%w: %v", err, why)
			}
			t.end(err)
		}()
		w := &tableWriter{to: t, ctx: ctx}
		if err = write(ctx, w); err == nil {
			err = w.flush()
		}
	}()
	<-t.more // the first part, or the end
	t.wake()
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.err != nil && len(t.parts) == 0 {
		cancel()
		return nil, t.err
	}
	return t, nil
}

// tableWriter cuts what is written into parts.
type tableWriter struct {
	to   *LongTable
	ctx  context.Context // of the table: nobody reads on once it is done
	text []byte
	pack *flate.Writer
}

func (w *tableWriter) Write(b []byte) (int, error) {
	w.text = append(w.text, b...)
	if len(w.text) < tablePartBytes {
		return len(b), nil
	}
	return len(b), w.flush()
}

func (w *tableWriter) flush() error {
	if err := w.ctx.Err(); err != nil || len(w.text) == 0 {
		return err
	}
	part := tablePart{text: bytes.Clone(w.text)}
	if w.to.waiting() >= tablePartsRaw {
		var b bytes.Buffer
		if w.pack == nil {
			w.pack, _ = flate.NewWriter(&b, flate.BestSpeed) // a level that there is
		}
		w.pack.Reset(&b)
		_, _ = w.pack.Write(w.text) // a bytes.Buffer takes everything
		_ = w.pack.Close()
		part = tablePart{b.Bytes(), true}
	}
	w.text = w.text[:0]
	w.to.add(part)
	return nil
}

func (t *LongTable) waiting() int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return len(t.parts)
}

func (t *LongTable) add(p tablePart) {
	t.mu.Lock()
	t.parts = append(t.parts, p)
	t.mu.Unlock()
	t.wake()
}

func (t *LongTable) end(err error) {
	t.mu.Lock()
	t.over, t.err = true, err
	t.mu.Unlock()
	t.wake()
}

func (t *LongTable) wake() {
	select {
	case t.more <- struct{}{}:
	default:
	}
}

// Read gives what is there, and waits where nothing is.
func (t *LongTable) Read(b []byte) (int, error) {
	for {
		if t.now != nil {
			n, err := t.now.Read(b)
			if err == io.EOF {
				t.now, err = nil, nil
			}
			if n > 0 || err != nil {
				return n, err
			}
		}
		part, state := t.next()
		switch {
		case state == tableHasPart && part.deflated:
			t.now = flate.NewReader(bytes.NewReader(part.text))
		case state == tableHasPart:
			t.now = bytes.NewReader(part.text)
		case state == tableOver:
			return 0, io.EOF
		default:
			<-t.more
		}
	}
}

type tableState int

const (
	tableWaits tableState = iota
	tableHasPart
	tableOver
)

func (t *LongTable) next() (tablePart, tableState) {
	t.mu.Lock()
	defer t.mu.Unlock()
	switch {
	case len(t.parts) > 0:
		p := t.parts[0]
		t.parts[0] = tablePart{}
		t.parts = t.parts[1:]
		return p, tableHasPart
	case t.over && t.err != nil:
		t.broke(t.err)
		panic(http.ErrAbortHandler) // net/http cuts the connection
	case t.over:
		return tablePart{}, tableOver
	}
	return tablePart{}, tableWaits
}

// Close ends it; what was not read is dropped.
func (t *LongTable) Close() error {
	t.cancel()
	return nil
}

// SendTable answers with a table of any length.
func (s *Server) SendTable(c echo.Context, header []string, rows Rows) error {
	t, err := s.longTable(c.Request().Context(), header, rows)
	if err != nil {
		return err
	}
	return t.answer(c, "text/csv; charset=utf-8; header=present")
}

// SendList answers with a JSON array of any length, whose items are handed to item.
func SendList[T any](s *Server, c echo.Context, items func(ctx context.Context, item func(T) error) error) error {
	t, err := s.longText(c.Request().Context(), func(ctx context.Context, out io.Writer) error { return writeList(ctx, out, items) })
	if err != nil {
		return err
	}
	return t.answer(c, echo.MIMEApplicationJSON)
}

func (t *LongTable) answer(c echo.Context, contentType string) error {
	defer t.Close()
	extendDeadline(c, downloadTime)
	c.Response().Header().Set(echo.HeaderContentType, contentType)
	c.Response().WriteHeader(http.StatusOK)
	_, err := io.Copy(c.Response(), t)
	return err
}

// writeList writes what json.Encoder writes of a slice of the items.
func writeList[T any](ctx context.Context, out io.Writer, items func(ctx context.Context, item func(T) error) error) error {
	before := "["
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	err := items(ctx, func(v T) error {
		b.Reset()
		b.WriteString(before)
		before = ","
		if err := enc.Encode(v); err != nil {
			return err
		}
		_, err := out.Write(b.Bytes()[:b.Len()-1]) // without the line's end that an Encoder adds
		return err
	})
	if err != nil {
		return err
	}
	if before == "[" {
		_, err = io.WriteString(out, "[]\n")
	} else {
		_, err = io.WriteString(out, "]\n")
	}
	return err
}
