package httpapi

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/stretchr/testify/require"
)

// anyFields are objects of the description that may have fields of any name: what is unknown there is not refused.
var anyFields = map[string]bool{"PUT /choices": true} // by kind of mail; the handler knows the kinds

// TestEveryOperationRefusesWhatIsOutsideItsDescription walks the description: the example of each body is taken; the same with
// a field more, with one that is needed less, or with one of another kind is refused, at every depth; so is each parameter of
// another kind, and one that the operation does not have.
func TestEveryOperationRefusesWhatIsOutsideItsDescription(t *testing.T) {
	t.Parallel()
	desc, err := loadDescription()
	require.NoError(t, err)
	e := checked(t)
	operations, bodies, tried := 0, 0, 0
	for _, name := range slices.Sorted(maps.Keys(desc.routes)) {
		route := desc.routes[name]
		operations++
		o := outside{t: t, e: e, method: route.Method, path: good(t, route.Path, route.PathItem, route.Operation)}
		o.parameters(append(slices.Clone(route.PathItem.Parameters), route.Operation.Parameters...), route.Path)
		if body := route.Operation.RequestBody; body != nil && body.Value.Content["application/json"] != nil {
			media := body.Value.Content["application/json"]
			o.taken(media.Example)
			o.body(media.Schema.Value, media.Example, func(v any) any { return v }, "")
			bodies++
		} else if body == nil && route.Method != http.MethodGet {
			o.refused("a body where none is", map[string]any{"a": 1})
		}
		tried += o.tried
	}
	require.Greater(t, operations, 100)
	require.Greater(t, bodies, 40)
	require.Greater(t, tried, 500)
}

// good is a path of an operation with values that fit.
func good(t *testing.T, path string, item *openapi3.PathItem, op *openapi3.Operation) string {
	for _, p := range append(slices.Clone(item.Parameters), op.Parameters...) {
		if p.Value.In == openapi3.ParameterInPath {
			path = strings.ReplaceAll(path, "{"+p.Value.Name+"}", fitting(t, p.Value))
		}
	}
	query := ""
	for _, p := range op.Parameters {
		if p.Value.In == openapi3.ParameterInQuery && p.Value.Required {
			query += "&" + p.Value.Name + "=" + fitting(t, p.Value)
		}
	}
	return path + "?" + strings.TrimPrefix(query, "&")
}

func fitting(t *testing.T, p *openapi3.Parameter) string {
	s := p.Schema.Value
	switch {
	case p.Example != nil:
		return fmt.Sprint(p.Example)
	case s.Example != nil:
		return fmt.Sprint(s.Example)
	case len(s.Enum) > 0:
		return fmt.Sprint(s.Enum[0])
	case s.Format == "uuid":
		return someID
	case s.Format == "date":
		return "2026-03-02"
	case s.Type.Is("integer"):
		return "1"
	case s.Pattern != "":
		for _, try := range []string{"evidence.json", "deviation.png", "sealed", "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08", "delivery.sealed", "EUR"} {
			if s.VisitJSON(try) == nil {
				return try
			}
		}
		t.Fatalf("no value at hand that fits %s", s.Pattern)
	}
	return "some"
}

type outside struct {
	t            *testing.T
	e            http.Handler
	method, path string
	tried        int
}

func (o *outside) send(path string, body any) int {
	text := ""
	if body != nil {
		b, err := json.Marshal(body)
		require.NoError(o.t, err)
		text = string(b)
	}
	w := send(o.e, o.method, path, text, "Idempotency-Key", "0123456789")
	o.tried++
	if w.Code >= 400 {
		problemOf(o.t, w)
	}
	return w.Code
}

func (o *outside) taken(body any) {
	require.Equal(o.t, http.StatusNoContent, o.send(o.path, body), "%s %s: its own example is refused", o.method, o.path)
}

func (o *outside) refused(what string, body any) {
	code := o.send(o.path, body)
	require.Equal(o.t, http.StatusBadRequest, code, "%s %s: %s is not refused", o.method, o.path, what)
}

// body tries one object or list of a body and what is in it; whole puts a changed part back into all of it.
func (o *outside) body(s *openapi3.Schema, example any, whole func(any) any, at string) {
	s = described(s, example)
	switch value := example.(type) {
	case map[string]any:
		with := func(name string, v any) any {
			changed := maps.Clone(value)
			changed[name] = v
			return whole(changed)
		}
		if more := s.AdditionalProperties; more.Schema != nil || more.Has != nil && *more.Has || more.Has == nil {
			require.True(o.t, anyFields[o.method+" "+at], "%s %s%s takes fields of any name", o.method, o.path, at)
		} else {
			o.refused("an unknown field in "+at+"/", with("not_described", "x"))
		}
		for _, name := range s.Required {
			changed := maps.Clone(value)
			delete(changed, name)
			o.refused(at+"/"+name+" left out", whole(changed))
		}
		for name, v := range value {
			field := s.Properties[name]
			if field == nil {
				field = s.AdditionalProperties.Schema
			}
			require.NotNil(o.t, field, "%s %s: %s/%s is in the example only", o.method, o.path, at, name)
			o.refused(at+"/"+name+" of another kind", with(name, otherKind(field.Value, v)))
			o.body(field.Value, v, func(v any) any { return with(name, v) }, at+"/"+name)
		}
	case []any:
		if len(value) > 0 {
			o.body(s.Items.Value, value[0], func(v any) any { return whole(append([]any{v}, value[1:]...)) }, at+"/0")
			o.refused("an element of another kind in "+at, whole(append([]any{otherKind(s.Items.Value, value[0])}, value[1:]...)))
		}
	}
}

// described is the one of several alternatives that an example is of.
func described(s *openapi3.Schema, example any) *openapi3.Schema {
	for _, list := range []openapi3.SchemaRefs{s.OneOf, s.AnyOf, s.AllOf} {
		for _, one := range list {
			if one.Value.VisitJSON(example) == nil {
				return described(one.Value, example)
			}
		}
	}
	return s
}

// otherKind is a value that a schema cannot mean.
func otherKind(s *openapi3.Schema, example any) any {
	switch described(s, example).Type.Slice()[0] {
	case "object", "array", "boolean":
		return "x"
	}
	return []any{map[string]any{"x": 1}}
}

// parameters tries each with a value of another kind, and one that is not described.
func (o *outside) parameters(list openapi3.Parameters, pattern string) {
	for _, p := range list {
		s := p.Value.Schema.Value
		if p.Value.In == openapi3.ParameterInHeader || s.VisitJSON("~~") == nil {
			continue // any text will do
		}
		path := o.path + "&" + p.Value.Name + "=~~"
		if p.Value.In == openapi3.ParameterInPath {
			at := slices.Index(strings.Split(pattern, "/"), "{"+p.Value.Name+"}")
			if at < 0 {
				continue // a part of a segment
			}
			address, query, _ := strings.Cut(o.path, "?")
			segments := strings.Split(address, "/")
			segments[at] = "~~"
			path = strings.Join(segments, "/") + "?" + query
		} else if p.Value.Required {
			path, _, _ = strings.Cut(o.path, "?")
		}
		code := o.send(path, nil)
		require.True(o.t, code == http.StatusBadRequest || code == http.StatusUnsupportedMediaType, "%s %s: %s of another kind gives %d", o.method, o.path, p.Value.Name, code)
	}
	code := o.send(o.path+"&not_described=1", nil)
	require.True(o.t, code == http.StatusBadRequest || code == http.StatusUnsupportedMediaType, "%s %s: an unknown parameter gives %d", o.method, o.path, code)
}
