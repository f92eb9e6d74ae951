// Command write makes the schema files and the table of every check anew; go generate calls it in their folder.
package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/checkdoc"
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
	if err := writeTable(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func writeTable() error {
	root := filepath.Join("..", "..", "..")
	table, err := checkdoc.Table(root, acceptance.Catalogue())
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(root, filepath.FromSlash(checkdoc.Path)), table, 0o644)
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
