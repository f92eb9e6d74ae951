package client

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
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
	u, err := url.Parse(base)
	if err != nil || (u.Scheme != "http" && u.Scheme != "https") || u.Host == "" {
		return nil, fmt.Errorf("the address %q cannot be used: it begins with http:// or https://", base)
	}
	api, err := NewClientWithResponses(strings.TrimRight(base, "/"), WithHTTPClient(again{h}), WithRequestEditorFn(func(_ context.Context, r *http.Request) error {
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

// again sends a request again that may be sent twice: one that only reads, or one that carries an Idempotency-Key.
type again struct{ *http.Client }

const tries = 5

// Do is one call. A break of the connection, an overload or a restart of the service costs a pause and another try.
func (a again) Do(r *http.Request) (*http.Response, error) {
	safe := r.Method == http.MethodGet || r.Header.Get("Idempotency-Key") != "" && (r.Body == nil || r.GetBody != nil)
	pause := 300 * time.Millisecond
	for try := 1; ; try++ {
		answer, err := a.Client.Do(r)
		if !safe || try == tries || r.Context().Err() != nil || err == nil && !passing(answer.StatusCode) {
			return answer, err
		}
		wait := pause
		if err == nil {
			if s, perr := strconv.Atoi(answer.Header.Get("Retry-After")); perr == nil {
				wait = min(time.Duration(s)*time.Second, 30*time.Second)
			}
			_ = answer.Body.Close()
		}
		select {
		case <-r.Context().Done():
			return nil, r.Context().Err()
		case <-time.After(wait):
		}
		pause *= 2
		if r.GetBody != nil {
			if r.Body, err = r.GetBody(); err != nil {
				return nil, err
			}
		}
	}
}

// passing says whether an answer's status is one that another try may change.
func passing(status int) bool {
	return status == http.StatusTooManyRequests || status == http.StatusBadGateway || status == http.StatusServiceUnavailable || status == http.StatusGatewayTimeout
}
