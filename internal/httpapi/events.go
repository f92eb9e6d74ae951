package httpapi

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// Times of an event stream.
const (
	streamTime  = time.Hour        // then it ends, and the reader comes again
	streamBeat  = 15 * time.Second // a comment, so that proxies do not think it dead
	streamLook  = time.Second      // for news, while the database is out of hearing
	streamWrite = 10 * time.Second // a reader that takes longer is dropped
	streamRetry = 3000             // ms after which a reader comes again
)

// streamEvents sends the caller's party its news as they come (text/event-stream, HTML Living Standard, section 9.2), from
// Last-Event-ID on, and how far inspections are, which has no id and is not sent again.
func (s *Server) streamEvents(c echo.Context) error {
	ctx := c.Request().Context()
	who, ok := Caller(ctx)
	if !ok {
		return problem(kindUnauthorized, "This needs a session or a token.")
	}
	after, err := s.streamFrom(c)
	if err != nil {
		return err
	}
	st, end := s.streams.begin(who)
	if st == nil {
		return tooMany("A member may have four streams open at a time.", streamBeat)
	}
	defer end()
	out := newSSE(c)
	if err := out.write(fmt.Sprintf("retry: %d\n\n", streamRetry)); err != nil {
		return nil // the reader is gone: there is nobody to tell
	}
	if err := s.follow(c, st, out, after); err != nil && !errors.Is(err, errReaderGone) && ctx.Err() == nil {
		return err // the answer has begun: it is logged, and the connection ends
	}
	return nil
}

var errReaderGone = errors.New("the reader is gone")

// streamFrom is the place in the feed to go on from: what the reader saw last, or the end.
func (s *Server) streamFrom(c echo.Context) (int64, error) {
	last := c.Request().Header.Get("Last-Event-ID")
	if last == "" {
		last = c.QueryParam("after")
	}
	if last != "" {
		n, err := strconv.ParseInt(last, 10, 64)
		if err != nil || n < 0 {
			return 0, invalidField("Last-Event-ID", "is not an id of ours")
		}
		return n, nil
	}
	ctx := c.Request().Context()
	return read(ctx, s, func(tx *ledger.Tx) (int64, error) { return tx.NewsEnd(ctx) })
}

// follow sends until the reader goes, the session ends, the service stops or an hour is over.
func (s *Server) follow(c echo.Context, st *stream, out *sse, after int64) error {
	ctx := c.Request().Context()
	beat, recheck, look := time.NewTicker(streamBeat), time.NewTicker(s.streams.Recheck), time.NewTicker(streamLook)
	defer beat.Stop()
	defer recheck.Stop()
	defer look.Stop()
	st.hint() // what came since `after`
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-st.end:
			return nil
		case <-recheck.C:
			stands, err := read(ctx, s, func(tx *ledger.Tx) (bool, error) { return tx.Stands(ctx) })
			if err != nil || !stands {
				return err // ended, revoked or run out
			}
		case <-beat.C:
			if err := out.write(":\n\n"); err != nil {
				return err
			}
		case p := <-st.progress:
			if err := s.sendProgress(ctx, out, p); err != nil {
				return err
			}
		case <-look.C:
			if !s.streams.hears.Load() {
				st.hint()
			}
		case <-st.wake:
			var err error
			if after, err = s.sendNews(ctx, st, out, after); err != nil {
				return err
			}
		}
	}
}

// sendNews sends what is new after a place and returns the place reached.
func (s *Server) sendNews(ctx context.Context, st *stream, out *sse, after int64) (int64, error) {
	list, err := read(ctx, s, func(tx *ledger.Tx) ([]ledger.News, error) { return tx.News(ctx, after) })
	if err != nil || len(list) == 0 {
		return after, err
	}
	var b strings.Builder
	for _, n := range list {
		fmt.Fprintf(&b, "id: %d\nevent: %s\ndata: %s\n\n", n.Seq, n.Kind, n.Body)
	}
	if err := out.write(b.String()); err != nil {
		return after, err
	}
	st.hint() // there may be more than one page
	return list[len(list)-1].Seq, nil
}

// sendProgress sends a report where its caller can see the inspection, which the same transaction asks as pages do.
func (s *Server) sendProgress(ctx context.Context, out *sse, p ledger.Progress) error {
	_, err := read(ctx, s, func(tx *ledger.Tx) (ledger.Inspection, error) { return tx.Inspection(ctx, p.Inspection) })
	if errors.Is(err, ledger.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	data, err := json.Marshal(api.InspectionProgress{InspectionId: p.Inspection, DeliveryId: p.Delivery, PropId: p.Prop, Stage: api.InspectionProgressStage(p.Stage), Check: optional(p.Check), Done: float32(p.Done)})
	if err != nil {
		return err
	}
	return out.write("event: inspection.progress\ndata: " + string(data) + "\n\n")
}

// sse writes a stream: each write has a time of its own, however long the stream lasts.
type sse struct {
	c       echo.Context
	control *http.ResponseController
}

func newSSE(c echo.Context) *sse {
	out := &sse{c, http.NewResponseController(c.Response())}
	_ = out.control.SetReadDeadline(time.Time{}) // the server's bound on reading a request would end the stream
	h := c.Response().Header()
	h.Set(echo.HeaderContentType, "text/event-stream")
	h.Set("X-Accel-Buffering", "no") // proxies that understand it pass each event on at once
	c.Response().WriteHeader(http.StatusOK)
	return out
}

func (o *sse) write(text string) error {
	_ = o.control.SetWriteDeadline(time.Now().Add(streamWrite)) // what cannot (a test's recorder) has no need of it
	if _, err := o.c.Response().Write([]byte(text)); err != nil {
		return errReaderGone
	}
	if err := o.control.Flush(); err != nil {
		return errReaderGone
	}
	return nil
}

// ListNews is the same by pages, for programs that ask from time to time.
func (h *handlers) ListNews(ctx context.Context, r api.ListNewsRequestObject) (api.ListNewsResponseObject, error) {
	after := int64(0)
	if r.Params.After != nil {
		n, err := strconv.ParseInt(*r.Params.After, 10, 64)
		if err != nil || n < 0 {
			return nil, invalidField("after", "is not an id of ours")
		}
		after = n
	}
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.News, error) { return tx.News(ctx, after) })
	if err != nil {
		return nil, err
	}
	out := api.ListNews200JSONResponse{Items: make([]api.NewsItem, len(list))}
	for i, n := range list {
		out.Items[i] = api.NewsItem{Id: strconv.FormatInt(n.Seq, 10), MessageId: n.ID}
		if err := json.Unmarshal(n.Body, &out.Items[i].News); err != nil {
			return nil, fmt.Errorf("news %d: %w", n.Seq, err)
		}
	}
	if n := len(list); n > 0 {
		out.Next = optional(strconv.FormatInt(list[n-1].Seq, 10))
	}
	return out, nil
}
