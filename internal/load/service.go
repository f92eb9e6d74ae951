package main

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/google/uuid"

	"proofhouse/internal/load/seed"
)

// service is an api that serves a data folder, in a process of its own as it always is.
type service struct {
	url  string
	cmd  *exec.Cmd
	done chan error
}

const startLimit = 3 * time.Minute

// serve starts the program and waits until it serves. Every caller is to have an address of its own, as people have: the proxy
// that says so is this program.
func serve(ctx context.Context, program, dir string) (*service, error) {
	cmd := exec.CommandContext(ctx, program, "serve", "--embedded", dir, "--listen", "127.0.0.1:0", "--metrics-listen", "off", "--trusted-proxies", "127.0.0.0/8")
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	cmd.WaitDelay = time.Minute
	logs, err := os.Create(filepath.Join(dir, "api.log"))
	if err != nil {
		return nil, err
	}
	defer logs.Close()
	cmd.Stderr = logs
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	s := &service{cmd: cmd, done: make(chan error, 1)}
	told := make(chan string, 1)
	go func() {
		lines := bufio.NewScanner(out)
		for lines.Scan() {
			if url, ok := strings.CutPrefix(lines.Text(), "proofhouse serves "); ok {
				told <- strings.TrimSpace(url)
			}
		}
		s.done <- cmd.Wait()
	}()
	select {
	case s.url = <-told:
		return s, nil
	case err := <-s.done:
		return nil, fmt.Errorf("the service did not start (%w): see %s", err, logs.Name())
	case <-time.After(startLimit):
		_ = cmd.Process.Kill()
		return nil, errors.New("the service did not start in time")
	}
}

func (s *service) stop() error {
	if err := s.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		return err
	}
	return <-s.done
}

// caller is a member with a session and an address.
type caller struct {
	seed.Member
	cookie   string
	address  string
	subjects subjects
}

func (c *caller) header() http.Header {
	return http.Header{"Cookie": {c.cookie}, "X-Forwarded-For": {c.address}, "Accept": {"*/*"}}
}

// do sends one request and reads what comes into out, where it is not nil.
func (c *caller) do(ctx context.Context, method, url string, body, out any) error {
	var sent io.Reader
	if body != nil {
		b, err := json.Marshal(body)
		if err != nil {
			return err
		}
		sent = bytes.NewReader(b)
	}
	r, err := http.NewRequestWithContext(ctx, method, url, sent)
	if err != nil {
		return err
	}
	r.Header = c.header()
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	if method == http.MethodPost {
		r.Header.Set("Idempotency-Key", uuid.NewString())
	}
	answer, err := client.Do(r)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	b, err := io.ReadAll(answer.Body)
	if err != nil {
		return err
	}
	if answer.StatusCode >= 300 {
		return fmt.Errorf("%s %s: %s: %.300s", method, url, answer.Status, b)
	}
	if cookies := answer.Cookies(); c.cookie == "" && len(cookies) > 0 {
		c.cookie = cookies[0].Name + "=" + cookies[0].Value
	}
	if out == nil {
		return nil
	}
	return json.Unmarshal(b, out)
}

var client = &http.Client{
	Timeout:       30 * time.Second,
	Transport:     &http.Transport{MaxIdleConnsPerHost: 64},
	CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
}

// logIn logs members in, each from an address of their own below a network of sixteen bits.
func logIn(ctx context.Context, url, password, network string, members []seed.Member) ([]*caller, error) {
	var out []*caller
	for i, member := range members {
		c := &caller{Member: member, address: fmt.Sprintf("%s.%d.%d", network, i/200, i%200+1)}
		if err := c.do(ctx, http.MethodPost, url+"/v1/sessions", map[string]string{"email": member.Email, "password": password}, nil); err != nil {
			return nil, fmt.Errorf("log in %s: %w", member.Email, err)
		}
		out = append(out, c)
	}
	return out, nil
}

// fetch reads what is at an address, as it is sent.
func (c *caller) fetch(ctx context.Context, url string, encodings ...string) ([]byte, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return nil, err
	}
	r.Header = c.header()
	if len(encodings) > 0 {
		r.Header["Accept-Encoding"] = encodings
	}
	answer, err := client.Do(r)
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	b, err := io.ReadAll(answer.Body)
	if err == nil && answer.StatusCode >= 400 {
		err = fmt.Errorf("%s: %s: %.200s", url, answer.Status, b)
	}
	return b, err
}

// sent fetches as a browser does and says how many bytes went over the wire for it.
func (c *caller) sent(ctx context.Context, url string) (body []byte, wire int, err error) {
	raw, err := c.fetch(ctx, url, "gzip") // asked for by hand, it is not undone by the client
	if err != nil {
		return nil, 0, err
	}
	z, err := gzip.NewReader(bytes.NewReader(raw))
	if err != nil {
		return raw, len(raw), nil // sent as it is
	}
	body, err = io.ReadAll(z)
	return body, len(raw), err
}
