package httpapi

import (
	"archive/zip"
	"context"
	"encoding/hex"
	"fmt"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

func handoverOf(h ledger.Handover) api.Handover {
	return api.Handover{
		Id: h.ID, WorkOrderId: h.WorkOrderID, Number: h.Number, Pattern: h.Pattern, Digest: hex.EncodeToString(h.Digest), By: h.ByName, At: h.At.UTC(),
		Files: each(h.Files, func(f ledger.HandoverFile) api.HandoverFile {
			return api.HandoverFile{Name: f.Name, PropCode: f.PropCode, Role: f.Role, Path: f.Path, DeliveryId: idOrNil(f.Delivery), Bytes: f.Size,
				Sha256: hex.EncodeToString(f.SHA256), Change: api.HandoverFileChange(f.Change)}
		}),
	}
}

func (h *handlers) ListHandovers(ctx context.Context, r api.ListHandoversRequestObject) (api.ListHandoversResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Handover, error) {
		if _, err := tx.WorkOrder(ctx, r.WorkOrderId); err != nil {
			return nil, err
		}
		if tx.Who.Side != ledger.StudioSide { // the vendor has no part in it
			return nil, ledger.ErrNotFound
		}
		return tx.Handovers(ctx, r.WorkOrderId)
	})
	if err != nil {
		return nil, err
	}
	return api.ListHandovers200JSONResponse{Items: each(list, handoverOf)}, nil
}

func (h *handlers) HandOver(ctx context.Context, r api.HandOverRequestObject) (api.HandOverResponseObject, error) {
	out, _, err := once(ctx, h.Server, "handover", func(tx *ledger.Tx) (ledger.Handover, uuid.UUID, error) {
		out, err := tx.HandOver(ctx, r.WorkOrderId, r.Body.Pattern)
		return out, out.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Handover, error) { return tx.Handover(ctx, id) })
	if err != nil {
		return nil, err
	}
	return api.HandOver201JSONResponse(handoverOf(out)), nil
}

func (h *handlers) GetHandover(ctx context.Context, r api.GetHandoverRequestObject) (api.GetHandoverResponseObject, error) {
	out, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.Handover, error) { return tx.Handover(ctx, r.HandoverId) })
	if err != nil {
		return nil, err
	}
	return api.GetHandover200JSONResponse(handoverOf(out)), nil
}

// getHandoverPackage streams the files as a ZIP, stored and not packed: meshes and textures are packed already. A file whose
// bytes are not those that were signed breaks the stream off, so that nobody takes the package for whole.
func (s *Server) getHandoverPackage(c echo.Context) error {
	ctx := c.Request().Context()
	id, err := uuid.Parse(c.Param("handover_id"))
	if err != nil {
		return ledger.ErrNotFound
	}
	h, err := read(ctx, s, func(tx *ledger.Tx) (ledger.Handover, error) { return tx.Handover(ctx, id) })
	if err != nil {
		return err
	}
	extendDeadline(c, downloadTime)
	header := c.Response().Header()
	header.Set(echo.HeaderContentType, "application/zip")
	header.Set(echo.HeaderContentDisposition, fmt.Sprintf(`attachment; filename="handover-%d.zip"`, h.Number))
	c.Response().WriteHeader(http.StatusOK)
	out := zip.NewWriter(c.Response())
	sums, err := out.CreateHeader(&zip.FileHeader{Name: "SHA256SUMS", Method: zip.Store, Modified: h.At.UTC()})
	if err == nil {
		_, err = sums.Write([]byte(h.SHA256SUMS()))
	}
	for _, f := range h.Files {
		if err != nil {
			break
		}
		if f.Change != "gone" {
			err = s.pack(ctx, out, h, f)
		}
	}
	if err != nil {
		s.log.ErrorContext(ctx, "package of a hand-over broken off", "handover", id.String(), "error", err.Error())
		panic(http.ErrAbortHandler)
	}
	return out.Close()
}

func (s *Server) pack(ctx context.Context, out *zip.Writer, h ledger.Handover, f ledger.HandoverFile) error {
	w, err := out.CreateHeader(&zip.FileHeader{Name: f.Name, Method: zip.Store, Modified: h.At.UTC()})
	if err != nil {
		return err
	}
	object, err := s.storage.Head(ctx, f.ObjectKey)
	if err != nil {
		return err
	}
	sum, _, err := s.storage.Fetch(ctx, f.ObjectKey, object.ETag, w)
	if err == nil && sum != hex.EncodeToString(f.SHA256) {
		err = fmt.Errorf("the object of %s is not what was signed", f.Name)
	}
	return err
}
