package httpapi

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
	"gopkg.in/yaml.v3"

	"proofhouse/internal/httpapi/api"
)

// Every list is a table too, with `format=csv`: made of the very answer that JSON would give, so both are one caller's rows by
// one set of rules. The columns are those of the description, in its order.

// sheetType says by RFC 4180, section 3, that there is a header line.
const sheetType = "text/csv; charset=utf-8; header=present"

// sheetPageRows is how many rows of a list are read at a time: the most that a page may have.
const sheetPageRows = 200

// column is a leaf of what a list's rows are: keys from the outside in.
type column []string

func (c column) name() string { return strings.Join(c, ".") }

// of finds the column's value in a row; nil where it, or what it is in, is not there.
func (c column) of(row any) any {
	for _, key := range c {
		object, _ := row.(map[string]any)
		row = object[key]
	}
	return row
}

// cell writes one value. What is nothing is empty; a list, or an object with keys of its own, stands as JSON. Numbers are ours;
// any text might be somebody's formula.
func cell(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return plainCell(v)
	case json.Number:
		return v.String()
	case bool:
		return strconv.FormatBool(v)
	}
	b, _ := json.Marshal(v) // it was JSON a moment ago
	return string(b)
}

// listed is the answer of any list: rows, and where it goes on (`cursor` in logs, which count from 0).
type listed struct {
	Items  []any   `json:"items"`
	Next   *string `json:"next"`
	Cursor *int64  `json:"cursor"`
}

// after is where the next page begins; "" where there is none.
func (l listed) after() string {
	switch {
	case len(l.Items) == 0:
		return ""
	case l.Next != nil:
		return *l.Next
	case l.Cursor != nil:
		return strconv.FormatInt(*l.Cursor, 10)
	}
	return ""
}

// sheets answers a list as a table where it is asked to: as many rows as `limit` says, with a link to the next, or without
// `limit` all there are, page by page as they are read.
func (s *Server) sheets(next api.StrictHandlerFunc, operation string) api.StrictHandlerFunc {
	columns := s.desc.sheets[operation]
	if columns == nil {
		return next
	}
	return func(c echo.Context, request any) (any, error) {
		ask := reflect.New(reflect.TypeOf(request)).Elem()
		ask.Set(reflect.ValueOf(request))
		params := ask.FieldByName("Params")
		if format, _ := params.FieldByName("Format").Interface().(*api.TableFormat); or(format, api.Json) != api.Csv {
			return next(c, request)
		}
		limit, sent := params.FieldByName("Limit"), inboundOf(c.Request().Context()).query
		whole := !sent.Has("limit")
		if whole && limit.IsValid() && params.FieldByName("After").IsValid() {
			rows := sheetPageRows
			limit.Set(reflect.ValueOf(&rows))
		}
		out := recordsTo(c.Response())
		for {
			page, err := s.listedBy(next, c, ask.Interface())
			if err != nil {
				return nil, s.brokeOff(c, err)
			}
			after := page.after()
			if !c.Response().Committed {
				beginSheet(c, sent, after, whole)
				err = out.write(each(columns, column.name))
			}
			if err == nil {
				err = writeRows(out, columns, page.Items)
			}
			if err != nil || !whole || after == "" {
				return nil, s.brokeOff(c, err)
			}
			setAfter(params.FieldByName("After"), after)
			if err := s.waitTurn(c.Request().Context()); err != nil {
				return nil, s.brokeOff(c, err)
			}
		}
	}
}

// listedBy asks a list's own handler, and reads its answer as any reader of JSON would.
func (s *Server) listedBy(next api.StrictHandlerFunc, c echo.Context, request any) (l listed, err error) {
	answer, err := next(c, request)
	if err != nil {
		return l, err
	}
	b, err := json.Marshal(answer)
	if err != nil {
		return l, fmt.Errorf("a list as a table: %w", err)
	}
	d := json.NewDecoder(bytes.NewReader(b))
	d.UseNumber()
	if err := d.Decode(&l); err != nil {
		return l, fmt.Errorf("a list as a table: %w", err)
	}
	return l, nil
}

func beginSheet(c echo.Context, sent url.Values, after string, whole bool) {
	h := c.Response().Header()
	h.Set(echo.HeaderContentType, sheetType)
	if after != "" && !whole { // RFC 8288
		sent.Set("after", after)
		h.Set("Link", fmt.Sprintf("<%s?%s>; rel=\"next\"", c.Request().URL.EscapedPath(), sent.Encode()))
	}
	extendDeadline(c, downloadTime)
	c.Response().WriteHeader(http.StatusOK)
}

func writeRows(out *records, columns []column, rows []any) error {
	line := make([]string, len(columns))
	for _, row := range rows {
		for i, col := range columns {
			line[i] = cell(col.of(row))
		}
		if err := out.write(line); err != nil {
			return err
		}
	}
	return nil
}

// setAfter puts a place into a list's request: some count, some have keys.
func setAfter(field reflect.Value, after string) {
	if n, err := strconv.ParseInt(after, 10, 64); err == nil && field.Type() == reflect.TypeFor[*int64]() {
		field.Set(reflect.ValueOf(&n))
		return
	}
	field.Set(reflect.ValueOf(&after).Convert(field.Type()))
}

// waitTurn makes every further page wait as a request of its own would have to.
func (s *Server) waitTurn(ctx context.Context) error {
	who, ok := Caller(ctx)
	if !ok {
		return nil
	}
	for {
		wait := s.limits.caller.take(who.Member.String() + who.Token.String())
		if wait <= 0 {
			return ctx.Err()
		}
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-time.After(wait):
		}
	}
}

// brokeOff is for a failure at any place of a table: once rows are out, the connection is cut, so that nobody takes it for whole.
func (s *Server) brokeOff(c echo.Context, err error) error {
	if err == nil || !c.Response().Committed {
		return err
	}
	s.log.ErrorContext(c.Request().Context(), "a table broke off", "path", c.Path(), "error", err.Error())
	panic(http.ErrAbortHandler)
}

// sheetColumns reads from the description what rows each list has, by the generated names of operations.
func sheetColumns(source []byte) (map[string][]column, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal(source, &doc); err != nil {
		return nil, fmt.Errorf("columns of lists: %w", err)
	}
	schemas := under(doc.Content[0], "components", "schemas")
	all := map[string][]column{}
	paths := under(doc.Content[0], "paths")
	for i := 1; i < len(paths.Content); i += 2 {
		op := under(paths.Content[i], "get")
		content := under(op, "responses", "200", "content")
		answer := meant(under(content, "application/json", "schema"), schemas)
		rows := under(answer, "properties", "items", "items")
		if rows == nil || under(content, "text/csv") == nil {
			continue
		}
		id := under(op, "operationId").Value
		all[strings.ToUpper(id[:1])+id[1:]] = leaves(rows, schemas, nil)
	}
	for _, own := range []string{"ExportPayables", "GetPlan"} { // tables for people: amounts as they are written, weeks as rows
		delete(all, own)
	}
	return all, nil
}

// leaves are the columns of a schema: of an object those of its properties, in their order.
func leaves(schema, schemas *yaml.Node, at column) []column {
	schema = meant(schema, schemas)
	properties := under(schema, "properties")
	if properties == nil || len(properties.Content) == 0 {
		return []column{at}
	}
	var all []column
	for i := 0; i+1 < len(properties.Content); i += 2 {
		all = append(all, leaves(properties.Content[i+1], schemas, append(at[:len(at):len(at)], properties.Content[i].Value))...)
	}
	return all
}

// meant follows references and takes, of something or null, the something.
func meant(schema, schemas *yaml.Node) *yaml.Node {
	for schema != nil {
		ref, some := under(schema, "$ref"), under(schema, "oneOf")
		switch {
		case ref != nil:
			schema = under(schemas, ref.Value[strings.LastIndexByte(ref.Value, '/')+1:])
		case some != nil && len(some.Content) == 2 && under(some.Content[1], "type").Value == "null":
			schema = some.Content[0]
		default:
			return schema
		}
	}
	return nil
}

// under walks down keys of mappings; nil where one is missing.
func under(n *yaml.Node, keys ...string) *yaml.Node {
	for _, key := range keys {
		n = value(n, key)
	}
	return n
}

func value(n *yaml.Node, key string) *yaml.Node {
	if n == nil || n.Kind != yaml.MappingNode {
		return nil
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			return n.Content[i+1]
		}
	}
	return nil
}
