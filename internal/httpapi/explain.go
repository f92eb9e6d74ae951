package httpapi

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

func (h *handlers) ExplainSpec(ctx context.Context, r api.ExplainSpecRequestObject) (api.ExplainSpecResponseObject, error) {
	milestone := or(r.Params.Milestone, api.Final)
	if milestone == api.Maintenance { // judged as what it takes the place of
		milestone = api.Final
	}
	resolved, err := read(ctx, h.Server, func(tx *ledger.Tx) (*spec.Spec, error) {
		revision, err := tx.SpecRevision(ctx, r.SpecId)
		if err != nil {
			return nil, err
		}
		return ResolveSpec(ctx, tx, revision, spec.Milestone(milestone))
	})
	if err != nil {
		return nil, err
	}
	var text strings.Builder // the same words as `worker explain`
	if err := spec.Explain(&text, resolved); err != nil {
		return nil, fmt.Errorf("explain spec %s: %w", r.SpecId, err)
	}
	return api.ExplainSpec200JSONResponse{SpecId: r.SpecId, Milestone: milestone, Rows: Explain(resolved), Text: text.String()}, nil
}

// Explain lists every rule of a spec in the order of a report: first as it holds for the whole prop, then where a part
// or a set has rules of its own.
func Explain(s *spec.Spec) []api.ExplainedRow {
	rows := []api.ExplainedRow{}
	for _, check := range acceptance.Catalogue() {
		rows = append(rows, rowsOf(check, s.Rule(check.Name, nil, nil), "", "")...)
		for i := range s.Parts {
			if _, own := s.Parts[i].Rules[check.Name]; own {
				rows = append(rows, rowsOf(check, s.Rule(check.Name, &s.Parts[i], nil), s.Parts[i].Name, "")...)
			}
		}
		for i := range s.Sets {
			if _, own := s.Sets[i].Rules[check.Name]; own {
				rows = append(rows, rowsOf(check, s.Rule(check.Name, nil, &s.Sets[i]), "", s.Sets[i].Name)...)
			}
		}
	}
	return rows
}

func rowsOf(check spec.Check, r spec.Rule, part, set string) []api.ExplainedRow {
	values := map[string]string{}
	for k, v := range r.Numbers {
		values[k] = strconv.FormatFloat(v, 'g', -1, 64)
	}
	maps.Copy(values, r.Words)
	for k, v := range r.Lists {
		values[k] = strings.Join(v, ", ")
	}
	row := api.ExplainedRow{Check: check.Name, Mode: string(r.Mode), Part: optional(part), Set: optional(set), Origin: r.Reason}
	if len(values) == 0 || r.Mode == spec.NotAppl {
		return []api.ExplainedRow{row}
	}
	units := map[string]string{}
	for _, l := range check.Limits {
		units[l.Key] = l.Unit
	}
	var rows []api.ExplainedRow
	for _, key := range slices.Sorted(maps.Keys(values)) {
		row.Limit, row.Value, row.Unit, row.Origin = key, values[key], units[key], r.Origins[key]
		rows = append(rows, row)
	}
	return rows
}
