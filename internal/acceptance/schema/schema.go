// Package schema holds the JSON Schemas (2020-12) of the two documents that other programs read and write: specs and
// evidence. The files are made from the parser's own shapes and Go's own types; a test compares them.
package schema

import _ "embed"

//go:generate go run proofhouse/internal/acceptance/schema/write

// Spec is the schema of a spec document.
//
//go:embed spec.schema.json
var Spec []byte

// Evidence is the schema of evidence.json.
//
//go:embed evidence.schema.json
var Evidence []byte
