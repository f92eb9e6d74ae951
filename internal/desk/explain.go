package desk

import (
	"flag"
	"fmt"

	"proofhouse/internal/acceptance/spec"
)

const explainUsage = `Print the spec in force: every limit, whether it blocks, and where it comes from.

  worker explain --spec spec.yaml [--milestone final]
`

// Explain is the command `worker explain`.
func Explain(s Streams, args []string) int {
	f := flag.NewFlagSet("explain", flag.ContinueOnError)
	f.SetOutput(s.Err)
	path := f.String("spec", "", "the `file` of the spec, YAML or JSON")
	milestone := f.String("milestone", "", "explain it as of this `milestone` (default: the spec's)")
	f.Usage = func() { fmt.Fprint(s.Err, explainUsage+"\n"); f.PrintDefaults() }
	switch err := f.Parse(args); {
	case err == flag.ErrHelp:
		return ExitPass
	case err != nil:
		return ExitWrongCall
	case f.NArg() > 0:
		return wrongCall(s, f, "it takes no argument besides --spec")
	case *path == "":
		return wrongCall(s, f, "say which spec to explain: --spec FILE")
	}
	_, resolved, err := readSpec(*path, *milestone)
	if err != nil {
		fmt.Fprintf(s.Err, "worker explain: %v\n", err)
		return ExitWrongCall
	}
	if err := spec.Explain(s.Out, resolved); err != nil {
		fmt.Fprintln(s.Err, err)
		return ExitNotEvaluated
	}
	return ExitPass
}
