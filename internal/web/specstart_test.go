package web_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

// firstSpec writes the first spec of a prop of the tier background from the form, and looks at what it does.
func firstSpec(t *testing.T, b *browser, path string) {
	t.Helper()
	written := b.get(path + "?triangles=1200&width=600&height=600.5&depth=200&density=384&map=base_color&map=made_up")
	wellMade(t, written)
	require.Equal(t, http.StatusOK, written.status)
	document := written.form(path, "document").Get("document")
	require.YAMLEq(t, `{prop: fender, title: Tyre fender, tier: background, size_mm: [600, 600.5, 200], checks: {budget.triangles: {max_triangles: 1200},
  uv.texel_density: {target_px_per_m: 384}, maps.files: {required: [base_color]}}}`, document)

	looked := written.submit(path, "document", document, "do", "look")
	wellMade(t, looked)
	// 1200 and a twentieth is 1260; half of 1200 is 600.
	require.Contains(t, looked.text("#looked"), "LOD 0 blocks above 1260 triangles (5 % over the budget), warns above 1200 and below 600.")
	mild := looked.submit(path, "document", "prop: fender\ntier: background\nchecks: {budget.triangles: {max_triangles: 1200, mode: warns}}\n", "do", "look")
	require.Contains(t, mild.text("#looked"), "LOD 0 warns above 1200 triangles and below 600.")
	require.Contains(t, looked.text("aside"), "max_triangles Triangles of LOD 0", "the help")
	require.Contains(t, looked.text("aside"), "(preset: at most 1000)", "the preset of this tier")

	// A point that could mean thousands is not guessed at, nor a size with two sides; what was typed stays.
	for query, field := range map[string]string{"triangles=1.200": "triangles", "width=600&height=600": "depth", "width=1.200&height=1&depth=1": "width", "density=0": "density"} {
		bad := b.get(path + "?" + query)
		require.Equal(t, http.StatusUnprocessableEntity, bad.status, query)
		require.NotEmpty(t, bad.text("[role=alert]"), query)
		require.Len(t, bad.all("#"+field+"[aria-invalid]"), 1, query)
	}
}
