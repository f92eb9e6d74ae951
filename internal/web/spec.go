package web

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// specPage is one revision of a prop's spec: in plain words, as a table of limits, and as it was written.
type specPage struct {
	Prop       ledger.Prop
	Revision   ledger.SpecRevision
	Milestone  spec.Milestone
	Milestones []spec.Milestone // of the prop
	Plain      []spec.Passage
	Rules      []ruleGroup
	Missing    bool // the present engine cannot read it
	MayAck     bool
	Studio     bool
	Refused    string
}

func (p *Pages) spec(c echo.Context) error {
	page, err := p.loadSpec(c)
	if err != nil {
		return err
	}
	return p.showSpec(c, http.StatusOK, page)
}

func (p *Pages) showSpec(c echo.Context, status int, page specPage) error {
	return p.render(c, status, "spec", frame{Title: words.P("spec.title", page.Prop.Title, page.Revision.Number), At: "work"}, page)
}

func (p *Pages) loadSpec(c echo.Context) (page specPage, err error) {
	id, err := idOf(c)
	if err != nil {
		return page, err
	}
	page, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (page specPage, err error) {
		if page.Revision, err = tx.SpecRevision(ctx, id); err != nil {
			return page, err
		}
		if page.Prop, err = tx.Prop(ctx, page.Revision.PropID); err != nil {
			return page, err
		}
		page.pickMilestone(c.QueryParam("milestone"))
		resolved, err := httpapi.ResolveSpec(ctx, tx, page.Revision, page.Milestone)
		var faults *httpapi.Problem
		if errors.As(err, &faults) {
			page.Missing = true
			return page, nil
		}
		if err == nil {
			page.Plain, page.Rules = resolved.InPlainWords(), rulesByMode(p.reader(c), resolved)
		}
		return page, err
	})
	if err != nil {
		return page, err
	}
	who, _ := httpapi.Caller(c.Request().Context())
	page.Studio = who.Side == ledger.StudioSide
	offered := page.Prop.SpecOffered
	page.MayAck = who.Has(ledger.VendorLead) && page.Revision.AcknowledgedAt == nil && (page.Revision.InForce || offered != nil && offered.ID == page.Revision.ID)
	return page, nil
}

// pickMilestone takes the one asked for, else the one that is being worked on.
func (page *specPage) pickMilestone(asked string) {
	for _, m := range page.Prop.Milestones {
		kind := spec.Milestone(m.Kind)
		page.Milestones = append(page.Milestones, kind)
		if m.Kind == asked || page.Milestone == "" && asked == "" && !m.State.Final() {
			page.Milestone = kind
		}
	}
	if page.Milestone == "" {
		page.Milestone = spec.Final
	}
}

// ruleGroup is the checks that lead to the same when they are not met.
type ruleGroup struct {
	Mode  spec.Mode
	Rules []rule
}

// rule is one check as a revision has it, for the whole prop or for one part or set.
type rule struct {
	Check  spec.Check
	Of     words.Phrase // a part or a set, none for the whole prop
	What   string
	Why    string
	From   string       // who said what it leads to
	Source string       // where the method comes from
	Reason words.Phrase // why it does not apply, or from when on it counts
	Turns  words.Phrase // from which number on it blocks or warns, where limits together say so
	Limits []limitInForce
}

// limitInForce is one limit: its value in words, whole where the words are short, and who said it.
type limitInForce struct{ Key, What, Value, Whole, Origin string }

func rulesByMode(reader words.Reader, s *spec.Spec) []ruleGroup {
	groups := []ruleGroup{
		{Mode: spec.Blocks},
		{Mode: spec.Warns},
		{Mode: spec.Reports},
		{Mode: spec.NotAppl},
	}
	add := func(check spec.Check, r spec.Rule, of words.Phrase) {
		for i := range groups {
			if groups[i].Mode == r.Mode {
				groups[i].Rules = append(groups[i].Rules, inForce(reader, check, r, of))
			}
		}
	}
	for _, check := range acceptance.Catalogue() {
		add(check, s.Rule(check.Name, nil, nil), words.Phrase{})
		for i := range s.Parts {
			if _, own := s.Parts[i].Rules[check.Name]; own {
				add(check, s.Rule(check.Name, &s.Parts[i], nil), words.P("spec.part", s.Parts[i].Name))
			}
		}
		for i := range s.Sets {
			if _, own := s.Sets[i].Rules[check.Name]; own {
				add(check, s.Rule(check.Name, nil, &s.Sets[i]), words.P("spec.set", s.Sets[i].Name))
			}
		}
	}
	return slices.DeleteFunc(groups, func(g ruleGroup) bool { return len(g.Rules) == 0 })
}

func inForce(reader words.Reader, check spec.Check, r spec.Rule, of words.Phrase) rule {
	out := rule{Check: check, Of: of, Source: reader.Again(check.Source), From: reader.Again(r.Origins["mode"]), Reason: words.Text(notForWords(reader, check, r.Reason)), What: reader.Or(check.Name+"/what", check.What), Why: reader.Or(check.Name+"/why", check.Why)}
	if r.Reason == "" {
		out.Reason = words.Phrase{}
	}
	if r.Mode == spec.NotAppl {
		return out
	}
	out.Turns = budgetSaid(reader, check.Name, r)
	if len(r.CountsFrom) > 0 {
		out.Reason = words.P("spec.counts_from", words.Term("milestone."+string(r.CountsFrom[0])))
	}
	for _, l := range check.Limits {
		value := ""
		if v, on := r.Numbers[l.Key]; on {
			value = bound(reader, l, v)
		} else if word, on := r.Words[l.Key]; on {
			value = word
		} else if list, on := r.Lists[l.Key]; on && len(list) > 0 {
			value = strings.Join(list, ", ")
		}
		if value == "" { // the limit is off
			continue
		}
		limit := limitInForce{l.Key, limitWords(reader, check.Name, l.Key), value, "", reader.Again(r.Origins[l.Key])}
		if n := len(r.Lists[l.Key]); l.Pattern && n > 1 { // for readers of patterns, on demand
			limit.Value, limit.Whole = reader.Text(words.P("spec.patterns", n)), value
		}
		out.Limits = append(out.Limits, limit)
	}
	return out
}

func (p *Pages) acknowledge(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	_, _, err = act(c, p, "spec", func(ctx context.Context, tx *ledger.Tx) (ledger.SpecRevision, uuid.UUID, error) {
		rev, err := tx.AcknowledgeSpec(ctx, id)
		return rev, rev.ID, err
	})
	if err != nil && refused(err) {
		page, lerr := p.loadSpec(c)
		if lerr != nil {
			return lerr
		}
		r := p.refuse(c, "acknowledge", err)
		page.Refused = r.Why
		return p.showSpec(c, r.Status, page)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/specs/"+id.String())
}
