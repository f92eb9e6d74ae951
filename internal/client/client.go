package client

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"
)

// Service is one proofhouse service as one caller sees it.
type Service struct {
	*ClientWithResponses
	http *http.Client // for links into storage, which carry their own credentials
}

// New speaks to the service at base ("https://proofhouse.example") with a token; an empty one makes an anonymous caller.
func New(base, token string) (*Service, error) {
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.ResponseHeaderTimeout = 2 * time.Minute
	h := &http.Client{Transport: transport}
	api, err := NewClientWithResponses(strings.TrimRight(base, "/"), WithHTTPClient(h), WithRequestEditorFn(func(_ context.Context, r *http.Request) error {
		if token != "" {
			r.Header.Set("Authorization", "Bearer "+token)
		}
		return nil
	}))
	if err != nil {
		return nil, fmt.Errorf("the address %q cannot be used: %w", base, err)
	}
	return &Service{ClientWithResponses: api, http: h}, nil
}

// Refused is an answer that says no, in the service's own words.
type Refused struct {
	Doing   string
	Status  int
	Problem *Problem // nil where the answer was not one of the service's
}

func (e *Refused) Error() string {
	if e.Problem == nil {
		return fmt.Sprintf("%s: the service answered %d %s", e.Doing, e.Status, http.StatusText(e.Status))
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s", e.Doing, e.Problem.Detail)
	if e.Problem.Errors != nil {
		for _, one := range *e.Problem.Errors {
			b.WriteString("\n  ")
			if one.Line != nil {
				fmt.Fprintf(&b, "line %d: ", *one.Line)
			} else if one.Pointer != nil && *one.Pointer != "" {
				fmt.Fprintf(&b, "%s: ", *one.Pointer)
			}
			b.WriteString(one.Reason)
		}
	}
	if e.Problem.WhatToDo != "" {
		fmt.Fprintf(&b, " %s", e.Problem.WhatToDo)
	}
	return b.String()
}

// Refusal is the error for an answer that was not the one hoped for.
func Refusal(doing string, r *http.Response, p *Problem) error {
	status := 0
	if r != nil {
		status = r.StatusCode
	}
	return &Refused{Doing: doing, Status: status, Problem: p}
}
