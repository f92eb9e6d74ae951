// Command write makes the schema files anew; go generate calls it in their folder.
package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
)

func main() {
	for name, s := range map[string]map[string]any{
		"spec.schema.json":     spec.JSONSchema(acceptance.Catalogue()),
		"evidence.schema.json": acceptance.EvidenceSchema(),
	} {
		if err := write(name, s); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
}

func write(name string, s map[string]any) error {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(s); err != nil {
		return fmt.Errorf("make %s: %w", name, err)
	}
	return os.WriteFile(name, b.Bytes(), 0o644)
}
