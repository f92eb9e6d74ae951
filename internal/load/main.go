// Command load fills a ledger of any size and measures how fast the service answers over it. It is run by scripts/load.
//
//	load seed --dir DIR [--props 100000]   make a data folder that "api serve --embedded DIR" serves
//	load measure --dir DIR …               ask a service every question at a constant rate and write the table
//	load plans --dir DIR                   list what does not use an index
package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "load:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string) error {
	commands := map[string]func(context.Context, []string) error{"seed": seedCommand, "measure": measureCommand, "plans": plansCommand}
	if len(args) == 0 || commands[args[0]] == nil {
		return fmt.Errorf("seed, measure or plans is needed")
	}
	return commands[args[0]](ctx, args[1:])
}
