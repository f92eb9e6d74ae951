package web

import (
	"context"
	"encoding/hex"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
)

// ownDisk is what a vendor needs to make the same check at home: the program, the spec with what it extends, and lines
// that can be pasted as they are into a shell of any system.
type ownDisk struct {
	Programs  []program
	Specs     []specFile // the prop's own first
	Code      string     // of the prop; its folder is called so
	Milestone string     // by which the check is made
	Order     string
	Server    string
}

// specFile is a spec to take away, under the name by which another one finds it.
type specFile struct{ Name, URL string }

// program is one vendor's program, for one system.
type program struct {
	Name, System, Processor string
}

// programName is what scripts/release calls the vendor's programs. Nothing else in the folder is served.
var programName = regexp.MustCompile(`^proofhouse-worker-(linux|darwin|windows)-([a-z0-9]+)(?:\.exe)?$`)

// programsOf are the vendor's programs in a folder, by name; none where there is no folder.
func programsOf(dir string) []program {
	if dir == "" {
		return nil
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	var out []program
	for _, e := range entries {
		if m := programName.FindStringSubmatch(e.Name()); m != nil && e.Type().IsRegular() {
			out = append(out, program{e.Name(), m[1], m[2]})
		}
	}
	return out
}

// program sends a vendor's program, under the short name that the lines to paste have.
func (p *Pages) program(c echo.Context) error {
	name := c.Param("name")
	dir := p.server.ProgramsDir()
	if !slices.ContainsFunc(programsOf(dir), func(one program) bool { return one.Name == name }) {
		return ledger.ErrNotFound
	}
	short := "worker"
	if strings.HasSuffix(name, ".exe") {
		short += ".exe"
	}
	c.Response().Header().Set(echo.HeaderContentType, echo.MIMEOctetStream)
	c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="`+short+`"`)
	return c.File(filepath.Join(dir, name))
}

// ownDiskOf works out what the lines for a milestone say.
func (p *Pages) ownDiskOf(c echo.Context, prop ledger.Prop, kind string) (ownDisk, error) {
	out := ownDisk{
		Programs: programsOf(p.server.ProgramsDir()), Code: prop.Code, Milestone: string(judgedAs(kind)), Order: prop.WorkOrder, Server: p.server.PublicURL(),
	}
	head := prop.SpecInForce
	at := "/specs/" + head.ID.String() + "/document"
	out.Specs = []specFile{{spec.FileName(prop.Code, head.Number), at}}
	refs, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) ([]spec.Ref, error) {
		r, err := tx.SpecRevision(ctx, head.ID)
		if err != nil {
			return nil, err
		}
		refs, err := httpapi.SpecsExtended(ctx, tx, r)
		var faults *httpapi.Problem
		if errors.As(err, &faults) {
			return nil, nil // no engine of today reads it: there is nothing to check with
		}
		return refs, err
	})
	for _, ref := range refs {
		f := specFile{ref.Spec, at + "?of=" + ref.Spec + "&digest=" + ref.Digest}
		if ref.Digest == "" {
			f = specFile{spec.FileName(ref.Spec, ref.Revision), at + "?of=" + ref.Spec + "&revision=" + strconv.Itoa(ref.Revision)}
		}
		if !slices.Contains(out.Specs, f) {
			out.Specs = append(out.Specs, f)
		}
	}
	return out, err
}

// judgedAs is the milestone as a spec counts it: maintenance is judged as what it takes the place of.
func judgedAs(kind string) spec.Milestone {
	if kind == "maintenance" {
		return spec.Final
	}
	return spec.Milestone(kind)
}

// pinned reads what names a revision of another prop's spec.
func pinned(revision, digest string) (n int, sha256 []byte, err error) {
	if digest != "" {
		sha256, err = hex.DecodeString(digest)
		return 0, sha256, err
	}
	n, err = strconv.Atoi(revision)
	if err == nil && n < 1 {
		err = strconv.ErrRange
	}
	return n, nil, err
}

// specDocument sends the spec as it was written, or one that it extends, for the vendor's own check.
func (p *Pages) specDocument(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	ref := ledger.SpecRef{Code: c.QueryParam("of")}
	if ref.Code != "" {
		if ref.Revision, ref.SHA256, err = pinned(c.QueryParam("revision"), c.QueryParam("digest")); err != nil {
			return ledger.ErrNotFound
		}
	}
	var name string
	document, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) ([]byte, error) {
		r, err := tx.SpecRevision(ctx, id)
		if err != nil {
			return nil, err
		}
		switch {
		case ref.Code == "":
			prop, err := tx.Prop(ctx, r.PropID)
			name = spec.FileName(prop.Code, r.Number)
			return r.Document, err
		case ref.Revision > 0:
			name = spec.FileName(ref.Code, ref.Revision)
		default:
			name = ref.Code
		}
		return tx.SpecExtended(ctx, r.PropID, ref)
	})
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="`+name+`"`)
	return c.Blob(http.StatusOK, "application/yaml", document)
}
