package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"slices"
	"time"

	vegeta "github.com/tsenart/vegeta/v12/lib"
)

// measured is how one route answered.
type measured struct {
	Route         string        `json:"route"`
	Requests      int           `json:"requests"`
	Failed        int           `json:"failed"` // neither 2xx, 3xx nor 304
	Refused       string        `json:"refused,omitempty"`
	P50, P95, P99 time.Duration `json:"-"`
	Max           time.Duration `json:"-"`
	Bytes         uint64        `json:"bytes"` // largest answer
}

// attack asks at a constant rate, whether or not earlier questions are answered: what waits is counted as waiting. Each
// question is of a random route, by a random caller, of a random subject.
func attack(ctx context.Context, base string, list []target, rate int, lasts time.Duration, rng *rand.Rand, trace io.Writer) []measured {
	routeOf := map[string]string{}
	for _, t := range list {
		for _, v := range t.variants {
			routeOf[base+v.url] = t.route
		}
	}
	targeter := func(out *vegeta.Target) error { // called by one goroutine at a time
		t := list[rng.IntN(len(list))]
		v := t.variants[rng.IntN(len(t.variants))]
		out.Method, out.URL, out.Header, out.Body = http.MethodGet, base+v.url, v.caller.header(), nil
		return nil
	}
	return fire(ctx, targeter, rate, lasts, func(r *vegeta.Result) string { return routeOf[r.URL] }, trace)
}

// fire runs an attack and sorts its results by name. trace, where there is one, is told of each answer.
func fire(ctx context.Context, targeter vegeta.Targeter, rate int, lasts time.Duration, name func(*vegeta.Result) string, trace io.Writer) []measured {
	a := vegeta.NewAttacker(vegeta.Redirects(vegeta.NoFollow), vegeta.Timeout(20*time.Second), vegeta.Workers(16), vegeta.MaxWorkers(1000), vegeta.Connections(200), vegeta.KeepAlive(true))
	by := map[string][]*vegeta.Result{}
	results := a.Attack(locked(targeter), vegeta.ConstantPacer{Freq: rate, Per: time.Second}, lasts, "load")
	began := time.Now()
	for r := range results {
		if trace != nil { // seconds since the beginning, milliseconds, status, route, address
			fmt.Fprintf(trace, "%.3f,%.1f,%d,%s,%s\n", r.Timestamp.Sub(began).Seconds(), float64(r.Latency)/float64(time.Millisecond), r.Code, name(r), r.URL)
		}
		by[name(r)] = append(by[name(r)], r)
		if ctx.Err() != nil {
			a.Stop()
		}
	}
	var out []measured
	for route, list := range by {
		out = append(out, sum(route, list))
	}
	slices.SortFunc(out, func(a, b measured) int { return cmp.Compare(a.Route, b.Route) })
	return out
}

func sum(route string, list []*vegeta.Result) measured {
	m := measured{Route: route, Requests: len(list)}
	times := make([]time.Duration, len(list))
	for i, r := range list {
		times[i] = r.Latency
		m.Bytes = max(m.Bytes, r.BytesIn)
		if r.Code < 200 || r.Code >= 400 {
			m.Failed++
			if m.Refused == "" {
				m.Refused = fmt.Sprintf("%d %s %s %.160s", r.Code, r.URL, r.Error, r.Body)
			}
		}
	}
	slices.Sort(times)
	at := func(share float64) time.Duration { return times[min(len(times)-1, int(share*float64(len(times))))] }
	m.P50, m.P95, m.P99, m.Max = at(0.50), at(0.95), at(0.99), times[len(times)-1]
	return m
}

// locked lets the attacker's workers draw one after the other.
func locked(t vegeta.Targeter) vegeta.Targeter {
	turn := make(chan struct{}, 1)
	return func(out *vegeta.Target) error {
		turn <- struct{}{}
		defer func() { <-turn }()
		return t(out)
	}
}

// worst is the slowest p99 of a list.
func worst(list []measured) (m measured) {
	for _, one := range list {
		if one.P99 > m.P99 {
			m = one
		}
	}
	return m
}
