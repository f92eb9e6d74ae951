package desk

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/uuid"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
	"proofhouse/internal/client"
)

// remote is what the flags say of the service: where it is, who calls, and which prop is meant.
type remote struct {
	server, tokenFile string
	order, prop       string // codes

	token string // of the environment
	work  []client.WorkItem
}

func (r *remote) flags(f *flag.FlagSet, l *words.Language) {
	f.StringVar(&r.server, "server", "", l.Say("desk.flag_server"))
	f.StringVar(&r.tokenFile, "token-file", "", l.Say("desk.flag_token_file"))
	f.StringVar(&r.prop, "prop", "", l.Say("desk.flag_prop"))
	f.StringVar(&r.order, "order", "", l.Say("desk.flag_order"))
}

// service is the service to speak to; fault says why there is none.
func (r *remote) service(l *words.Language) (service *client.Service, fault string) {
	token := r.token
	if r.tokenFile != "" {
		data, err := os.ReadFile(r.tokenFile)
		if err != nil {
			return nil, l.Say("desk.token_unreadable", words.Name(err.Error()))
		}
		token = strings.TrimSpace(string(data))
	}
	if token == "" {
		return nil, l.Say("desk.no_token")
	}
	service, err := client.New(r.server, token)
	if err != nil {
		return nil, l.Say("desk.bad_address", words.Name(r.server))
	}
	return service, ""
}

// codeOf is the code of the prop that a folder holds: what the call or delivery.yaml says, else the folder's name.
func (r *remote) codeOf(folder string) string {
	if r.prop != "" {
		return r.prop
	}
	if m := ownManifest(folder); m != nil && m.Prop != "" {
		return m.Prop
	}
	return filepath.Base(beside(folder, ""))
}

// ownManifest is the delivery.yaml of a folder, or nil: its faults are told by the inspection.
func ownManifest(folder string) *acceptance.Manifest {
	data, err := os.ReadFile(filepath.Join(folder, acceptance.ManifestName))
	if err != nil {
		return nil
	}
	m, err := spec.ParseManifest(acceptance.ManifestName, data)
	if err != nil {
		return nil
	}
	return m
}

// ask reads the caller's open work, once.
func (r *remote) ask(ctx context.Context, service *client.Service) (err error) {
	if r.work == nil {
		r.work, err = service.Work(ctx)
	}
	return err
}

// specsFolder is where fetched specs lie: each revision has a folder of its own, so that no older one can be taken for it.
func specsFolder(s Streams, id uuid.UUID) (string, error) {
	base := s.CacheDir
	if base == "" {
		base = filepath.Join(os.TempDir(), "proofhouse")
	}
	dir := filepath.Join(base, "specs", id.String())
	return dir, os.MkdirAll(dir, 0o700)
}

// fetchSpec gets the spec in force of a prop, with what it extends, and returns the file it lies in.
func fetchSpec(ctx context.Context, s Streams, service *client.Service, prop uuid.UUID) (path string, err error) {
	inForce, of, err := service.SpecInForce(ctx, prop)
	if err != nil {
		return "", err
	}
	dir, err := specsFolder(s, inForce.Id)
	if err != nil {
		return "", fmt.Errorf("keep the spec: %w", err)
	}
	path = filepath.Join(dir, spec.FileName(of.Code, inForce.Number))
	if err := os.WriteFile(path, []byte(*inForce.Document), 0o600); err != nil {
		return "", fmt.Errorf("keep the spec: %w", err)
	}
	doc, err := spec.Parse(filepath.Base(path), []byte(*inForce.Document), acceptance.Catalogue())
	if err != nil {
		return "", err
	}
	var failed error // of ours or the service's, not the spec's
	_, err = spec.Resolve(doc, acceptance.Catalogue(), "", func(ref spec.Ref) ([]byte, error) {
		data, err := service.SpecExtended(ctx, of.WorkOrderId, ref.Spec, ref.Revision, ref.Digest)
		if err == nil {
			name := ref.Spec
			if ref.Digest == "" {
				name = spec.FileName(ref.Spec, ref.Revision)
			}
			if !filepath.IsLocal(name) || filepath.Base(name) != name {
				return nil, errors.New("its name is no name of a file")
			}
			err = os.WriteFile(filepath.Join(dir, name), data, 0o600)
		}
		if err != nil && failed == nil {
			failed = err
		}
		return data, err
	})
	if failed != nil {
		return "", failed
	}
	return path, err
}
