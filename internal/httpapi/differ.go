package httpapi

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

func (h *handlers) CompareSpecs(ctx context.Context, r api.CompareSpecsRequestObject) (api.CompareSpecsResponseObject, error) {
	milestone := or(r.Params.Milestone, api.Final)
	if milestone == api.Maintenance { // judged as what it takes the place of
		milestone = api.Final
	}
	out := api.SpecDifference{SpecId: r.SpecId, AgainstId: r.Params.Against, Milestone: milestone}
	rows, err := read(ctx, h.Server, func(tx *ledger.Tx) (rows [2][]api.ExplainedRow, err error) {
		after, err := tx.SpecRevision(ctx, r.SpecId)
		if err != nil {
			return rows, err
		}
		if out.AgainstId == nil {
			out.AgainstId = after.Parent
		}
		if rows[1], err = explainedAt(ctx, tx, after, milestone); err != nil || out.AgainstId == nil {
			return rows, err
		}
		before, err := tx.SpecRevision(ctx, *out.AgainstId)
		if err != nil {
			return rows, err
		}
		if before.PropID != after.PropID {
			return rows, invalidField("against", "is a revision of another prop")
		}
		rows[0], err = explainedAt(ctx, tx, before, milestone)
		return rows, err
	})
	if err != nil {
		return nil, err
	}
	out.Rows, out.Text = compareRows(rows[0], rows[1])
	return api.CompareSpecs200JSONResponse(out), nil
}

func explainedAt(ctx context.Context, tx *ledger.Tx, r ledger.SpecRevision, milestone api.MilestoneKind) ([]api.ExplainedRow, error) {
	resolved, err := ResolveSpec(ctx, tx, r, spec.Milestone(milestone))
	if err != nil {
		return nil, err
	}
	return Explain(resolved), nil
}

// modeLimit stands for whether a check blocks, warns or does not apply, which changes like a limit does.
const modeLimit = "mode"

// compareRows lists what differs between two explained specs, in the order of the later one, then what is gone.
func compareRows(before, after []api.ExplainedRow) ([]api.SpecChangeRow, string) {
	was, now := byLimit(before), byLimit(after)
	var rows []api.SpecChangeRow
	add := func(key limitKey, b, a, unit string) {
		row := api.SpecChangeRow{Check: key.check, Part: optional(key.part), Set: optional(key.set), Limit: optional(key.limit), Unit: optional(unit), Before: b, After: a}
		row.Change = changeKind(key, b, a)
		rows = append(rows, row)
	}
	for _, key := range now.order {
		if b, a := was.values[key], now.values[key]; b != a {
			add(key, b.value, a.value, a.unit)
		}
	}
	for _, key := range was.order {
		if _, still := now.values[key]; !still {
			add(key, was.values[key].value, "", was.values[key].unit)
		}
	}
	var text strings.Builder
	for _, r := range rows {
		where := strings.TrimSpace(or(r.Part, "") + " " + or(r.Set, ""))
		if where != "" {
			where = " (" + where + ")"
		}
		fmt.Fprintf(&text, "%s%s %s: %s -> %s %s (%s)\n", r.Check, where, or(r.Limit, ""), dash(r.Before), dash(r.After), or(r.Unit, ""), r.Change)
	}
	if rows == nil {
		rows = []api.SpecChangeRow{}
	}
	return rows, text.String()
}

func dash(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

type limitKey struct{ check, part, set, limit string }
type limitValue struct{ value, unit string }
type limits struct {
	order  []limitKey
	values map[limitKey]limitValue
}

func byLimit(rows []api.ExplainedRow) limits {
	out := limits{values: map[limitKey]limitValue{}}
	put := func(k limitKey, v limitValue) {
		if _, has := out.values[k]; !has {
			out.order = append(out.order, k)
		}
		out.values[k] = v
	}
	for _, r := range rows {
		key := limitKey{check: r.Check, part: or(r.Part, ""), set: or(r.Set, ""), limit: modeLimit}
		put(key, limitValue{value: r.Mode})
		if r.Limit != "" {
			key.limit = r.Limit
			put(key, limitValue{r.Value, r.Unit})
		}
	}
	return out
}

// changeKind says which way a limit moved, by the sense that the catalogue gives it.
func changeKind(key limitKey, before, after string) api.SpecChangeRowChange {
	switch {
	case before == "":
		return api.Added
	case after == "":
		return api.Removed
	}
	stricter := 0
	if key.limit == modeLimit {
		stricter = modeRank[after] - modeRank[before]
	} else if b, errB := strconv.ParseFloat(before, 64); errB == nil {
		if a, errA := strconv.ParseFloat(after, 64); errA == nil {
			stricter = sense(key.check, key.limit)
			if a > b {
				stricter = -stricter
			}
		}
	}
	switch {
	case stricter > 0:
		return api.Tighter
	case stricter < 0:
		return api.Looser
	}
	return api.Changed
}

// modeRank orders modes from the mildest.
var modeRank = map[string]int{string(spec.NotAppl): 0, string(spec.Reports): 1, string(spec.Warns): 2, string(spec.Blocks): 3}

// sense is 1 where a smaller limit is stricter, -1 where a larger one is, 0 where neither is.
func sense(check, limit string) int {
	for _, c := range acceptance.Catalogue() {
		if c.Name != check {
			continue
		}
		for _, l := range c.Limits {
			if l.Key != limit {
				continue
			}
			switch l.Kind {
			case spec.AtMost:
				return 1
			case spec.AtLeast:
				return -1
			}
		}
	}
	return 0
}
