package inspection

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
)

// A row of the record says what a measured value was held against: the bound that it breaks, whatever the limit is called.
func TestRowsNameTheLimit(t *testing.T) {
	t.Parallel()
	most := func(metric, limit string, soft bool) acceptance.Bound {
		return acceptance.Bound{Metric: metric, Limit: limit, Kind: spec.AtMost, Soft: soft}
	}
	least := acceptance.Bound{Metric: "triangles_non_degenerate", Limit: "warns_under_triangles", Kind: spec.AtLeast, Soft: true}
	budget := []acceptance.Bound{most("triangles_non_degenerate", "blocks_over_triangles", false), most("triangles_non_degenerate", "budget_triangles", true), least}
	limits := map[string]float64{"blocks_over_triangles": 2100, "budget_triangles": 2000, "warns_under_triangles": 1000, "max_triangles": 2000}
	for name, c := range map[string]struct {
		value  float64
		bounds []acceptance.Bound
		limits map[string]float64
		key    string
		limit  float64
	}{
		"over what blocks":        {2500, budget, limits, "blocks_over_triangles", 2100},
		"over what warns":         {2050, budget, limits, "budget_triangles", 2000},
		"under what warns":        {900, budget, limits, "warns_under_triangles", 1000},
		"kept":                    {1500, budget, limits, "blocks_over_triangles", 2100},
		"the first is off":        {2500, budget, map[string]float64{"budget_triangles": 2000}, "budget_triangles", 2000},
		"all are off":             {2500, budget, map[string]float64{"max_triangles": 2000}, "", 0},
		"no bounds, by the name":  {2500, nil, map[string]float64{"max_triangles_non_degenerate": 2400}, "max_triangles_non_degenerate", 2400},
		"no bounds and no limit":  {2500, nil, nil, "", 0},
		"one of several metrics":  {2500, []acceptance.Bound{most("triangles_non_degenerate", "x_max", false), most("triangles", "y_max", false)}, map[string]float64{"x_max": 1, "y_max": 2}, "", 0},
		"several, by the name":    {2500, []acceptance.Bound{most("triangles_non_degenerate", "max_triangles_non_degenerate", false), most("triangles", "y_max", false)}, map[string]float64{"max_triangles_non_degenerate": 1, "y_max": 2}, "max_triangles_non_degenerate", 1},
		"bounds of other metrics": {2500, []acceptance.Bound{most("triangles", "max_triangles", false)}, limits, "", 0},
	} {
		row := rows([]acceptance.Finding{{Check: "budget.of_a_test", Measured: &acceptance.Value{Value: c.value, Unit: "count"}, Bounds: c.bounds, Limit: c.limits,
			Metrics: map[string]float64{"triangles_non_degenerate": c.value, "triangles": 9000}}})[0]
		require.Equal(t, c.key, row.LimitKey, name)
		if c.key == "" {
			require.Nil(t, row.Limit, name)
			continue
		}
		require.NotNil(t, row.Limit, name)
		require.Equal(t, c.limit, *row.Limit, name)
	}
}
