package httpapi

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/httpapi/api"
)

// checked serves the description's check alone, with a handler that says what got through.
func checked(t *testing.T) *echo.Echo {
	t.Helper()
	desc, err := loadDescription()
	require.NoError(t, err)
	e := echo.New()
	e.HTTPErrorHandler = func(err error, c echo.Context) { writeProblem(c, err) }
	hold := func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			if _, err := readBody(c); err != nil {
				return err
			}
			return next(c)
		}
	}
	for _, route := range desc.routes {
		e.Add(route.Method, echoPattern(route.Path), func(c echo.Context) error { return c.NoContent(http.StatusNoContent) }, hold, desc.check)
	}
	return e
}

func send(e http.Handler, method, path, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	e.ServeHTTP(w, r)
	return w
}

func problemOf(t *testing.T, w *httptest.ResponseRecorder) api.Problem {
	t.Helper()
	require.Equal(t, "application/problem+json", w.Header().Get("Content-Type"), w.Body.String())
	var p api.Problem
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &p))
	require.Equal(t, w.Code, p.Status)
	require.NotEmpty(t, p.WhatToDo)
	require.NotEmpty(t, p.Detail)
	return p
}

const someID = "0198d4a0-0000-7000-8000-000000000041"

func TestRequestsAreCheckedAndNothingSentComesBack(t *testing.T) {
	t.Parallel()
	e := checked(t)
	key := []string{"Idempotency-Key", "0123456789"}
	const canary = "Zx9CanaryValue"
	for name, tc := range map[string]struct {
		method, path, body string
		headers            []string
		status             int
		pointer, reason    string
	}{
		"good":               {"POST", "/v1/projects", `{"code":"QUAY","title":"x"}`, key, 204, "", ""},
		"no key":             {"POST", "/v1/projects", `{"code":"QUAY","title":"x"}`, nil, 400, "Idempotency-Key", "is needed"},
		"short key":          {"POST", "/v1/projects", `{"code":"QUAY","title":"x"}`, []string{"Idempotency-Key", "1"}, 400, "Idempotency-Key", "at least 8"},
		"missing field":      {"POST", "/v1/projects", `{"code":"QUAY"}`, key, 400, "/title", "is needed"},
		"unknown field":      {"POST", "/v1/projects", `{"code":"QUAY","title":"x","` + canary + `":"` + canary + `"}`, key, 400, "", "not known here"},
		"wrong type":         {"POST", "/v1/projects", `{"code":"QUAY","title":["` + canary + `"]}`, key, 400, "/title", "must be string"},
		"bad pattern":        {"POST", "/v1/projects", `{"code":"` + canary + ` !","title":"x"}`, key, 400, "/code", "must match"},
		"no JSON":            {"POST", "/v1/projects", canary, key, 400, "", ""},
		"empty body":         {"POST", "/v1/projects", "", key, 415, "", ""},
		"wrong kind of body": {"POST", "/v1/projects", canary, append([]string{"Content-Type", "text/plain"}, key...), 415, "", ""},
		"nested":             {"POST", "/v1/work-orders/" + someID + "/props", `{"code":"a","title":"t","tier":"` + canary + `","price":{"amount_minor":-1,"currency":"` + canary + `"},"milestones":[{"kind":"final"}]}`, key, 400, "/price/currency", "must match"},
		"in a list":          {"POST", "/v1/milestones/" + someID + "/deliveries", `{"files":[{"path":"a.glb","role":"game","bytes":1,"sha256":"` + canary + `"}]}`, key, 400, "/files/0/sha256", "must match"},
		"bad id":             {"GET", "/v1/work-orders/" + canary, "", nil, 400, "work_order_id", "must be a uuid"},
		"limit too high":     {"GET", "/v1/work-orders?limit=" + "9999999", "", nil, 400, "limit", "at most 200"},
		"limit no number":    {"GET", "/v1/work-orders?limit=" + canary, "", nil, 400, "limit", ""},
		"bad enum":           {"GET", "/v1/my-work?desk=" + canary, "", nil, 400, "desk", "must be one of"},
		"body where none is": {"POST", "/v1/deliveries/" + someID + "/seal", `{"a":"` + canary + `"}`, key, 400, "", ""},
		"spec as YAML":       {"POST", "/v1/props/" + someID + "/specs", "prop: a\n", append([]string{"Content-Type", "application/yaml; charset=utf-8"}, key...), 204, "", ""},
		"null day is fine":   {"POST", "/v1/work-orders/" + someID + "/props", `{"code":"a","title":"t","tier":"hero","price":{"amount_minor":1,"currency":"EUR"},"milestones":[{"kind":"final","due_on":null}]}`, key, 204, "", ""},
		"bad day":            {"POST", "/v1/work-orders/" + someID + "/props", `{"code":"a","title":"t","tier":"hero","price":{"amount_minor":1,"currency":"EUR"},"milestones":[{"kind":"final","due_on":"` + canary + `"}]}`, key, 400, "/milestones/0/due_on", ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := send(e, tc.method, tc.path, tc.body, tc.headers...)
			require.Equal(t, tc.status, w.Code, w.Body.String())
			require.NotContains(t, w.Body.String(), canary)
			if tc.status == 204 {
				return
			}
			p := problemOf(t, w)
			if tc.pointer == "" && tc.reason == "" {
				return
			}
			require.NotNil(t, p.Errors)
			found := false
			for _, one := range *p.Errors {
				if (tc.pointer == "" || one.Pointer != nil && *one.Pointer == tc.pointer) && strings.Contains(one.Reason, tc.reason) {
					found = true
				}
			}
			require.True(t, found, "no %q with %q in %s", tc.pointer, tc.reason, w.Body.String())
		})
	}
}

func TestABodyOverTheLimitIsRefused(t *testing.T) {
	t.Parallel()
	w := send(checked(t), "POST", "/v1/projects", `{"code":"A","title":"`+strings.Repeat("x", maxBodyBytes)+`"}`, "Idempotency-Key", "0123456789")
	require.Equal(t, http.StatusRequestEntityTooLarge, w.Code)
	require.Equal(t, "/problems/too-large", problemOf(t, w).Type)
}

func BenchmarkCheckOfAProject(b *testing.B) {
	desc, err := loadDescription()
	require.NoError(b, err)
	e := echo.New()
	e.POST("/v1/projects", func(c echo.Context) error { return c.NoContent(http.StatusNoContent) }, desc.check)
	for b.Loop() {
		if w := send(e, "POST", "/v1/projects", `{"code":"QUAY","title":"x"}`, "Idempotency-Key", "0123456789"); w.Code != 204 {
			b.Fatal(w.Body.String())
		}
	}
}
