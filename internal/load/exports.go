package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"time"

	"github.com/jackc/pgx/v5"
)

// exported is one list or record taken away whole.
type exported struct {
	What     string
	Bytes    int64
	First    time.Duration // until its first byte
	Took     time.Duration
	PeakMB   int // of the service's memory, after it
	BeforeMB int
}

// exports takes away what is left out of the constant rates, once each and one after the other: the record of the order with the most
// leaves, the studio's whole list of props, and what was released in 30 days.
func (r *measurement) exports(ctx context.Context, conn *pgx.Conn, s *service, callers []*caller) error {
	var who *caller
	for _, c := range callers {
		if c.Side == "studio" && c.Party == r.Studio && c.Role == "producer" {
			who = c
		}
	}
	if who == nil {
		return errors.New("exports: the studio has no producer")
	}
	var order string
	if err := conn.QueryRow(ctx, `SELECT w.id::text FROM ph.work_order w JOIN ph.log l ON l.studio_id = w.studio_id AND l.id = w.id WHERE w.studio_id = $1
		ORDER BY l.size DESC, w.id LIMIT 1`, r.Studio).Scan(&order); err != nil {
		return fmt.Errorf("exports: the largest order: %w", err)
	}
	for _, one := range []struct{ what, path string }{
		{"the record of the largest order", "/v1/work-orders/" + order + "/export"},
		{"the list of props", "/props/export"},
		{"what was released in 30 days", "/v1/payables/export?from=" + r.Now.AddDate(0, 0, -30).Format(time.DateOnly) + "&to=" + r.Now.Format(time.DateOnly)},
	} {
		say("taking away %s", one.what)
		e, err := who.takeAway(ctx, s, one.path)
		if err != nil {
			return fmt.Errorf("exports: %s: %w", one.what, err)
		}
		e.What = one.what
		r.Exports = append(r.Exports, e)
	}
	return nil
}

// takeAway reads an answer to its end and keeps none of it.
func (c *caller) takeAway(ctx context.Context, s *service, path string) (e exported, err error) {
	e.BeforeMB = peakMB(s.cmd.Process.Pid)
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.url+path, nil)
	if err != nil {
		return e, err
	}
	r.Header = c.header()
	began := time.Now()
	answer, err := (&http.Client{Transport: client.Transport, CheckRedirect: client.CheckRedirect, Timeout: 10 * time.Minute}).Do(r)
	if err != nil {
		return e, err
	}
	defer answer.Body.Close()
	e.First = time.Since(began)
	if e.Bytes, err = io.Copy(io.Discard, answer.Body); err == nil && answer.StatusCode != http.StatusOK {
		err = errors.New(answer.Status)
	}
	e.Took, e.PeakMB = time.Since(began), peakMB(s.cmd.Process.Pid)
	return e, err
}

// peakMB is the most memory that a process has had (VmHWM of proc(5)), in MiB; 0 where that is not told.
func peakMB(pid int) int {
	var kb int
	_, _ = fmt.Sscanf(procLine(fmt.Sprintf("/proc/%d/status", pid), "VmHWM"), "%d", &kb) // 0 then
	return kb >> 10
}
