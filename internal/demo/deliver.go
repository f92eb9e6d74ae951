package demo

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"sync"

	"github.com/google/uuid"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/client"
	"proofhouse/internal/demo/props"
)

// deliverAll lets both vendors deliver at the same time, each its own props in turn.
func (p *Play) deliverAll(ctx context.Context) error {
	for _, who := range people { // log in before the two work side by side
		if _, err := p.as(ctx, who.email); err != nil {
			return err
		}
	}
	var wg sync.WaitGroup
	results := make([][]Line, len(orders))
	errs := make([]error, len(orders))
	for i, o := range orders {
		wg.Go(func() {
			for _, one := range o.props {
				lines, err := p.deliverProp(ctx, o, one)
				results[i] = append(results[i], lines...)
				if err != nil {
					errs[i] = err
					return
				}
			}
			if o.batch != nil {
				lines, err := p.deliverBatch(ctx, o)
				results[i], errs[i] = append(results[i], lines...), err
			}
		})
	}
	wg.Wait()
	for i := range orders {
		if errs[i] != nil {
			return errs[i]
		}
		p.state.Lines = append(p.state.Lines, results[i]...)
	}
	return nil
}

func (p *Play) lead(vendor string) *client.Service {
	for _, who := range people {
		if who.party == vendor {
			return p.callers[who.email]
		}
	}
	return nil
}

func (p *Play) deliverProp(ctx context.Context, o order, one ordered) ([]Line, error) {
	var lines []Line
	for i, r := range one.rounds {
		line, err := p.deliverRound(ctx, o, one, i+1, r)
		if err != nil {
			return lines, fmt.Errorf("deliver %s: %w", one.code, err)
		}
		fmt.Fprintf(p.Out, "  %s delivered %s, number %d: %s\n", o.vendor, one.code, line.Number, line.Headline)
		lines = append(lines, line)
	}
	return lines, nil
}

// deliverRound makes the files, sends them, waits for the inspection and lets the studio decide.
func (p *Play) deliverRound(ctx context.Context, o order, one ordered, number int, r round) (Line, error) {
	milestone, files, err := p.made(ctx, o, one.code, number, r)
	if err != nil {
		return Line{}, err
	}
	vendor := p.lead(o.vendor)
	sent, err := vendor.Deliver(ctx, milestone, r.note, files, nil)
	if err != nil {
		return Line{}, err
	}
	got, err := vendor.Await(ctx, sent.Delivery.Id)
	if err != nil {
		return Line{}, err
	}
	line := lineOf(o, got, r)
	if !line.AsExpected {
		return line, nil
	}
	if r.pin != nil {
		if err := p.pin(ctx, got, *r.pin); err != nil {
			return line, err
		}
	}
	if r.decide != "" {
		if err := p.decide(ctx, got.Id, r); err != nil {
			return line, err
		}
		line.Decided = r.decide
	}
	return line, nil
}

// made makes the files of one delivery and finds the milestone that they are for.
func (p *Play) made(ctx context.Context, o order, code string, number int, r round) (uuid.UUID, []client.LocalFile, error) {
	dir := filepath.Join(p.Dir, "vendor-desk", strings.ReplaceAll(strings.ToLower(o.vendor), " ", "-"), fmt.Sprintf("%s-%d", code, number))
	prop, ok := props.ByCode(code)
	if !ok {
		return uuid.Nil, nil, fmt.Errorf("nobody knows how to make it")
	}
	if err := prop.Write(dir, p.Fine, r.fault); err != nil {
		return uuid.Nil, nil, err
	}
	files, err := localFiles(code, dir)
	if err != nil {
		return uuid.Nil, nil, err
	}
	kind := r.milestone
	if kind == "" {
		kind = client.GameMesh
	}
	milestone, err := milestoneOf(ctx, p.lead(o.vendor), code, kind)
	return milestone, files, err
}

// deliverBatch lets an order's vendor send its batch, and the studio decide on all of it at once.
func (p *Play) deliverBatch(ctx context.Context, o order) ([]Line, error) {
	var all []client.Together
	for _, b := range o.batch.rounds {
		milestone, files, err := p.made(ctx, o, b.prop, b.number, b.round)
		if err != nil {
			return nil, fmt.Errorf("deliver %s: %w", b.prop, err)
		}
		all = append(all, client.Together{Milestone: milestone, Note: b.note, Files: files})
	}
	vendor := p.lead(o.vendor)
	sent, err := vendor.DeliverTogether(ctx, p.orders[o.code], o.batch.title, all, nil)
	if err != nil {
		return nil, fmt.Errorf("deliver %q: %w", o.batch.title, err)
	}
	fmt.Fprintf(p.Out, "  %s delivered the batch %q\n", o.vendor, o.batch.title)
	var lines []Line
	var decisions []client.BatchDecision
	for _, b := range o.batch.rounds {
		for _, d := range sent.Deliveries {
			if d.PropCode != b.prop {
				continue
			}
			got, err := vendor.Await(ctx, d.Id)
			if err != nil {
				return lines, err
			}
			line := lineOf(o, got, b.round)
			fmt.Fprintf(p.Out, "  %s, number %d: %s\n", b.prop, line.Number, line.Headline)
			if line.AsExpected {
				if err := p.concede(ctx, got, b.round); err != nil {
					return lines, fmt.Errorf("concede on %s: %w", b.prop, err)
				}
				line.Decided = b.decide
				decisions = append(decisions, client.BatchDecision{DeliveryId: d.Id, Decision: client.Decision(b.decide), Reason: &b.reason})
			}
			lines = append(lines, line)
		}
	}
	if len(decisions) == 0 {
		return lines, nil
	}
	r, err := p.director().DecideBatchWithResponse(ctx, sent.Id, &client.DecideBatchParams{IdempotencyKey: "demo-batch-" + sent.Id.String()}, client.BatchDecisions{Decisions: decisions})
	if err != nil {
		return lines, fmt.Errorf("decide on the batch: %w", err)
	}
	if r.JSON201 == nil {
		return lines, client.Refusal("decide on the batch", r.HTTPResponse, r.ApplicationproblemJSONDefault)
	}
	return lines, nil
}

// lineOf says how a delivery came out.
func lineOf(o order, got *client.Delivery, r round) Line {
	line := Line{Prop: got.PropCode, Milestone: string(got.MilestoneKind), Vendor: o.vendor, Number: got.Number, Headline: got.Inspection.Headline, Delivery: got.Id}
	if got.Inspection.Verdict != nil {
		line.Verdict = string(*got.Inspection.Verdict)
	}
	line.AsExpected = line.Verdict == r.verdict && strings.Contains(line.Headline, r.headlineHas)
	return line
}

// milestoneOf finds a prop's milestone of a kind, whoever's desk it lies on.
func milestoneOf(ctx context.Context, s *client.Service, prop string, kind client.MilestoneKind) (uuid.UUID, error) {
	all := client.ListMyWorkParamsDeskAll
	var after *string
	for {
		page, err := s.ListMyWorkWithResponse(ctx, &client.ListMyWorkParams{Desk: &all, After: after})
		if err != nil {
			return uuid.Nil, err
		}
		if page.JSON200 == nil {
			return uuid.Nil, client.Refusal("ask for work", page.HTTPResponse, page.ApplicationproblemJSONDefault)
		}
		for _, w := range page.JSON200.Items {
			if w.PropCode == prop && w.Milestone.Kind == kind {
				return w.Milestone.Id, nil
			}
		}
		if after = page.JSON200.Next; after == nil {
			return uuid.Nil, fmt.Errorf("the vendor does not see its milestone")
		}
	}
}

// localFiles tells the files' roles from their names by the prop's own spec, as `worker send` does.
func localFiles(code, dir string) ([]client.LocalFile, error) {
	doc, err := specs.ReadFile("specs/" + code + ".yaml")
	if err != nil {
		return nil, err
	}
	catalogue := acceptance.Catalogue()
	parsed, err := spec.Parse(code+".yaml", doc, catalogue)
	if err != nil {
		return nil, err
	}
	resolved, err := spec.Resolve(parsed, catalogue, spec.GameMesh, nil)
	if err != nil {
		return nil, err
	}
	m, questions, err := acceptance.Infer(resolved, dir)
	if err != nil {
		return nil, err
	}
	if len(questions) > 0 {
		return nil, fmt.Errorf("the role of %s is not told by its name", questions[0].Path)
	}
	var paths, roles []string
	for _, f := range m.Files {
		paths, roles = append(paths, f.Path), append(roles, f.Role)
	}
	return client.FilesOf(dir, paths, roles), nil
}

// WriteTable prints how the deliveries came out, and says whether all came out as the scenario has it.
func (s State) WriteTable(p *Play) bool {
	lines := append([]Line(nil), s.Lines...)
	sort.SliceStable(lines, func(a, b int) bool { return lines[a].Vendor < lines[b].Vendor })
	ok := true
	fmt.Fprintf(p.Out, "\n%-20s %-9s %-10s %-3s %-13s %-9s %s\n", "vendor", "prop", "milestone", "no.", "verdict", "decided", "headline")
	for _, l := range lines {
		fmt.Fprintf(p.Out, "%-20s %-9s %-10s %-3d %-13s %-9s %s\n", l.Vendor, l.Prop, l.Milestone, l.Number, l.Verdict, l.Decided, l.Headline)
		if !l.AsExpected {
			ok = false
			fmt.Fprintf(p.Out, "%-20s   the scenario has another outcome for this one\n", "")
		}
	}
	return ok && len(lines) > 0
}

// Clean removes the vendors' own folders, which the service does not need.
func (p *Play) Clean() error { return os.RemoveAll(filepath.Join(p.Dir, "vendor-desk")) }
