package httpapi

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi/api"
	"proofhouse/openapi"
)

// maxBodyBytes bounds every body that this service takes: room for the digests of about 100,000 parts.
const maxBodyBytes = 8 << 20

// maxErrors bounds how many things wrong with one request are listed.
const maxErrors = 20

// description is the loaded file with its operations by method and echo pattern.
type description struct {
	doc    *openapi3.T
	routes map[string]*routers.Route
	sheets map[string][]column // of lists, by the generated names of operations
}

var textBodies sync.Once

func loadDescription() (*description, error) {
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Description)
	if err != nil {
		return nil, fmt.Errorf("read the description of the service: %w", err)
	}
	// A spec's text goes to its own reader, which names lines and columns; here it is only text.
	textBodies.Do(func() {
		for _, kind := range []string{"application/yaml", "text/csv"} {
			openapi3filter.RegisterBodyDecoder(kind, func(body io.Reader, _ http.Header, _ *openapi3.SchemaRef, _ openapi3filter.EncodingFn) (any, error) {
				b, err := io.ReadAll(body)
				return string(b), err
			})
		}
	})
	sheets, err := sheetColumns(openapi.Description)
	if err != nil {
		return nil, err
	}
	d := &description{doc: doc, routes: map[string]*routers.Route{}, sheets: sheets}
	plain := plainSpec(doc)
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			d.routes[method+" "+echoPattern(path)] = routeOf(doc, plain, path, method, item, op)
		}
	}
	return d, nil
}

// access says which scopes a token needs for an operation, and whether anybody may call it.
func (d *description) access(method, pattern string) (scopes []string, open bool) {
	route := d.routes[method+" "+pattern]
	if route == nil {
		return nil, false
	}
	security := route.Spec.Security
	if route.Operation.Security != nil {
		security = *route.Operation.Security
	}
	for _, way := range security {
		scopes = append(scopes, way["token"]...)
	}
	return scopes, len(security) == 0
}

// methods lists those that an address takes, in order.
func (d *description) methods(address string) (methods []string) {
	at := strings.Split(address, "/")
	for _, route := range d.routes {
		pattern := strings.Split(route.Path, "/")
		if len(pattern) == len(at) && fitsPattern(pattern, at) {
			methods = append(methods, route.Method)
		}
	}
	slices.Sort(methods)
	return methods
}

func fitsPattern(pattern, at []string) bool {
	for i, part := range pattern {
		if part != at[i] && !strings.HasPrefix(part, "{") {
			return false
		}
	}
	return true
}

func echoPattern(path string) string {
	return strings.NewReplacer("{", ":", "}", "").Replace(path)
}

// formats are those that the validator does not check by itself. RFC 9562 (UUIDs), section 4: hex in 8-4-4-4-12.
var formats = []openapi3.SchemaValidationOption{
	openapi3.WithStringFormatValidators(map[string]openapi3.StringFormatValidator{
		"uuid": openapi3.NewRegexpFormatValidator(`^[0-9A-Fa-f]{8}(-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}$`),
	}),
}

// check refuses what the description does not describe. Routes that are not in it pass through.
func (d *description) check(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		route := d.routes[c.Request().Method+" "+c.Path()]
		if route == nil {
			return next(c)
		}
		if err := d.checkBodyKind(c, route.Operation); err != nil {
			return err
		}
		params := map[string]string{}
		for i, name := range c.ParamNames() {
			params[name] = c.ParamValues()[i]
		}
		err := openapi3filter.ValidateRequest(c.Request().Context(), &openapi3filter.RequestValidationInput{
			Request: c.Request(), PathParams: params, Route: route,
			Options: &openapi3filter.Options{
				MultiError: true, KeepValidatedValue: true, AuthenticationFunc: openapi3filter.NoopAuthenticationFunc,
				SchemaValidationOptions: formats,
			},
		})
		if err != nil {
			return invalidRequest(err)
		}
		if err := knownQuery(c.QueryParams(), route); err != nil {
			return err
		}
		return next(c)
	}
}

// knownQuery refuses what an operation does not read: a filter that is misspelt would else be a list of everything.
func knownQuery(sent url.Values, route *routers.Route) error {
	var known []string
	for _, list := range []openapi3.Parameters{route.PathItem.Parameters, route.Operation.Parameters} {
		for _, p := range list {
			if p.Value.In == openapi3.ParameterInQuery {
				known = append(known, p.Value.Name)
			}
		}
	}
	for name := range sent {
		if !slices.Contains(known, name) {
			reason := "a query parameter is not known here; this operation takes none"
			if slices.Sort(known); len(known) > 0 {
				reason = "a query parameter is not known here; known are: " + strings.Join(known, ", ")
			}
			return &Problem{kind: kindInvalid, detail: "The request is not as the description says.", errors: []api.ProblemError{{Reason: reason}}}
		}
	}
	return nil
}

func (d *description) checkBodyKind(c echo.Context, op *openapi3.Operation) error {
	r := c.Request()
	if op.RequestBody == nil {
		if r.ContentLength > 0 {
			return problem(kindInvalid, "This operation takes no body.")
		}
		return nil
	}
	kind, _, err := mime.ParseMediaType(r.Header.Get(echo.HeaderContentType))
	if err == nil && op.RequestBody.Value.Content[kind] != nil {
		return nil
	}
	var taken []string
	for k := range op.RequestBody.Value.Content {
		taken = append(taken, k)
	}
	slices.Sort(taken)
	return problem(kindMediaType, "This operation takes "+strings.Join(taken, " or ")+"; say so in Content-Type.")
}

// readBody takes the whole body into memory, within the bound, and leaves it to be read again. Its bytes identify a
// request with an Idempotency-Key.
func readBody(c echo.Context) ([]byte, error) {
	r := c.Request()
	if r.Body == nil || r.Body == http.NoBody {
		return nil, nil
	}
	b, err := io.ReadAll(http.MaxBytesReader(c.Response(), r.Body, maxBodyBytes))
	if err != nil {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return nil, problem(kindTooLarge, "The body is larger than 8 MiB.")
		}
		return nil, &Problem{kind: kindInvalid, detail: "The body broke off.", cause: err}
	}
	r.Body = io.NopCloser(bytes.NewReader(b))
	r.ContentLength = int64(len(b))
	return b, nil
}

// invalidRequest turns the validator's errors into ours. The validator's own texts carry values and are never used.
func invalidRequest(err error) *Problem {
	p := &Problem{kind: kindInvalid, detail: "The request is not as the description says."}
	collect(err, "", &p.errors)
	if len(p.errors) > maxErrors {
		p.errors = p.errors[:maxErrors]
	}
	if len(p.errors) == 0 {
		p.errors = []api.ProblemError{{Reason: "does not fit the description"}}
	}
	return p
}

func collect(err error, at string, into *[]api.ProblemError) {
	var many openapi3.MultiError
	var request *openapi3filter.RequestError
	var schema *openapi3.SchemaError
	switch {
	case errors.As(err, &many) && !isRequestError(err):
		for _, e := range many {
			collect(e, at, into)
		}
	case errors.As(err, &request) && isRequestError(err):
		if request.Parameter != nil {
			at = request.Parameter.Name
		}
		if request.Err == nil {
			add(into, at, "does not fit the description")
			return
		}
		collect(request.Err, at, into)
	case errors.As(err, &schema):
		var inner openapi3.MultiError
		if schema.Origin != nil && errors.As(schema.Origin, &inner) {
			for _, e := range inner {
				collect(e, at, into)
			}
			return
		}
		pointer := at
		if keys := schema.JSONPointer(); len(keys) > 0 || at == "" {
			pointer = at + "/" + strings.Join(keys, "/")
		}
		add(into, pointer, schemaReason(schema))
	case errors.Is(err, openapi3filter.ErrInvalidRequired):
		add(into, at, "is needed")
	default:
		add(into, at, parseReason(err))
	}
}

func isRequestError(err error) bool {
	_, ok := err.(*openapi3filter.RequestError)
	return ok
}

func add(into *[]api.ProblemError, at, reason string) {
	e := api.ProblemError{Reason: reason}
	if at != "" {
		e.Pointer = &at
	}
	if !slices.ContainsFunc(*into, func(o api.ProblemError) bool {
		return o.Reason == e.Reason && (o.Pointer == nil) == (e.Pointer == nil) && (e.Pointer == nil || *o.Pointer == *e.Pointer)
	}) {
		*into = append(*into, e)
	}
}

func parseReason(err error) string {
	var parse *openapi3filter.ParseError
	if errors.As(err, &parse) {
		switch parse.Kind {
		case openapi3filter.KindUnsupportedFormat:
			return "is of a kind that is not taken here"
		case openapi3filter.KindInvalidFormat:
			return "could not be read as the kind that it should be"
		}
	}
	return "does not fit the description"
}

// schemaReason says what a value should be, from the schema alone.
func schemaReason(e *openapi3.SchemaError) string {
	s := e.Schema
	if s == nil {
		return "does not fit the description"
	}
	switch e.SchemaField {
	case "type":
		if s.Type != nil {
			return "must be " + strings.Join(s.Type.Slice(), " or ")
		}
	case "required":
		if keys := e.JSONPointer(); len(keys) > 0 && slices.Contains(s.Required, keys[len(keys)-1]) {
			return "is needed"
		}
		return "needs " + quoted(missingKeys(s, e.Value))
	case "additionalProperties", "properties":
		var known []string
		for k := range s.Properties {
			known = append(known, k)
		}
		slices.Sort(known)
		return "has a key that is not known here; known are " + quoted(known)
	case "enum":
		var words []string
		for _, w := range s.Enum {
			if w != nil {
				words = append(words, fmt.Sprint(w))
			}
		}
		return "must be one of " + quoted(words)
	case "pattern":
		return "must match " + s.Pattern
	case "format":
		return "must be a " + s.Format
	case "minLength":
		return fmt.Sprintf("must have at least %d characters", s.MinLength)
	case "maxLength":
		if s.MaxLength != nil {
			return fmt.Sprintf("must have at most %d characters", *s.MaxLength)
		}
	case "minItems":
		return fmt.Sprintf("must have at least %d items", s.MinItems)
	case "maxItems":
		if s.MaxItems != nil {
			return fmt.Sprintf("must have at most %d items", *s.MaxItems)
		}
	case "minimum":
		if s.Min != nil {
			return fmt.Sprintf("must be at least %.15g", *s.Min)
		}
	case "maximum":
		if s.Max != nil {
			return fmt.Sprintf("must be at most %.15g", *s.Max)
		}
	case "uniqueItems":
		return "must not hold the same twice"
	}
	return "does not fit the description (" + e.SchemaField + ")"
}

func missingKeys(s *openapi3.Schema, value any) []string {
	object, _ := value.(map[string]any)
	var missing []string
	for _, key := range s.Required {
		if _, there := object[key]; !there {
			missing = append(missing, key)
		}
	}
	if len(missing) == 0 {
		return s.Required
	}
	return missing
}

func quoted(words []string) string { return "`" + strings.Join(words, "`, `") + "`" }
