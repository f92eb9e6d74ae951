package desk

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/google/uuid"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
	"proofhouse/internal/client"
)

const sendUsage = `Inspect a folder here, and if it is technically clear deliver it to the studio's service; then wait for the
service's own findings and print them. Safe to repeat: what has arrived is not sent again.

  worker send --spec spec.yaml --server https://proofhouse.example FOLDER

The token is read from PROOFHOUSE_TOKEN, or from the file named by --token-file; make one on the service under "tokens"
with the scope deliver. The receipt of the sealed delivery is kept beside the folder as FOLDER-receipt-N.json: it proves
later what was delivered and when.

Exit: 0 technically clear, 1 issues that block (found here: nothing was sent), 3 could not be evaluated or sent, 2 called wrongly.
`

type sendCall struct {
	call
	server, tokenFile, note string
	anyway, anew, noWait    bool
}

// Send is the command `worker send`. token is what the environment holds, "" for nothing.
func Send(ctx context.Context, s Streams, exe, token string, args []string) int {
	var c sendCall
	f := c.flags("send", sendUsage, s)
	f.StringVar(&c.server, "server", "", "the service's `address`")
	f.StringVar(&c.tokenFile, "token-file", "", "a `file` that holds the token")
	f.StringVar(&c.note, "note", "", "a `sentence` for the studio")
	f.BoolVar(&c.anyway, "anyway", false, "send even where this machine found issues")
	f.BoolVar(&c.anew, "anew", false, "give up a delivery of this milestone that is under way with other files, and begin anew")
	f.BoolVar(&c.noWait, "no-wait", false, "do not wait for the service's findings")
	folder, code, done := parse(s, f, args)
	if done {
		return code
	}
	if code, ok := c.prepare(s, f); !ok {
		return code
	}
	service, code, ok := c.service(s, f, token)
	if !ok {
		return code
	}
	if info, err := os.Stat(folder); err != nil || !info.IsDir() {
		return wrongCall(s, f, "there is no folder %s", folder)
	}
	work, err := c.findWork(ctx, service, folder)
	if err != nil {
		return unsent(ctx, s, err)
	}
	c.milestone = string(work.Milestone.Kind)
	m, code, ok := c.cleared(ctx, s, f, exe, folder)
	if !ok {
		return code
	}
	return c.deliver(ctx, s, service, work, folder, m)
}

func (c *sendCall) service(s Streams, f *flag.FlagSet, token string) (service *client.Service, code int, ok bool) {
	if c.server == "" {
		return nil, wrongCall(s, f, "say where to send it: --server URL"), false
	}
	if c.tokenFile != "" {
		data, err := os.ReadFile(c.tokenFile)
		if err != nil {
			return nil, wrongCall(s, f, "the token cannot be read: %v", err), false
		}
		token = strings.TrimSpace(string(data))
	}
	if token == "" {
		return nil, wrongCall(s, f, "no token: set PROOFHOUSE_TOKEN or --token-file"), false
	}
	service, err := client.New(c.server, token)
	if err != nil {
		return nil, wrongCall(s, f, "%v", err), false
	}
	return service, 0, true
}

// findWork finds the milestone to deliver: the one that the call or delivery.yaml names, else the one of the prop that
// lies on the vendor's desk.
func (c *sendCall) findWork(ctx context.Context, service *client.Service, folder string) (*client.WorkItem, error) {
	kind := c.milestone
	if kind == "" {
		if data, err := os.ReadFile(filepath.Join(folder, acceptance.ManifestName)); err == nil {
			if m, err := spec.ParseManifest(acceptance.ManifestName, data); err == nil { // its faults are told by the inspection
				kind = string(m.Milestone)
			}
		}
	}
	return service.FindMilestone(ctx, c.resolved.Prop, kind)
}

// cleared inspects the folder here. ok says that it may be sent.
func (c *sendCall) cleared(ctx context.Context, s Streams, f *flag.FlagSet, exe, folder string) (m *acceptance.Manifest, code int, ok bool) {
	out := c.out
	if out == "" {
		out = beside(folder, "-evidence")
	}
	got, code, ok := c.inspect(ctx, s, exe, folder, out, "inspecting here")
	if !ok {
		return nil, code, false
	}
	e := got.evidence
	fmt.Fprintf(s.Out, "Inspected here: %s\n", e.Headline)
	tellQuestions(s.Out, got.outcome.Questions)
	if e.Verdict != acceptance.VerdictPass && !c.anyway {
		if err := acceptance.WriteTable(s.Out, words.English(), e); err != nil {
			return nil, failed(ctx, s, err), false
		}
		fmt.Fprintln(s.Out, "Nothing was sent. Put it right and send again, or send it as it is with --anyway.")
		return nil, exitOf(e.Verdict), false
	}
	m = got.outcome.Manifest
	if m == nil || len(m.Files) == 0 {
		return nil, wrongCall(s, f, "%s holds no files to send", folder), false
	}
	return m, 0, true
}

func (c *sendCall) deliver(ctx context.Context, s Streams, service *client.Service, work *client.WorkItem, folder string, m *acceptance.Manifest) int {
	var paths, roles []string
	for _, f := range m.Files {
		paths, roles = append(paths, f.Path), append(roles, f.Role)
	}
	if c.anew {
		if err := service.AbandonOpen(ctx, work.Milestone.Id); err != nil {
			return unsent(ctx, s, err)
		}
	}
	b := &bar{s: s, label: m.Prop}
	d, err := service.Deliver(ctx, work.Milestone.Id, c.note, client.FilesOf(folder, paths, roles), func(doing string, done, total int64) {
		b.set(doing, float64(done)/float64(max(1, total)))
	})
	b.clear()
	if underWay(err) {
		fmt.Fprintln(s.Err, "A delivery of this milestone is under way with other files. Send those again to end it, or give it up with --anew.")
		return ExitNotEvaluated
	}
	if err != nil {
		return unsent(ctx, s, err)
	}
	fmt.Fprintf(s.Out, "Delivered: %s, %s, number %d, files: %d, %.1f MB", d.Delivery.PropCode, d.Delivery.MilestoneKind, d.Delivery.Number, d.Delivery.FileCount, float64(d.Delivery.Bytes)/1e6)
	if d.SentBytes < d.Delivery.Bytes {
		fmt.Fprintf(s.Out, " (%.1f MB of it had arrived before)", float64(d.Delivery.Bytes-d.SentBytes)/1e6)
	}
	fmt.Fprintln(s.Out)
	if receipt, err := keepReceipt(folder, d); err != nil {
		fmt.Fprintf(s.Err, "The receipt could not be kept: %v\n", err)
	} else {
		fmt.Fprintf(s.Out, "Receipt: %s\n", receipt)
	}
	if c.noWait {
		return ExitPass
	}
	return awaitFindings(ctx, s, service, d.Delivery.Id)
}

func awaitFindings(ctx context.Context, s Streams, service *client.Service, delivery uuid.UUID) int {
	fmt.Fprintln(s.Out, "The service inspects it; you may stop waiting at any time, nothing is lost.")
	got, err := service.Await(ctx, delivery)
	if err != nil {
		return unsent(ctx, s, err)
	}
	answer, err := service.GetEvidence(ctx, got.Inspection.Id)
	if err != nil {
		return unsent(ctx, s, err)
	}
	defer answer.Body.Close()
	if answer.StatusCode == http.StatusNotFound { // not evaluated as a whole: there is no evidence
		fmt.Fprintf(s.Out, "The service says: %s\n", got.Inspection.Headline)
		return ExitNotEvaluated
	}
	body, err := io.ReadAll(io.LimitReader(answer.Body, 64<<20))
	if err == nil && answer.StatusCode != http.StatusOK {
		err = client.Refusal("fetch the findings", answer, nil)
	}
	if err != nil {
		return unsent(ctx, s, err)
	}
	var e acceptance.Evidence
	if err := json.Unmarshal(body, &e); err != nil {
		return unsent(ctx, s, fmt.Errorf("read the service's findings: %w", err))
	}
	fmt.Fprintln(s.Out, "The service's findings:")
	if err := acceptance.WriteTable(s.Out, words.English(), &e); err != nil {
		return unsent(ctx, s, err)
	}
	return exitOf(e.Verdict)
}

// underWay says whether a delivery was refused because another one of its milestone is open.
func underWay(err error) bool {
	var refused *client.Refused
	return errors.As(err, &refused) && refused.Problem != nil && strings.HasSuffix(refused.Problem.Type, "/conflict")
}

// unsent says why it was not sent, or not waited for.
func unsent(ctx context.Context, s Streams, err error) int {
	var refused *client.Refused
	switch {
	case interrupted(ctx):
		fmt.Fprintln(s.Err, "Stopped. Send again at any time: what has arrived is not sent twice.")
	case errors.As(err, &refused) && refused.Status == http.StatusUnauthorized:
		fmt.Fprintln(s.Err, "The service does not know this token: it was mistyped, revoked, has run out, or belongs to another service. Make a new one on the service under \"tokens\", with the scope deliver. Nothing was sent.")
	case errors.As(err, &refused) && refused.Status == http.StatusForbidden:
		fmt.Fprintf(s.Err, "The token is known and may not do this; it needs the scope deliver. The service says: %v\n", err)
	case errors.As(err, &refused):
		fmt.Fprintf(s.Err, "%v\n", err)
	default:
		fmt.Fprintf(s.Err, "%v\nSend again at any time: what has arrived is not sent twice.\n", err)
	}
	return ExitNotEvaluated
}

// keepReceipt writes the seal's receipt beside the folder: held there, it is a witness that the service cannot change.
func keepReceipt(folder string, d *client.Delivered) (path string, err error) {
	path = beside(folder, fmt.Sprintf("-receipt-%d.json", d.Delivery.Number))
	data, err := json.MarshalIndent(struct {
		Saved   time.Time      `json:"saved"`
		Receipt client.Receipt `json:"receipt"`
	}{time.Now().UTC().Truncate(time.Second), d.Receipt}, "", "  ")
	if err != nil {
		return "", err
	}
	return path, os.WriteFile(path, append(data, '\n'), 0o644)
}
