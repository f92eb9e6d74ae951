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
	dir := filepath.Join(p.Dir, "vendor-desk", strings.ReplaceAll(strings.ToLower(o.vendor), " ", "-"), fmt.Sprintf("%s-%d", one.code, number))
	prop, ok := props.ByCode(one.code)
	if !ok {
		return Line{}, fmt.Errorf("nobody knows how to make it")
	}
	if err := prop.Write(dir, p.Fine, r.fault); err != nil {
		return Line{}, err
	}
	files, err := localFiles(one.code, dir)
	if err != nil {
		return Line{}, err
	}
	vendor := p.lead(o.vendor)
	kind := r.milestone
	if kind == "" {
		kind = client.GameMesh
	}
	milestone, err := p.milestone(ctx, vendor, one.code, kind)
	if err != nil {
		return Line{}, err
	}
	sent, err := vendor.Deliver(ctx, milestone, r.note, files, nil)
	if err != nil {
		return Line{}, err
	}
	got, err := vendor.Await(ctx, sent.Delivery.Id)
	if err != nil {
		return Line{}, err
	}
	line := Line{Prop: one.code, Milestone: string(kind), Vendor: o.vendor, Number: got.Number, Headline: got.Inspection.Headline, Delivery: got.Id}
	if got.Inspection.Verdict != nil {
		line.Verdict = string(*got.Inspection.Verdict)
	}
	line.AsExpected = line.Verdict == r.verdict && strings.Contains(line.Headline, r.headlineHas)
	if r.decide != "" && line.AsExpected {
		if err := p.decide(ctx, got.Id, r); err != nil {
			return line, err
		}
		line.Decided = r.decide
	}
	return line, nil
}

// milestone finds a prop's milestone of a kind, whoever's desk it lies on.
func (p *Play) milestone(ctx context.Context, s *client.Service, prop string, kind client.MilestoneKind) (uuid.UUID, error) {
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

func (p *Play) decide(ctx context.Context, delivery uuid.UUID, r round) error {
	director := p.callers[people[0].email]
	d, err := director.SignOffWithResponse(ctx, delivery, &client.SignOffParams{IdempotencyKey: "demo-decide-" + delivery.String()},
		client.NewSignOff{Decision: client.Decision(r.decide), Reason: &r.reason})
	if err != nil {
		return fmt.Errorf("decide: %w", err)
	}
	if d.JSON201 == nil {
		return client.Refusal("decide", d.HTTPResponse, d.ApplicationproblemJSONDefault)
	}
	return nil
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
