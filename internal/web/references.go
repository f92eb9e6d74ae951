package web

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"path"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
)

// packPage is one reference pack. Owed says that its reader has to acknowledge the order's secrecy before the first look.
type packPage struct {
	Pack   ledger.ReferencePack
	Order  ledger.WorkOrder
	Owed   bool
	MayAck bool
	Marked bool // pictures carry the reader's name
	Studio bool
}

// Picture says whether a file of a pack is shown as a picture.
func (packPage) Picture(f ledger.Reference) bool { return shownAsPicture(f.MediaType) }

func shownAsPicture(mediaType string) bool {
	return mediaType == "image/png" || mediaType == "image/jpeg"
}

func (p *Pages) referencePack(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	who, _ := httpapi.Caller(c.Request().Context())
	page, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (page packPage, err error) {
		if page.Pack, err = tx.ReferencePackHead(ctx, id); err != nil {
			return page, err
		}
		if page.Order, err = tx.WorkOrder(ctx, page.Pack.WorkOrderID); err != nil {
			return page, err
		}
		whole, err := tx.ReferencePack(ctx, id)
		if errors.Is(err, ledger.ErrForbidden) {
			page.Owed = true
			return page, nil
		}
		page.Pack = whole
		return page, err
	})
	if err != nil {
		return err
	}
	page.Studio = who.Side == ledger.StudioSide
	page.MayAck = who.Has(ledger.VendorLead) && page.Pack.PublishedAt != nil && page.Pack.AcknowledgedAt == nil
	page.Marked = page.Order.Secret && !page.Studio
	title := page.Order.Title
	if page.Order.Secret && page.Order.Codename != "" {
		title = page.Order.Codename
	}
	return p.render(c, http.StatusOK, "pack", frame{Title: title, At: "orders"}, page)
}

// acknowledgeSecrecy says that the order's secrecy binds the reader.
func (p *Pages) acknowledgeSecrecy(c echo.Context) error {
	return p.onPack(c, "secrecy", func(ctx context.Context, tx *ledger.Tx, pack ledger.ReferencePack) error {
		return tx.AcknowledgeSecrecy(ctx, pack.WorkOrderID)
	})
}

// acknowledgePack says for the vendor that a pack was looked at.
func (p *Pages) acknowledgePack(c echo.Context) error {
	return p.onPack(c, "references", func(ctx context.Context, tx *ledger.Tx, pack ledger.ReferencePack) error {
		_, err := tx.AcknowledgeReferences(ctx, pack.ID)
		return err
	})
}

func (p *Pages) onPack(c echo.Context, kind string, effect func(ctx context.Context, tx *ledger.Tx, pack ledger.ReferencePack) error) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	_, _, err = act(c, p, kind, func(ctx context.Context, tx *ledger.Tx) (none struct{}, _ uuid.UUID, err error) {
		pack, err := tx.ReferencePackHead(ctx, id)
		if err != nil {
			return none, id, err
		}
		return none, id, effect(ctx, tx, pack)
	})
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/references/"+id.String())
}

// referenceFile sends one file of a published pack: a picture as a preview, under the reader's name where the order is
// secret; anything else as it is, by a link of the storage.
func (p *Pages) referenceFile(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	file, err := uuid.Parse(c.Param("file"))
	if err != nil {
		return ledger.ErrNotFound
	}
	ctx := c.Request().Context()
	who, _ := httpapi.Caller(ctx)
	var order ledger.WorkOrder
	f, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (f ledger.Reference, err error) {
		pack, err := tx.ReferencePack(ctx, id)
		if err != nil {
			return f, err
		}
		if order, err = tx.WorkOrder(ctx, pack.WorkOrderID); err != nil {
			return f, err
		}
		for _, f := range pack.Files {
			if f.ID == file {
				return f, nil
			}
		}
		return f, ledger.ErrNotFound
	})
	if err != nil {
		return err
	}
	marked := order.Secret && who.Side == ledger.VendorSide
	if !shownAsPicture(f.MediaType) || !marked && c.QueryParam("original") != "" {
		link, err := p.storage.PresignGet(ctx, f.ObjectKey, path.Base(f.Path), f.MediaType, 10*time.Minute)
		if err != nil {
			return err
		}
		return c.Redirect(http.StatusSeeOther, link.URL)
	}
	mark := ""
	if marked {
		mark = who.Name + " · " + who.PartyName + " · " + time.Now().UTC().Format(time.DateOnly)
	}
	return p.sendPreview(c, f.ObjectKey, f.SHA256, f.Size, previewMax, mark)
}

// picturesMax bounds a picture that the service makes a preview of.
const picturesMax = 64 << 20

// sendPreview fetches a picture, checks its digest and sends it smaller.
func (p *Pages) sendPreview(c echo.Context, key string, sum []byte, size int64, longest int, mark string) error {
	if size > picturesMax {
		return ledger.ErrNotFound
	}
	body, _, err := p.storage.Open(c.Request().Context(), key)
	if err != nil {
		return err
	}
	defer body.Close()
	data, err := io.ReadAll(io.LimitReader(body, picturesMax))
	if err != nil {
		return fmt.Errorf("web: picture: %w", err)
	}
	if got := sha256.Sum256(data); string(got[:]) != string(sum) {
		return fmt.Errorf("web: the stored picture %s does not have the recorded digest", key)
	}
	out, err := preview(c.Request().Context(), data, longest, mark)
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderCacheControl, "private, max-age=3600")
	return c.Blob(http.StatusOK, "image/jpeg", out)
}

// thumbnail sends a picture of an inspection's evidence in the size of a list.
func (p *Pages) thumbnail(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	o, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.EvidenceObject, error) {
		if _, err := tx.Inspection(ctx, id); err != nil {
			return ledger.EvidenceObject{}, err
		}
		all, err := tx.EvidenceObjects(ctx, id)
		for _, o := range all {
			if o.Name == c.Param("name") && o.MediaType == "image/png" {
				return o, err
			}
		}
		return ledger.EvidenceObject{}, errors.Join(err, ledger.ErrNotFound)
	})
	if err != nil {
		return err
	}
	return p.sendPreview(c, o.ObjectKey, o.SHA256, o.Size, thumbMax, "")
}

// packsPage is an order's packs, with a form for the studio to publish small pictures.
type packsPage struct {
	Order   ledger.WorkOrder
	Packs   []ledger.ReferencePack
	Studio  bool
	Rows    []int // of the form
	Whats   []string
	Refusal refusal
}

// Published counts the packs that the vendor sees.
func (page packsPage) Published() (n int) {
	for _, p := range page.Packs {
		if p.PublishedAt != nil {
			n++
		}
	}
	return n
}

// referenceWhats are what a reference may show, in the order of the form.
var referenceWhats = []string{"concept", "scale", "material_board", "neighbour", "block_out_view", "yardstick", "avoid", "other"}

// Bounds of the form by which the studio publishes pictures; larger packs go by the interface.
const (
	packRows    = 4
	pictureMax  = 8 << 20
	packFormMax = packRows*pictureMax + 1<<20
)

func (p *Pages) references(c echo.Context) error {
	return p.showReferences(c, http.StatusOK, refusal{})
}

func (p *Pages) showReferences(c echo.Context, status int, r refusal) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	page, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (page packsPage, err error) {
		if page.Order, err = tx.WorkOrder(ctx, id); err != nil {
			return page, err
		}
		page.Packs, err = tx.ReferencePacks(ctx, id)
		return page, err
	})
	if err != nil {
		return err
	}
	who, _ := httpapi.Caller(c.Request().Context())
	page.Studio, page.Whats, page.Refusal = who.Side == ledger.StudioSide, referenceWhats, r
	for i := range packRows {
		page.Rows = append(page.Rows, i+1)
	}
	return p.render(c, status, "references", frame{Title: page.Order.Title, At: "orders"}, page)
}

// sentPicture is one picture of the form with its bytes.
type sentPicture struct {
	ledger.NewReference
	data []byte
}

// publishReferences takes pictures of a form, puts them into the storage and publishes them as a pack: no call of the
// storage runs inside a transaction, and a pack whose pictures did not all arrive is never published.
func (p *Pages) publishReferences(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	pictures, err := readPictures(c)
	if err != nil {
		if refused(err) {
			r := p.refuse(c, "references", err)
			return p.showReferences(c, r.Status, r)
		}
		return err
	}
	pack, again, err := act(c, p, "references", func(ctx context.Context, tx *ledger.Tx) (ledger.ReferencePack, uuid.UUID, error) {
		in := ledger.NewReferencePack{WorkOrder: id, Note: typed(c, "note")}
		for _, one := range pictures {
			in.Files = append(in.Files, one.NewReference)
		}
		pack, err := tx.CreateReferencePack(ctx, in)
		return pack, pack.ID, err
	})
	if err != nil && refused(err) {
		r := p.refuse(c, "references", err)
		return p.showReferences(c, r.Status, r)
	}
	if err != nil || again {
		if err == nil {
			err = c.Redirect(http.StatusSeeOther, "/orders/"+id.String()+"/references")
		}
		return err
	}
	for i, f := range pack.Files {
		if err := p.storage.Put(c.Request().Context(), f.ObjectKey, pictures[i].data, f.MediaType); err != nil {
			return err
		}
	}
	if _, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.ReferencePack, error) {
		return tx.PublishReferencePack(ctx, pack.ID)
	}); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/references/"+pack.ID.String())
}

// readPictures reads the form. The digests become part of what the form says, so that a second click with other pictures is no repeat.
func readPictures(c echo.Context) ([]sentPicture, error) {
	r := c.Request()
	r.Body = http.MaxBytesReader(c.Response(), r.Body, packFormMax)
	if err := r.ParseMultipartForm(packFormMax); err != nil {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return nil, &ledger.Invalid{Field: "files", Why: fmt.Sprintf("are larger than %d MB in all", packFormMax>>20)}
		}
		return nil, echo.ErrBadRequest
	}
	defer func() { _ = r.MultipartForm.RemoveAll() }()
	var out []sentPicture
	for i := range packRows {
		files := r.MultipartForm.File[fmt.Sprintf("file-%d", i+1)]
		if len(files) == 0 || files[0].Size == 0 {
			continue
		}
		one, err := readPicture(files[0])
		if err != nil {
			return nil, err
		}
		one.What = field(c, fmt.Sprintf("what-%d", i+1))
		r.PostForm.Add("sha256", fmt.Sprintf("%x", one.SHA256))
		out = append(out, one)
	}
	if len(out) == 0 {
		return nil, &ledger.Invalid{Field: "files", Why: "are missing: choose one at least"}
	}
	return out, nil
}

func readPicture(h *multipart.FileHeader) (one sentPicture, err error) {
	name := path.Base(strings.ReplaceAll(h.Filename, `\`, "/"))
	f, err := h.Open()
	if err != nil {
		return one, fmt.Errorf("web: picture %s: %w", name, err)
	}
	defer f.Close()
	if one.data, err = io.ReadAll(io.LimitReader(f, pictureMax+1)); err != nil {
		return one, fmt.Errorf("web: picture %s: %w", name, err)
	}
	one.MediaType = http.DetectContentType(one.data)
	switch {
	case len(one.data) > pictureMax:
		return one, &ledger.Invalid{Field: "files", Why: fmt.Sprintf("%s is larger than %d MB", name, pictureMax>>20)}
	case !shownAsPicture(one.MediaType):
		return one, &ledger.Invalid{Field: "files", Why: name + " is neither PNG nor JPEG"}
	}
	sum := sha256.Sum256(one.data)
	one.Path, one.Size, one.SHA256 = name, int64(len(one.data)), sum[:]
	return one, nil
}
