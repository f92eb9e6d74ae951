package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"proofhouse/internal/demo"
	"proofhouse/internal/ledger"
)

const demoAbout = `Run everything on this machine and play a harbour scenario through the public API: a studio, two vendors, deliveries,
inspections, decisions. Prints a table, the address of the pages and log-ins made for this data folder, and serves until
interrupted. Data survives a restart.

  api demo [--once] [--dir DIR] [--listen ADDRESS]
`

// demoStop is how long the worker may take to stop.
const demoStop = 30 * time.Second

type demoCall struct {
	dir, listen string
	once        bool
	fine        float64
}

func demoCommand(ctx context.Context, io streams, _ environment, args []string) int {
	var d demoCall
	f := flag.NewFlagSet("demo", flag.ContinueOnError)
	f.SetOutput(io.err)
	f.StringVar(&d.dir, "dir", demoDir(), "data `folder`")
	f.StringVar(&d.listen, "listen", "127.0.0.1:8080", "`address` to serve at; port 0 takes a free one")
	f.BoolVar(&d.once, "once", false, "play the scenario, check how it came out, and end")
	f.Float64Var(&d.fine, "fine", 1, "`how` finely the sculpts are made: 1 is about 200,000 triangles each, 2 four times as many")
	f.Usage = func() {}
	switch err := f.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		f.SetOutput(io.out)
		fmt.Fprint(io.out, demoAbout+"\n")
		f.PrintDefaults()
		return exitOK
	case err != nil:
		return exitCalled
	case f.NArg() > 0:
		return complain(io, "demo", []string{"it takes no arguments besides its flags"})
	case d.fine < 0.1 || d.fine > 8:
		return complain(io, "demo", []string{"--fine takes a number from 0.1 to 8"})
	}
	ok, err := d.run(ctx, io)
	if err != nil {
		return failed(ctx, io, "demo", err)
	}
	if !ok {
		return exitFailed
	}
	return exitOK
}

// demoDir is where the demo's data lies unless said: root's servers run as another user, who must be able to reach it.
func demoDir() string {
	if os.Getuid() == 0 {
		return "/var/lib/proofhouse/demo"
	}
	if home, err := os.UserHomeDir(); err == nil {
		return filepath.Join(home, ".local", "share", "proofhouse", "demo")
	}
	return filepath.Join(os.TempDir(), "proofhouse-demo")
}

// run serves, plays and waits. ok says that the scenario came out as it is written.
func (d demoCall) run(ctx context.Context, io streams) (ok bool, err error) {
	if err := os.MkdirAll(d.dir, 0o755); err != nil {
		return false, fmt.Errorf("the data folder cannot be made: %w", err)
	}
	logFile, err := os.OpenFile(filepath.Join(d.dir, "service.log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return false, fmt.Errorf("the data folder cannot be written: %w", err)
	}
	defer logFile.Close()
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	c := config{listen: d.listen, metricsListen: "off", embedded: d.dir, s3Listen: "127.0.0.1:0", s3Bucket: "proofhouse"}
	var playErr error
	played := make(chan struct{})
	began := false
	fmt.Fprintf(io.out, "Starting PostgreSQL, object storage and the service in %s …\n", d.dir)
	err = c.serve(ctx, slog.New(slog.NewJSONHandler(logFile, nil)), func(address string) {
		began = true
		go func() {
			defer close(played)
			ok, playErr = d.play(ctx, io, address)
			if d.once || playErr != nil {
				stop()
			}
		}()
	})
	if began {
		<-played
	}
	return ok, errors.Join(playErr, err)
}

// play starts a worker beside the service, lets the scenario run and shows how it came out. It returns once the service
// is to stop.
func (d demoCall) play(ctx context.Context, io streams, address string) (bool, error) {
	stopWorker, err := d.startWorker(ctx)
	if err != nil {
		return false, err
	}
	defer stopWorker()
	p := &demo.Play{Base: address, Dir: d.dir, Out: io.out, Fine: d.fine, Bootstrap: d.bootstrap}
	fmt.Fprintf(io.out, "Serving %s; the harbour's vendors deliver …\n", address)
	state, err := p.Run(ctx)
	if ctx.Err() != nil && err != nil {
		return false, nil // stopped by hand: the next start goes on from here
	}
	if err != nil {
		return false, err
	}
	ok := state.WriteTable(p)
	fmt.Fprintf(io.out, "\nPages: %s\nLog-ins of this data folder (made for it, kept in harbour.json there):\n", address)
	for _, l := range state.Logins {
		fmt.Fprintf(io.out, "  %-26s %-20s %s, %s\n", l.Email, l.Password, strings.ReplaceAll(l.Role, "_", " "), l.Party)
	}
	if d.once {
		if !ok {
			fmt.Fprintln(io.err, "The scenario did not come out as it is written.")
		}
		return ok, nil
	}
	fmt.Fprintln(io.out, "\nServing until interrupted.")
	<-ctx.Done()
	return ok, nil
}

func (d demoCall) bootstrap(ctx context.Context, studio, name, email, password string) error {
	text, err := os.ReadFile(filepath.Join(d.dir, adminFile))
	if err != nil {
		return err
	}
	_, err = ledger.BootstrapStudio(ctx, envValue(string(text), "DATABASE_ADMIN_URL"), studio, ledger.FirstMember{Name: name, Email: email, Password: password})
	return err
}

// startWorker runs `worker serve` as a process of its own, as on any other machine.
func (d demoCall) startWorker(ctx context.Context) (stop func(), err error) {
	self, err := os.Executable()
	if err != nil {
		return nil, fmt.Errorf("find this program: %w", err)
	}
	worker := filepath.Join(filepath.Dir(self), "worker")
	if _, err := os.Stat(worker); err != nil {
		return nil, fmt.Errorf("the program worker is not beside this one (%s); build both: go build -o build/ ./cmd/...", worker)
	}
	text, err := os.ReadFile(filepath.Join(d.dir, workerFile))
	if err != nil {
		return nil, err
	}
	logFile, err := os.OpenFile(filepath.Join(d.dir, "worker.log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(worker, "serve", "--slots", "2")
	cmd.Stdout, cmd.Stderr = logFile, logFile
	cmd.Env = []string{"PATH=" + os.Getenv("PATH"), "TMPDIR=" + os.TempDir()}
	for lines := bufio.NewScanner(bytes.NewReader(text)); lines.Scan(); {
		if name, _, ok := strings.Cut(lines.Text(), "="); ok {
			cmd.Env = append(cmd.Env, name+"="+envValue(string(text), name))
		}
	}
	if err := cmd.Start(); err != nil {
		logFile.Close()
		return nil, fmt.Errorf("start the worker: %w", err)
	}
	done := make(chan struct{})
	go func() { _ = cmd.Wait(); close(done) }()
	return func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		select {
		case <-done:
		case <-time.After(demoStop):
			_ = cmd.Process.Kill()
			<-done
		}
		logFile.Close()
	}, nil
}
