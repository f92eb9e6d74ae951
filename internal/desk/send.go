package desk

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/google/uuid"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/words"
	"proofhouse/internal/client"
)

type sendCall struct {
	call
	note, title                         string
	anyway, anew, noWait, onlyClearOnes bool
}

// Send is the command `worker send`. token is what the environment holds, "" for nothing.
func Send(ctx context.Context, s Streams, exe, token string, args []string) int {
	var c sendCall
	l := s.Said(args)
	c.lang, c.remote.token = l, token
	f := c.flags("send", "desk.usage_send", s)
	f.StringVar(&c.note, "note", "", l.Say("desk.flag_note"))
	f.StringVar(&c.title, "title", "", l.Say("desk.flag_title"))
	f.BoolVar(&c.anyway, "anyway", false, l.Say("desk.flag_anyway"))
	f.BoolVar(&c.onlyClearOnes, "clear-only", false, l.Say("desk.flag_clear_only"))
	f.BoolVar(&c.anew, "anew", false, l.Say("desk.flag_anew"))
	f.BoolVar(&c.noWait, "no-wait", false, l.Say("desk.flag_no_wait"))
	folder, code, done := parse(s, l, f, args)
	if done {
		return code
	}
	if code, ok := c.prepare(s, f); !ok {
		return code
	}
	if c.remote.server == "" {
		return wrongCall(s, l, f, "desk.say_server")
	}
	service, fault := c.remote.service(l)
	if fault != "" {
		return wrongly(s, l, f, fault)
	}
	if info, err := os.Stat(folder); err != nil || !info.IsDir() {
		return wrongCall(s, l, f, "desk.no_folder", words.Name(folder))
	}
	found, err := acceptance.FindDeliveries(folder)
	if err == nil && (len(found) > 1 || filepath.Clean(found[0]) != filepath.Clean(folder)) {
		if c.specPath != "" || c.remote.prop != "" {
			return wrongCall(s, l, f, "desk.batch_own_specs")
		}
		return c.sendBatch(ctx, s, exe, service, folder, found)
	}
	return c.sendOne(ctx, s, f, exe, service, folder)
}

func (c *sendCall) sendOne(ctx context.Context, s Streams, f *flag.FlagSet, exe string, service *client.Service, folder string) int {
	if c.specPath != "" {
		if code, ok := c.load(s, f); !ok {
			return code
		}
	}
	work, err := c.findWork(ctx, service, folder)
	if err == nil && c.specPath == "" {
		c.specPath, err = fetchSpec(ctx, s, service, work.PropId)
	}
	if err != nil {
		return unsent(ctx, s, c.lang, err)
	}
	c.milestone = string(work.Milestone.Kind)
	if code, ok := c.load(s, f); !ok { // as it counts at the milestone
		return code
	}
	m, code, ok := c.cleared(ctx, s, f, exe, folder)
	if !ok {
		return code
	}
	return c.deliver(ctx, s, service, work, folder, m)
}

// findWork finds the milestone to deliver: the one that the call or delivery.yaml names, else the one of the prop that
// lies on the vendor's desk.
func (c *sendCall) findWork(ctx context.Context, service *client.Service, folder string) (*client.WorkItem, error) {
	if err := c.remote.ask(ctx, service); err != nil {
		return nil, err
	}
	kind := c.milestone
	if m := ownManifest(folder); kind == "" && m != nil {
		kind = string(m.Milestone)
	}
	code := c.remote.codeOf(folder)
	if c.resolved != nil {
		code = c.resolved.Prop
	}
	return client.FindMilestone(c.remote.work, c.remote.order, code, kind)
}

// cleared inspects the folder here. ok says that it may be sent.
func (c *sendCall) cleared(ctx context.Context, s Streams, f *flag.FlagSet, exe, folder string) (m *acceptance.Manifest, code int, ok bool) {
	l := c.lang
	out := c.out
	if out == "" {
		out = beside(folder, "-evidence")
	}
	got, code, ok := c.inspect(ctx, s, exe, folder, out, l.Say("desk.here_label"))
	if !ok {
		return nil, code, false
	}
	e := acceptance.In(l, got.evidence)
	fmt.Fprintln(s.Out, l.Say("desk.inspected_here", words.Name(e.Headline)))
	tellQuestions(s.Out, l, got.outcome.Questions)
	if e.Verdict != acceptance.VerdictPass && !c.anyway {
		if err := acceptance.WriteTable(s.Out, l, e); err != nil {
			return nil, failed(ctx, s, l, err), false
		}
		fmt.Fprintln(s.Out, l.Say("desk.nothing_sent"))
		return nil, exitOf(e.Verdict), false
	}
	m = got.outcome.Manifest
	if m == nil || len(m.Files) == 0 {
		return nil, wrongCall(s, l, f, "desk.no_files", words.Name(folder)), false
	}
	return m, 0, true
}

// filesOf are the files of a manifest where they lie.
func filesOf(folder string, m *acceptance.Manifest) []client.LocalFile {
	var paths, roles []string
	for _, f := range m.Files {
		paths, roles = append(paths, f.Path), append(roles, f.Role)
	}
	return client.FilesOf(folder, paths, roles)
}

func (c *sendCall) deliver(ctx context.Context, s Streams, service *client.Service, work *client.WorkItem, folder string, m *acceptance.Manifest) int {
	l := c.lang
	if c.anew {
		if err := service.AbandonOpen(ctx, work.Milestone.Id); err != nil {
			return unsent(ctx, s, l, err)
		}
	}
	b := &bar{s: s, l: l, label: m.Prop}
	d, err := service.Deliver(ctx, work.Milestone.Id, c.note, filesOf(folder, m), func(doing string, done, total int64) {
		b.set(doing, float64(done)/float64(max(1, total)))
	})
	b.clear()
	if err != nil {
		return unsent(ctx, s, l, err)
	}
	text := l.Say("desk.delivered", words.Name(d.Delivery.PropCode), words.Name(string(d.Delivery.MilestoneKind)), words.Count(d.Delivery.Number), words.Count(d.Delivery.FileCount), words.Bytes(d.Delivery.Bytes))
	if d.SentBytes < d.Delivery.Bytes {
		text += " " + l.Say("desk.had_arrived", words.Bytes(d.Delivery.Bytes-d.SentBytes))
	}
	fmt.Fprintln(s.Out, text)
	tellReceipt(s, l, folder, d.Delivery, d.Receipt)
	if c.noWait {
		return ExitPass
	}
	fmt.Fprintln(s.Out, l.Say("desk.waits"))
	return awaitFindings(ctx, s, l, service, d.Delivery.Id)
}

// tellReceipt keeps the seal's receipt and says where.
func tellReceipt(s Streams, l *words.Language, folder string, d client.Delivery, receipt client.Receipt) {
	path, err := keepReceipt(folder, string(d.MilestoneKind), d.Number, receipt)
	if err != nil {
		fmt.Fprintln(s.Err, l.Say("desk.receipt_lost", words.Name(err.Error())))
		return
	}
	fmt.Fprintln(s.Out, l.Say("desk.receipt", words.Name(path)))
}

// awaitFindings waits for the service's own inspection and prints what it found.
func awaitFindings(ctx context.Context, s Streams, l *words.Language, service *client.Service, delivery uuid.UUID) int {
	e, headline, err := serviceFound(ctx, service, delivery)
	switch {
	case err != nil:
		return unsent(ctx, s, l, err)
	case e == nil:
		fmt.Fprintln(s.Out, l.Say("desk.service_says", words.Name(headline)))
		return ExitNotEvaluated
	}
	fmt.Fprintln(s.Out, l.Say("desk.service_found"))
	if err := acceptance.WriteTable(s.Out, l, acceptance.In(l, e)); err != nil {
		return unsent(ctx, s, l, err)
	}
	return exitOf(e.Verdict)
}

// serviceFound waits for the service's inspection. There is no evidence where nothing could be evaluated as a whole; the
// headline says why.
func serviceFound(ctx context.Context, service *client.Service, delivery uuid.UUID) (*acceptance.Evidence, string, error) {
	got, err := service.Await(ctx, delivery)
	if err != nil {
		return nil, "", err
	}
	answer, err := service.GetEvidence(ctx, got.Inspection.Id)
	if err != nil {
		return nil, "", fmt.Errorf("fetch the findings: %w", err)
	}
	defer answer.Body.Close()
	switch answer.StatusCode {
	case http.StatusNotFound:
		return nil, got.Inspection.Headline, nil
	case http.StatusOK:
	default:
		return nil, "", client.Refusal("fetch the findings", answer, nil)
	}
	body, err := io.ReadAll(io.LimitReader(answer.Body, 64<<20))
	if err != nil {
		return nil, "", fmt.Errorf("fetch the findings: %w", err)
	}
	e := &acceptance.Evidence{}
	if err := json.Unmarshal(body, e); err != nil {
		return nil, "", fmt.Errorf("read the service's findings: %w", err)
	}
	return e, got.Inspection.Headline, nil
}

// underWay says whether a delivery was refused because another one of its milestone is open.
func underWay(err error) bool {
	var refused *client.Refused
	return errors.As(err, &refused) && refused.Problem != nil && strings.HasSuffix(refused.Problem.Type, "/conflict")
}

// unsent says why it was not sent, or not waited for.
func unsent(ctx context.Context, s Streams, l *words.Language, err error) int {
	var refused *client.Refused
	var unclear *client.Unclear
	switch {
	case interrupted(ctx):
		fmt.Fprintln(s.Err, l.Say("desk.send_stopped"))
	case errors.As(err, &unclear):
		fmt.Fprintln(s.Err, tellUnclear(l, unclear))
	case underWay(err):
		fmt.Fprintln(s.Err, l.Say("desk.under_way"))
	case errors.As(err, &refused) && refused.Status == http.StatusUnauthorized:
		fmt.Fprintln(s.Err, l.Say("desk.token_unknown"))
	case errors.As(err, &refused) && refused.Status == http.StatusForbidden:
		fmt.Fprintln(s.Err, l.Say("desk.token_weak", words.Name(err.Error())))
	case errors.As(err, &refused):
		fmt.Fprintln(s.Err, err)
	default:
		fmt.Fprintf(s.Err, "%v\n%s\n", err, l.Say("desk.send_again"))
	}
	return ExitNotEvaluated
}

// tellUnclear says that what was asked for is not in the work, or more than once, and what is.
func tellUnclear(l *words.Language, e *client.Unclear) string {
	const most = 8
	var items []string
	for i, w := range e.Among {
		if i == most {
			items = append(items, "…")
			break
		}
		items = append(items, l.Say("desk.work_item", words.Name(w.PropCode), words.Name(string(w.Milestone.Kind)), words.Name(w.WorkOrder), words.Name(string(w.Milestone.State))))
	}
	if len(items) == 0 {
		items = append(items, l.Say("desk.work_nothing"))
	}
	switch {
	case e.What == client.SeveralMilestones:
		return l.Say("desk.work_milestones", words.Name(e.Prop), words.Names(items...))
	case e.What == client.SeveralOrders:
		return l.Say("desk.work_orders", words.Name(e.Prop), words.Names(items...))
	case e.Kind != "":
		return l.Say("desk.work_none_kind", words.Name(e.Prop), words.Names(items...), words.Name(e.Kind))
	}
	return l.Say("desk.work_none", words.Name(e.Prop), words.Names(items...))
}

// keptReceipt is a receipt as it lies beside a folder.
type keptReceipt struct {
	Saved   time.Time      `json:"saved"`
	Receipt client.Receipt `json:"receipt"`
}

// keepReceipt writes the seal's receipt beside the folder: held there, it is a witness that the service cannot change. What
// lies there of another seal is never written over: deliveries are numbered within a milestone, and a prop may have several
// milestones of one kind. A later receipt of the same seal takes the place of the earlier one.
func keepReceipt(folder, milestone string, number int, receipt client.Receipt) (path string, err error) {
	data, err := json.MarshalIndent(keptReceipt{time.Now().UTC().Truncate(time.Second), receipt}, "", "  ")
	if err != nil {
		return "", err
	}
	for again := 1; ; again++ {
		ending := fmt.Sprintf("-receipt-%s-%d.json", milestone, number)
		if again > 1 {
			ending = fmt.Sprintf("-receipt-%s-%d-%d.json", milestone, number, again)
		}
		path = beside(folder, ending)
		old, err := os.ReadFile(path)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return path, err
		}
		var kept keptReceipt
		if err != nil || json.Unmarshal(old, &kept) == nil && kept.Receipt.LeafHash == receipt.LeafHash {
			return path, os.WriteFile(path, append(data, '\n'), 0o644)
		}
	}
}
