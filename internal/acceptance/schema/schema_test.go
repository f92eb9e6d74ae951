package schema

import (
	"bytes"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
)

// TestCommitted: the committed files are what the code makes. To bring them up to date: go generate ./internal/acceptance/schema
func TestCommitted(t *testing.T) {
	t.Parallel()
	for _, row := range []struct {
		name string
		got  []byte
		want map[string]any
	}{
		{"spec.schema.json", Spec, spec.JSONSchema(acceptance.Catalogue())},
		{"evidence.schema.json", Evidence, acceptance.EvidenceSchema()},
	} {
		var b bytes.Buffer
		enc := json.NewEncoder(&b)
		enc.SetEscapeHTML(false)
		enc.SetIndent("", "  ")
		require.NoError(t, enc.Encode(row.want))
		if !bytes.Equal(row.got, b.Bytes()) {
			t.Errorf("%s is not what the code makes: run go generate ./internal/acceptance/schema and look at the difference", row.name)
		}
	}
}
