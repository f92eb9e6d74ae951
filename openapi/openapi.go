// Package openapi holds the description of the service, which is the source of its routes and types.
//
// After a change to proofhouse.yaml: go generate ./openapi
package openapi

import _ "embed"

// Description is proofhouse.yaml as it is in the source.
//
//go:embed proofhouse.yaml
var Description []byte

//go:generate go tool oapi-codegen -config generate.yaml -o ../internal/httpapi/api/api.gen.go proofhouse.yaml
//go:generate go tool oapi-codegen -config ../internal/client/generate.yaml -o ../internal/client/api.gen.go proofhouse.yaml
