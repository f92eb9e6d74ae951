package httpapi

import (
	"context"
	"encoding/hex"
	"fmt"
	"mime"
	"path"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

func (h *handlers) OpenDelivery(ctx context.Context, r api.OpenDeliveryRequestObject) (api.OpenDeliveryResponseObject, error) {
	manifest, err := manifestOf(r.MilestoneId, *r.Body)
	if err != nil {
		return nil, err
	}
	d, _, err := once(ctx, h.Server, "delivery", func(tx *ledger.Tx) (ledger.Delivery, uuid.UUID, error) {
		d, err := tx.OpenDelivery(ctx, manifest)
		return d, d.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Delivery, error) { return tx.Delivery(ctx, id) })
	if err != nil {
		return nil, err
	}
	plan, err := h.PlanUploads(ctx, d)
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.OpenDelivery201JSONResponse{Delivery: deliveryOf(d, who), Plan: plan}, nil
}

func manifestOf(milestone uuid.UUID, in api.NewDelivery) (ledger.Manifest, error) {
	m := ledger.Manifest{Milestone: milestone, Note: or(in.Note, "")}
	bad := &Problem{kind: kindInvalidInput, detail: "The manifest cannot be accepted."}
	for i, f := range in.Files {
		file := ledger.NewFile{Path: f.Path, Role: f.Role, Size: f.Bytes, SHA256: unhex(f.Sha256), MediaType: mediaType(f.Path)}
		if reason := parts(&file, f); reason != "" && len(bad.errors) < maxErrors {
			pointer := fmt.Sprintf("/files/%d", i)
			bad.errors = append(bad.errors, api.ProblemError{Pointer: &pointer, Reason: reason})
		}
		m.Files = append(m.Files, file)
	}
	if len(bad.errors) > 0 {
		return ledger.Manifest{}, bad
	}
	return m, nil
}

// parts fills in how a file is cut, and says what is wrong with it.
func parts(file *ledger.NewFile, f api.NewFile) string {
	if f.PartBytes == nil && f.PartSha256 == nil {
		if f.Bytes > storage.SingleMax {
			return fmt.Sprintf("a file over %d bytes goes up in parts: give part_bytes (%d is good) and part_sha256", storage.SingleMax, storage.PartSize)
		}
		return ""
	}
	if f.PartBytes == nil || f.PartSha256 == nil {
		return "part_bytes and part_sha256 go together"
	}
	want := (f.Bytes + *f.PartBytes - 1) / *f.PartBytes
	if int64(len(*f.PartSha256)) != want {
		return fmt.Sprintf("with this size and part_bytes there are %d parts; part_sha256 has %d", want, len(*f.PartSha256))
	}
	file.PartSize = *f.PartBytes
	file.Parts = each(*f.PartSha256, unhex)
	return ""
}

// unhex reads a digest whose form the description has checked.
func unhex(s string) []byte {
	b, _ := hex.DecodeString(s)
	return b
}

// mediaTypes are those of delivered files that a machine's own table may not know (IANA media type registry).
var mediaTypes = map[string]string{
	".glb": "model/gltf-binary", ".gltf": "model/gltf+json", ".obj": "model/obj", ".png": "image/png", ".jpg": "image/jpeg", ".jpeg": "image/jpeg",
	".tif": "image/tiff", ".tiff": "image/tiff", ".ktx2": "image/ktx2", ".yaml": "application/yaml", ".yml": "application/yaml",
	".json": "application/json",
}

func mediaType(name string) string {
	ext := path.Ext(name)
	if t := mediaTypes[ext]; t != "" {
		return t
	}
	if t, _, err := mime.ParseMediaType(mime.TypeByExtension(ext)); err == nil {
		return t
	}
	return "application/octet-stream"
}

func (h *handlers) ListDeliveries(ctx context.Context, r api.ListDeliveriesRequestObject) (api.ListDeliveriesResponseObject, error) {
	filter := ledger.DeliveryFilter{
		Milestone: or(r.Params.MilestoneId, uuid.Nil), Prop: or(r.Params.PropId, uuid.Nil), WorkOrder: or(r.Params.WorkOrderId, uuid.Nil),
		State: ledger.DeliveryState(or(r.Params.State, "")),
	}
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.List[ledger.Delivery], error) {
		return tx.Deliveries(ctx, filter, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.ListDeliveries200JSONResponse{
		Items: each(list.Items, func(d ledger.Delivery) api.Delivery { return deliveryOf(d, who) }), Next: next(list.Next),
	}, nil
}

func (h *handlers) GetDelivery(ctx context.Context, r api.GetDeliveryRequestObject) (api.GetDeliveryResponseObject, error) {
	d, err := h.delivery(ctx, r.DeliveryId)
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.GetDelivery200JSONResponse{
		Body: deliveryOf(d, who), Headers: api.GetDelivery200ResponseHeaders{ETag: deliveryTag(d)},
	}, nil
}

func (s *Server) delivery(ctx context.Context, id uuid.UUID) (ledger.Delivery, error) {
	return read(ctx, s, func(tx *ledger.Tx) (ledger.Delivery, error) { return tx.Delivery(ctx, id) })
}

func (h *handlers) AbandonDelivery(ctx context.Context, r api.AbandonDeliveryRequestObject) (api.AbandonDeliveryResponseObject, error) {
	d, _, err := once(ctx, h.Server, "delivery", func(tx *ledger.Tx) (ledger.Delivery, uuid.UUID, error) {
		d, err := tx.Abandon(ctx, r.DeliveryId)
		return d, d.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Delivery, error) { return tx.Delivery(ctx, id) })
	if err != nil {
		return nil, err
	}
	h.abortUploads(ctx, d)
	who, _ := Caller(ctx)
	return api.AbandonDelivery200JSONResponse(deliveryOf(d, who)), nil
}

// abortUploads frees what was sent of uploads in parts. Where it fails the sweeper of old uploads does it later.
func (s *Server) abortUploads(ctx context.Context, d ledger.Delivery) {
	for _, f := range d.Files {
		if f.UploadID == "" {
			continue
		}
		if err := s.storage.AbortMultipart(ctx, f.ObjectKey, f.UploadID); err != nil {
			s.log.WarnContext(ctx, "upload not aborted", "delivery", d.ID.String(), "file", f.ID.String(), "error", err.Error())
		}
	}
}

func (h *handlers) GetUploads(ctx context.Context, r api.GetUploadsRequestObject) (api.GetUploadsResponseObject, error) {
	d, err := h.delivery(ctx, r.DeliveryId)
	if err != nil {
		return nil, err
	}
	plan, err := h.PlanUploads(ctx, d)
	if err != nil {
		return nil, err
	}
	return api.GetUploads200JSONResponse(plan), nil
}

func (h *handlers) CompleteFile(ctx context.Context, r api.CompleteFileRequestObject) (api.CompleteFileResponseObject, error) {
	d, err := h.delivery(ctx, r.DeliveryId)
	if err != nil {
		return nil, err
	}
	file, err := among(d.Files, nil, func(f ledger.File) bool { return f.ID == r.FileId })
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	if who.Side != ledger.VendorSide || !who.May(ledger.ScopeDeliver) {
		return nil, problem(kindForbidden, "Only the vendor sends files, with the scope deliver.")
	}
	if d.State == ledger.DAbandoned {
		return nil, problem(kindState, "The delivery was abandoned.")
	}
	unlock, err := h.joining.lock(ctx, d.ID)
	if err != nil {
		return nil, err
	}
	defer unlock()
	up, err := h.lookUp(ctx, file, true)
	if err != nil {
		return nil, storageProblem(err)
	}
	if up.arrived == nil {
		return nil, h.missing(ctx, d, []upload{up})
	}
	return api.CompleteFile200JSONResponse(up.plain()), nil
}
