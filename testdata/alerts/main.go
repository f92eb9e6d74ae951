// Command alerts reads a file of alarms by the reference parser of its format, says how many there are, and fails where one cannot be
// read. It is a module of its own: only the tests with the tag full need it.
package main

import (
	"fmt"
	"log/slog"
	"os"

	"github.com/prometheus/common/model"
	"github.com/prometheus/prometheus/model/rulefmt"
	"github.com/prometheus/prometheus/promql/parser"
)

func main() {
	groups, errs := rulefmt.ParseFile(os.Args[1], false, model.UTF8Validation, parser.NewParser(parser.Options{}), slog.New(slog.DiscardHandler))
	for _, err := range errs {
		fmt.Fprintln(os.Stderr, err)
	}
	if len(errs) > 0 {
		os.Exit(1)
	}
	n := 0
	for _, g := range groups.Groups {
		n += len(g.Rules)
	}
	fmt.Println(n)
}
