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

	"proofhouse/internal/acceptance"
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
	inspectCall
	server, tokenFile, note string
	anyway, noWait          bool
}

// Send is the command `worker send`. token is what the environment holds, "" for nothing.
func Send(ctx context.Context, s Streams, exe, token string, args []string) int {
	var c sendCall
	f := c.flags("send", sendUsage, s)
	f.StringVar(&c.server, "server", "", "the service's `address`")
	f.StringVar(&c.tokenFile, "token-file", "", "a `file` that holds the token")
	f.StringVar(&c.note, "note", "", "a `sentence` for the studio")
	f.BoolVar(&c.anyway, "anyway", false, "send even where this machine found issues")
	f.BoolVar(&c.noWait, "no-wait", false, "do not wait for the service's findings")
	folder, code, done := parse(s, f, args, "folder")
	if done {
		return code
	}
	if c.specPath == "" || c.server == "" {
		return wrongCall(s, f, "both --spec and --server are needed")
	}
	if c.tokenFile != "" {
		data, err := os.ReadFile(c.tokenFile)
		if err != nil {
			return wrongCall(s, f, "the token cannot be read: %v", err)
		}
		token = strings.TrimSpace(string(data))
	}
	if token == "" {
		return wrongCall(s, f, "no token: set PROOFHOUSE_TOKEN or --token-file")
	}
	if info, err := os.Stat(folder); err != nil || !info.IsDir() {
		return wrongCall(s, f, "there is no folder %s", folder)
	}
	m, code, ok := c.clear(ctx, s, f, exe, folder)
	if !ok {
		return code
	}
	return c.deliver(ctx, s, token, folder, m)
}

// clear inspects the folder here. ok says that it may be sent.
func (c sendCall) clear(ctx context.Context, s Streams, f *flag.FlagSet, exe, folder string) (m *acceptance.Manifest, code int, ok bool) {
	out := c.out
	if out == "" {
		out = strings.TrimRight(folder, `/\`) + "-evidence"
	}
	b := &bar{s: s, label: "inspecting here"}
	o, err := c.run(ctx, exe, folder, out, c.threads, b.set)
	b.clear()
	if err != nil {
		return nil, failed(ctx, s, err), false
	}
	if o.Refused != "" {
		fmt.Fprintln(s.Err, o.Refused)
		return nil, ExitWrongCall, false
	}
	e, _, err := readEvidence(out)
	if err != nil {
		return nil, failed(ctx, s, err), false
	}
	fmt.Fprintf(s.Out, "Inspected here: %s\n", e.Headline)
	if e.Verdict != acceptance.VerdictPass && !c.anyway {
		if err := acceptance.WriteTable(s.Out, e); err != nil {
			return nil, failed(ctx, s, err), false
		}
		fmt.Fprintln(s.Out, "Nothing was sent. Put it right and send again, or send it as it is with --anyway.")
		return nil, exitOf(e.Verdict), false
	}
	if o.Manifest == nil || len(o.Manifest.Files) == 0 || o.Manifest.Prop == "" {
		return nil, wrongCall(s, f, "%s names no prop and files; write %s", folder, acceptance.ManifestName), false
	}
	return o.Manifest, 0, true
}

func (c sendCall) deliver(ctx context.Context, s Streams, token, folder string, m *acceptance.Manifest) int {
	service, err := client.New(c.server, token)
	if err != nil {
		return unsent(ctx, s, err)
	}
	kind := c.milestone
	if kind == "" {
		kind = string(m.Milestone)
	}
	work, err := service.FindMilestone(ctx, m.Prop, kind)
	if err != nil {
		return unsent(ctx, s, err)
	}
	var paths, roles []string
	for _, f := range m.Files {
		paths, roles = append(paths, f.Path), append(roles, f.Role)
	}
	b := &bar{s: s, label: m.Prop}
	d, err := service.Deliver(ctx, work.Milestone.Id, c.note, client.FilesOf(folder, paths, roles), func(doing string, done, total int64) {
		b.set(doing, float64(done)/float64(max(1, total)))
	})
	b.clear()
	if err != nil {
		return unsent(ctx, s, err)
	}
	fmt.Fprintf(s.Out, "Delivered: %s, %s, number %d, %d files, %.1f MB\n", d.Delivery.PropCode, d.Delivery.MilestoneKind, d.Delivery.Number, d.Delivery.FileCount, float64(d.Delivery.Bytes)/1e6)
	if err := keepReceipt(folder, d); err != nil {
		fmt.Fprintf(s.Err, "The receipt could not be kept: %v\n", err)
	} else {
		fmt.Fprintf(s.Out, "Receipt: %s\n", receiptPath(folder, d.Delivery.Number))
	}
	if c.noWait {
		return ExitPass
	}
	return awaitFindings(ctx, s, service, d)
}

func awaitFindings(ctx context.Context, s Streams, service *client.Service, d *client.Delivered) int {
	fmt.Fprintln(s.Out, "The service inspects it; you may stop waiting at any time, nothing is lost.")
	got, err := service.Await(ctx, d.Delivery.Id)
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
	if err != nil || answer.StatusCode != http.StatusOK {
		return unsent(ctx, s, errors.Join(err, client.Refusal("fetch the findings", answer, nil)))
	}
	var e acceptance.Evidence
	if err := json.Unmarshal(body, &e); err != nil {
		return unsent(ctx, s, err)
	}
	fmt.Fprintln(s.Out, "The service's findings:")
	if err := acceptance.WriteTable(s.Out, &e); err != nil {
		return unsent(ctx, s, err)
	}
	return exitOf(e.Verdict)
}

func unsent(ctx context.Context, s Streams, err error) int {
	if interrupted(ctx) {
		fmt.Fprintln(s.Err, "Stopped. Send again at any time: what has arrived is not sent twice.")
	} else {
		fmt.Fprintf(s.Err, "%v\n", err)
	}
	return ExitNotEvaluated
}

func receiptPath(folder string, number int) string {
	return fmt.Sprintf("%s-receipt-%d.json", strings.TrimRight(folder, `/\`), number)
}

// keepReceipt writes the seal's receipt beside the folder: held there, it is a witness that the service cannot change.
func keepReceipt(folder string, d *client.Delivered) error {
	data, err := json.MarshalIndent(struct {
		Saved   time.Time      `json:"saved"`
		Receipt client.Receipt `json:"receipt"`
	}{time.Now().UTC().Truncate(time.Second), d.Receipt}, "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Clean(receiptPath(folder, d.Delivery.Number)), append(data, '\n'), 0o644)
}
