// Package client speaks to a proofhouse service as any program may: types and calls made from the description in
// openapi/, and the one thing that is more than a call, delivering a folder.
package client

//go:generate go tool oapi-codegen -config generate.yaml -o api.gen.go ../../openapi/proofhouse.yaml
