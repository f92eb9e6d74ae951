package httpapi

import (
	"slices"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/routers"
)

// plainSpec is the description under a version of OpenAPI that the library checks values of by itself. For a document of version 3.1 it
// compiles each parameter's schema anew with each request, which takes longer than most of the answers; what the parameters here
// say of themselves means the same in both (plainly tells).
func plainSpec(doc *openapi3.T) *openapi3.T {
	plain := *doc
	plain.OpenAPI = "3.0.3"
	return &plain
}

// describedBy is the document that requests of an operation are checked by: the plain one where there is no body and all parameters are plain.
func describedBy(doc, plain *openapi3.T, item *openapi3.PathItem, op *openapi3.Operation) *openapi3.T {
	if op.RequestBody != nil {
		return doc
	}
	for _, list := range []openapi3.Parameters{item.Parameters, op.Parameters} {
		for _, p := range list {
			if p.Value.Schema == nil || !plainly(p.Value.Schema.Value) {
				return doc
			}
		}
	}
	return plain
}

// plainly says whether a schema has nothing but what OpenAPI 3.0 and JSON Schema 2020-12 (which 3.1 takes over) mean the same by: one
// simple type or a list of such, bounds, lengths, a pattern, a format, and words to choose from.
func plainly(s *openapi3.Schema) bool {
	if s.Type == nil || len(*s.Type) != 1 || !slices.Contains([]string{"string", "integer", "number", "boolean", "array"}, (*s.Type)[0]) {
		return false
	}
	if s.Items != nil && !plainly(s.Items.Value) {
		return false
	}
	rest := *s
	rest.Type, rest.Items, rest.Title, rest.Description, rest.Default, rest.Example, rest.Examples, rest.Origin, rest.Extensions = nil, nil, "", "", nil, nil, nil, nil, nil
	rest.Format, rest.Pattern, rest.MinLength, rest.MaxLength, rest.Enum = "", "", 0, nil, nil
	rest.Min, rest.Max, rest.MinItems, rest.MaxItems, rest.UniqueItems = nil, nil, 0, nil, false
	return rest.IsEmpty()
}

// routeOf is an operation as requests to it are checked.
func routeOf(doc, plain *openapi3.T, path, method string, item *openapi3.PathItem, op *openapi3.Operation) *routers.Route {
	return &routers.Route{Spec: describedBy(doc, plain, item, op), Path: path, PathItem: item, Method: method, Operation: op}
}
