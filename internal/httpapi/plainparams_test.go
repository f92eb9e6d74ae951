package httpapi

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/stretchr/testify/require"
)

// What the plain document accepts and refuses, and the words of its refusals, are those of the description as it is: JSON Schema 2020-12
// by the reference library that compiles each schema.
func TestPlainParametersMeanTheSame(t *testing.T) {
	d, err := loadDescription()
	require.NoError(t, err)
	values := []string{"", " ", "x", "true", "csv", "open", "0", "1", "-1", "201", "1e9", "9999999999999999999999", "1.5", "2026-11-28", "2026-13-40", "2026-11-28T09:00:00Z",
		"01a22150-8a7d-7523-813e-95c264a02396", "01A22150-8A7D-7523-813E-95C264A02396", "01a22150-8a7d-7523-813e-95c264a0239", "01a221508a7d7523813e95c264a02396", "a,b", "ä\x00\n", strings.Repeat("long", 200)}
	plain, asked, refused := 0, 0, 0
	for name, route := range d.routes {
		if route.Spec == d.doc {
			continue
		}
		plain++
		whole := *route
		whole.Spec = d.doc
		for _, p := range append(append(openapi3.Parameters{}, route.PathItem.Parameters...), route.Operation.Parameters...) {
			for _, v := range values {
				r := httptest.NewRequest(route.Method, "/", nil)
				params := map[string]string{}
				switch p.Value.In {
				case openapi3.ParameterInPath:
					params[p.Value.Name] = v
				case openapi3.ParameterInQuery:
					r.URL.RawQuery = url.Values{p.Value.Name: {v}}.Encode()
				case openapi3.ParameterInHeader:
					r.Header = http.Header{http.CanonicalHeaderKey(p.Value.Name): {v}}
				}
				in := func(way *openapi3filter.RequestValidationInput) string {
					way.Request, way.PathParams = r, params
					way.Options = &openapi3filter.Options{MultiError: true, SchemaValidationOptions: formats}
					err := openapi3filter.ValidateParameter(t.Context(), way, p.Value)
					if err == nil {
						return ""
					}
					refused++
					return fmtProblem(invalidRequest(err))
				}
				require.Equal(t, in(&openapi3filter.RequestValidationInput{Route: &whole}), in(&openapi3filter.RequestValidationInput{Route: route}), "%s: %s = %q", name, p.Value.Name, v)
				asked++
			}
		}
	}
	require.Greater(t, plain, 60, "operations without a body")
	require.Greater(t, asked, 2*1000)
	require.Greater(t, refused, 1000)
}

func fmtProblem(p *Problem) string {
	var b strings.Builder
	for _, e := range p.errors {
		if e.Pointer != nil {
			b.WriteString(*e.Pointer)
		}
		b.WriteString(" " + e.Reason + "\n")
	}
	return b.String()
}

func BenchmarkCheckParameters(b *testing.B) {
	d, err := loadDescription()
	require.NoError(b, err)
	r := httptest.NewRequest(http.MethodPost, "/", nil)
	r.Header.Set("Idempotency-Key", "01a22150-8a7d-7523-813e-95c264a02396")
	for _, name := range []string{"plain", "whole"} {
		route := *d.routes["POST /v1/deliveries/:delivery_id/seal"]
		if name == "whole" {
			route.Spec = d.doc
		}
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				require.NoError(b, openapi3filter.ValidateRequest(b.Context(), &openapi3filter.RequestValidationInput{Request: r, Route: &route,
					PathParams: map[string]string{"delivery_id": "01a22150-8a7d-7523-813e-95c264a02396"},
					Options:    &openapi3filter.Options{MultiError: true, AuthenticationFunc: openapi3filter.NoopAuthenticationFunc, SchemaValidationOptions: formats}}))
			}
		})
	}
}
