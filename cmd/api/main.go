// Command api is the service: it serves the interface and the pages, prepares the database, sets up the first studio,
// and checks exported records with no server at all.
package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"
)

const usage = `proofhouse api: the service of the acceptance house.

  api serve --embedded DIR     everything on this machine: database, object storage, service
  api serve                    the service, over a PostgreSQL and an S3 storage of yours
  api migrate                  bring the database to this program's schema
  api bucket                   make the bucket, with the least rights for the service and the workers
  api bootstrap                make the first studio and its first member; prints a random password once
  api verify BUNDLE            check an exported record, with no server and no trust in one
  api rotate                   replace the key that signs the record; the old one vouches for the new one
  api reseal                   seal the secrets in the database anew, after POST_KEY was replaced
  api demo                     play a scenario on this machine, to see all of it at work

"api COMMAND --help" tells more of each. To begin on one machine:

  api bootstrap --embedded data --studio "Harbour Works" --name "Ines Haddal" --email ines@harbour.example
  api serve --embedded data
  (set -a; . data/worker.env; worker serve)
`

// Exit codes.
const (
	exitOK     = 0
	exitFailed = 1
	exitCalled = 2 // called wrongly
)

// commands by name. Each gets its arguments, with flags first.
var commands = map[string]func(ctx context.Context, io streams, env environment, args []string) int{
	"serve":     serveCommand,
	"migrate":   migrateCommand,
	"bootstrap": bootstrapCommand,
	"bucket":    bucketCommand,
	"verify":    verifyCommand,
	"rotate":    rotateCommand,
	"reseal":    resealCommand,
	"demo":      demoCommand,
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, streams{os.Stdout, os.Stderr}, os.Getenv, os.Args[1:]))
}

func run(ctx context.Context, io streams, env environment, args []string) int {
	if len(args) == 0 {
		fmt.Fprint(io.err, usage)
		return exitCalled
	}
	switch command := commands[args[0]]; {
	case command != nil:
		return command(ctx, io, env, args[1:])
	case args[0] == "help" || args[0] == "--help" || args[0] == "-h":
		fmt.Fprint(io.out, usage)
		return exitOK
	}
	fmt.Fprintf(io.err, "api: there is no command %q (see: api --help)\n", args[0])
	return exitCalled
}
