package desk

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
	"proofhouse/internal/client"
	"proofhouse/internal/inspection"
)

// batchItem is one folder of a batch that is to be sent.
type batchItem struct {
	folder, name string // on disk; below the batch's folder
	shown        string // with the milestone
	work         *client.WorkItem
	manifest     *acceptance.Manifest
	verdict      acceptance.Verdict
	text         string // the headline, or why there is none
}

// sendBatch inspects a folder for each prop by the prop's own spec, sends those that may go as one batch, and waits for
// what the service finds. Called again it goes on: what was inspected is known, what has arrived is not sent again.
func (c *sendCall) sendBatch(ctx context.Context, s Streams, exe string, service *client.Service, folder string, found []string) int {
	l := c.lang
	items, err := c.workOf(ctx, service, folder, found)
	if err != nil {
		return unsent(ctx, s, l, err)
	}
	if order := ordersOf(items); len(order) > 1 {
		fmt.Fprintln(s.Err, l.Say("desk.batch_one_order", words.Names(order...)))
		return ExitWrongCall
	}
	b := &bar{s: s, l: l, label: l.Say("desk.here_label")}
	for i := range items {
		b.set(items[i].name, float64(i)/float64(len(items)))
		if err := c.inspectItem(ctx, s, exe, service, &items[i]); err != nil {
			b.clear()
			return unsent(ctx, s, l, err)
		}
	}
	b.clear()
	tellItems(s, items)
	code := exitOfItems(items)
	going := items
	if !c.anyway {
		going = slices.DeleteFunc(slices.Clone(items), func(i batchItem) bool { return i.verdict != acceptance.VerdictPass })
		if len(going) < len(items) && !c.onlyClearOnes || len(going) == 0 {
			fmt.Fprintln(s.Out, l.Say("desk.nothing_sent_batch"))
			return code
		}
	}
	going = slices.DeleteFunc(slices.Clone(going), func(i batchItem) bool { return i.manifest == nil || len(i.manifest.Files) == 0 })
	if len(going) == 0 {
		fmt.Fprintln(s.Out, l.Say("desk.nothing_sent_batch"))
		return code
	}
	return max(c.deliverBatch(ctx, s, service, folder, going), c.tellLeft(s, items, going))
}

// tellLeft names what was not sent. Its exit code says that something stayed here.
func (c *sendCall) tellLeft(s Streams, items, going []batchItem) int {
	var left []string
	for _, i := range items {
		if !slices.ContainsFunc(going, func(g batchItem) bool { return g.name == i.name }) {
			left = append(left, i.name)
		}
	}
	if len(left) == 0 {
		return ExitPass
	}
	fmt.Fprintln(s.Out, c.lang.Say("desk.batch_left", words.Names(left...)))
	return ExitFail
}

// workOf finds the milestone that each folder delivers.
func (c *sendCall) workOf(ctx context.Context, service *client.Service, folder string, found []string) ([]batchItem, error) {
	items := make([]batchItem, len(found))
	for i, one := range found {
		name, err := filepath.Rel(folder, one)
		if err != nil {
			name = one
		}
		items[i] = batchItem{folder: one, name: filepath.ToSlash(name)}
		items[i].work, err = c.findWork(ctx, service, one)
		var unclear *client.Unclear
		if errors.As(err, &unclear) && unclear.What == client.SeveralMilestones {
			items[i].work, err = firstOf(unclear.Among), nil
		}
		if err != nil {
			return nil, err
		}
		items[i].shown = items[i].name + " (" + string(items[i].work.Milestone.Kind) + ")"
	}
	return items, nil
}

// firstOf is the milestone that comes first in the making of a prop: of many props nobody wants to be asked which.
func firstOf(work []client.WorkItem) *client.WorkItem {
	rank := func(w client.WorkItem) int {
		return slices.Index(spec.Milestones[:], judgedAs(string(w.Milestone.Kind)))
	}
	first := slices.MinFunc(work, func(a, b client.WorkItem) int { return rank(a) - rank(b) })
	return &first
}

func ordersOf(items []batchItem) []string {
	var out []string
	for _, i := range items {
		out = append(out, i.work.WorkOrder)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// inspectItem inspects one folder by the spec in force of its prop. An error is one of the service or of ours, never of
// the delivery.
func (c *sendCall) inspectItem(ctx context.Context, s Streams, exe string, service *client.Service, item *batchItem) error {
	one := c.call // a spec and a milestone of its own
	one.milestone = string(item.work.Milestone.Kind)
	var err error
	if one.specPath, err = fetchSpec(ctx, s, service, item.work.PropId); err != nil {
		return err
	}
	if one.document, one.resolved, err = readSpec(c.lang, one.specPath, one.milestone); err != nil {
		return err
	}
	out := beside(item.folder, "-evidence")
	if c.out != "" {
		out = filepath.Join(c.out, filepath.FromSlash(item.name))
	}
	item.verdict = acceptance.VerdictNotEvaluated
	o, err := one.run(ctx, exe, item.folder, out, c.threads, nil)
	switch {
	case interrupted(ctx):
		return ctx.Err()
	case err != nil:
		item.text = c.lang.Say("desk.batch_none", words.Name(err.Error()))
	case o.Refused+o.Unreadable != "":
		item.text = c.lang.Say("desk.batch_none", words.Name(o.Refused+o.Unreadable))
	default:
		e, _, err := inspection.ReadEvidence(out)
		if err == nil {
			_, err = saveReport(c.lang, e, one.resolved, out, filepath.Base(item.folder), o.Questions)
		}
		if err != nil {
			return err
		}
		item.verdict, item.manifest, item.text = e.Verdict, o.Manifest, acceptance.In(c.lang, e).Headline
		if open := len(answerable(o.Questions)); open > 0 {
			item.text += " " + c.lang.Say("desk.batch_open", words.Count(open))
		}
	}
	return nil
}

func tellItems(s Streams, items []batchItem) {
	width := 8
	for _, i := range items {
		width = max(width, utf8.RuneCountInString(i.shown))
	}
	for _, i := range items {
		fmt.Fprintf(s.Out, "%-*s  %-13s  %s\n", width, i.shown, i.verdict, strings.TrimSpace(i.text))
	}
}

// exitOfItems is the worst exit code: an issue before what could not be evaluated.
func exitOfItems(items []batchItem) int {
	lines := make([]line, len(items))
	for i, item := range items {
		lines[i].Evidence = &acceptance.Evidence{Verdict: item.verdict}
	}
	return exitOfBatch(lines)
}

func (c *sendCall) deliverBatch(ctx context.Context, s Streams, service *client.Service, folder string, items []batchItem) int {
	l := c.lang
	parts := make([]client.Together, len(items))
	for i, item := range items {
		parts[i] = client.Together{Milestone: item.work.Milestone.Id, Note: c.note, Files: filesOf(item.folder, item.manifest)}
		if c.anew {
			if err := service.AbandonOpen(ctx, item.work.Milestone.Id); err != nil {
				return unsent(ctx, s, l, err)
			}
		}
	}
	title := c.title
	if title == "" {
		title = filepath.Base(beside(folder, ""))
	}
	b := &bar{s: s, l: l, label: title}
	got, err := service.DeliverTogether(ctx, items[0].work.WorkOrderId, title, parts, func(doing string, done, total int64) {
		b.set(doing, float64(done)/float64(max(1, total)))
	})
	b.clear()
	if err != nil {
		return unsent(ctx, s, l, err)
	}
	var bytes int64
	var codes []string
	for _, d := range got.Deliveries {
		bytes += d.Bytes
		codes = append(codes, d.PropCode)
	}
	fmt.Fprintln(s.Out, l.Say("desk.batch_sent", words.Count(got.Number), words.Name(items[0].work.WorkOrder), words.Names(codes...), words.Bytes(bytes)))
	for _, item := range items {
		if err := c.keepItemReceipt(ctx, s, service, *got, item); err != nil {
			return unsent(ctx, s, l, err)
		}
	}
	if c.noWait {
		return ExitPass
	}
	fmt.Fprintln(s.Out, l.Say("desk.waits"))
	return c.awaitItems(ctx, s, service, *got, items)
}

// deliveryOf is a folder's delivery in a batch.
func (i batchItem) deliveryOf(b client.Batch) *client.Delivery {
	for k := range b.Deliveries {
		if b.Deliveries[k].MilestoneId == i.work.Milestone.Id {
			return &b.Deliveries[k]
		}
	}
	return nil
}

func (c *sendCall) keepItemReceipt(ctx context.Context, s Streams, service *client.Service, b client.Batch, item batchItem) error {
	d := item.deliveryOf(b)
	if d == nil {
		return fmt.Errorf("the batch does not hold %s", item.name)
	}
	got, err := service.GetReceiptWithResponse(ctx, "delivery.sealed", d.Id)
	if err != nil {
		return fmt.Errorf("fetch the receipt: %w", err)
	}
	if got.JSON200 == nil {
		return client.Refusal("fetch the receipt", got.HTTPResponse, got.ApplicationproblemJSONDefault)
	}
	tellReceipt(s, c.lang, item.folder, *d, *got.JSON200)
	return nil
}

// awaitItems waits for what the service finds in each, and prints a line for each as it comes.
func (c *sendCall) awaitItems(ctx context.Context, s Streams, service *client.Service, b client.Batch, items []batchItem) int {
	found := slices.Clone(items)
	fmt.Fprintln(s.Out, c.lang.Say("desk.service_found"))
	for i := range found {
		e, headline, err := serviceFound(ctx, service, found[i].deliveryOf(b).Id)
		if err != nil {
			return unsent(ctx, s, c.lang, err)
		}
		found[i].verdict, found[i].text = acceptance.VerdictNotEvaluated, headline
		if e != nil {
			found[i].verdict, found[i].text = e.Verdict, acceptance.In(c.lang, e).Headline
		}
	}
	tellItems(s, found)
	return exitOfItems(found)
}
