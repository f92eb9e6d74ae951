package httpapi

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"path"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
	"proofhouse/openapi"
)

// evidenceName is the evidence's own document among an inspection's objects.
const evidenceName = "evidence.json"

// wholeMax bounds what is checked in memory before its first byte is sent. Larger evidence is checked on the way, and
// the connection is cut where the digest is wrong.
const wholeMax = 32 << 20

func (s *Server) getDescription(c echo.Context) error {
	return c.Blob(http.StatusOK, "application/yaml", openapi.Description)
}

func (s *Server) getEvidence(c echo.Context) error { return s.sendEvidence(c, evidenceName) }

func (s *Server) getPicture(c echo.Context) error {
	if c.Param("picture") == evidenceName {
		return ledger.ErrNotFound
	}
	return s.sendEvidence(c, c.Param("picture"))
}

// sendEvidence sends one stored object of an inspection that the caller can see.
func (s *Server) sendEvidence(c echo.Context, name string) error {
	ctx := c.Request().Context()
	id, err := uuid.Parse(c.Param("inspection_id"))
	if err != nil {
		return ledger.ErrNotFound
	}
	object, err := read(ctx, s, func(tx *ledger.Tx) (ledger.EvidenceObject, error) {
		if _, err := tx.Inspection(ctx, id); err != nil {
			return ledger.EvidenceObject{}, err
		}
		all, err := tx.EvidenceObjects(ctx, id)
		return among(all, err, func(o ledger.EvidenceObject) bool { return o.Name == name })
	})
	if err != nil {
		return err
	}
	return s.sendObject(c, object)
}

// sendObject sends stored evidence under its digest, which is checked. The digest is the entity tag.
func (s *Server) sendObject(c echo.Context, o ledger.EvidenceObject) error {
	h, digest := c.Response().Header(), hex.EncodeToString(o.SHA256)
	tag := `"` + digest + `"`
	h.Set("ETag", tag)
	h.Set(echo.HeaderCacheControl, "private, no-cache") // asked for again each time, sent again only when it differs
	if match := c.Request().Header.Get("If-None-Match"); match != "" && tagMatches(match, tag) {
		return c.NoContent(http.StatusNotModified)
	}
	body, _, err := s.storage.Open(c.Request().Context(), o.ObjectKey)
	if err != nil {
		h.Del("ETag")
		if errors.Is(err, storage.ErrNotFound) {
			return &Problem{kind: kindEvidenceBroken, detail: "The stored bytes are gone.", cause: err}
		}
		return storageProblem(err)
	}
	defer body.Close()
	if o.Size <= wholeMax {
		whole, err := verified(body, o.Size, digest)
		if err != nil {
			h.Del("ETag")
			return &Problem{kind: kindEvidenceBroken, detail: "The stored bytes do not have the recorded digest.", cause: fmt.Errorf("%s: %w", o.ObjectKey, err)}
		}
		body = io.NopCloser(bytes.NewReader(whole))
	}
	h.Set(echo.HeaderContentType, o.MediaType)
	h.Set(echo.HeaderContentLength, strconv.FormatInt(o.Size, 10))
	extendDeadline(c, downloadTime)
	c.Response().WriteHeader(http.StatusOK)
	sum := sha256.New()
	n, err := io.Copy(io.MultiWriter(c.Response(), sum), io.LimitReader(body, o.Size))
	if err != nil || n != o.Size || hex.EncodeToString(sum.Sum(nil)) != digest {
		s.log.ErrorContext(c.Request().Context(), "evidence broke off or is broken", "object", o.ObjectKey, "sent", n)
		panic(http.ErrAbortHandler) // the receiver must not take it for whole
	}
	return nil
}

func verified(body io.Reader, size int64, digest string) ([]byte, error) {
	whole, err := io.ReadAll(io.LimitReader(body, size+1))
	if err != nil {
		return nil, err
	}
	if sum := sha256.Sum256(whole); int64(len(whole)) != size || hex.EncodeToString(sum[:]) != digest {
		return nil, storage.ErrChanged
	}
	return whole, nil
}

// extendDeadline gives a download longer than the server's usual time to write. A writer that knows no deadlines has
// none to extend.
func extendDeadline(c echo.Context, d time.Duration) {
	_ = http.NewResponseController(c.Response()).SetWriteDeadline(time.Now().Add(d))
}

// getFileContent sends the caller on to the object itself, by a link for it alone.
func (s *Server) getFileContent(c echo.Context) error {
	ctx := c.Request().Context()
	id, err := uuid.Parse(c.Param("delivery_id"))
	if err != nil {
		return ledger.ErrNotFound
	}
	link, err := s.FileLink(ctx, id, c.Param("file_id"))
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusFound, link)
}

// FileLink is a link, minutes long, to a delivered file that the caller of ctx can see.
func (s *Server) FileLink(ctx context.Context, delivery uuid.UUID, file string) (string, error) {
	d, err := s.delivery(ctx, delivery)
	if err != nil {
		return "", err
	}
	f, err := among(d.Files, nil, func(f ledger.File) bool { return strings.EqualFold(f.ID.String(), file) })
	if err != nil {
		return "", err
	}
	if _, err := s.storage.Head(ctx, f.ObjectKey); err != nil {
		if ignoreMissing(err) != nil {
			return "", storageProblem(err)
		}
		return "", s.absent(ctx, d.ID)
	}
	link, err := s.storage.PresignGet(ctx, f.ObjectKey, path.Base(f.Path), f.MediaType, linkFor)
	if err != nil {
		return "", storageProblem(err)
	}
	return link.URL, nil
}

// exportWorkOrder sends a work order's whole record as one bundle, as it is read.
func (s *Server) exportWorkOrder(c echo.Context) error {
	ctx := c.Request().Context()
	id, err := uuid.Parse(c.Param("work_order_id"))
	if err != nil {
		return ledger.ErrNotFound
	}
	who, _ := Caller(ctx)
	var order ledger.WorkOrder
	if err := s.store.Reading(ctx, who, func(tx *ledger.Tx) (err error) { order, err = tx.WorkOrder(ctx, id); return err }); err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, fmt.Sprintf("attachment; filename=%q", order.Code+".json"))
	c.Response().Header().Set(echo.HeaderContentType, echo.MIMEApplicationJSON)
	extendDeadline(c, downloadTime)
	err = s.store.WriteBundle(ctx, who, id, c.Response())
	if err != nil && c.Response().Committed {
		s.log.ErrorContext(ctx, "a work order's record broke off", "work_order", id.String(), "error", err.Error())
		panic(http.ErrAbortHandler) // the receiver must not take it for whole
	}
	if err != nil {
		c.Response().Header().Del(echo.HeaderContentDisposition)
	}
	return err
}

// storageReady asks storage at most for one thing: whether it answers at all.
func storageReady(store *storage.Store) func(context.Context) error {
	return func(ctx context.Context) error {
		_, err := store.Head(ctx, "wo/probe/none")
		return ignoreMissing(err)
	}
}
