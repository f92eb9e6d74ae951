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
	path := f.String("spec", "", "the `file` of the spec, YAML or JSON")
	milestone := f.String("milestone", "", "explain it as of this `milestone` (default: the spec's)")
	f.Usage = func() { fmt.Fprint(s.Out, explainUsage+"\n"); f.PrintDefaults() }
	rest, code, done := ParseFlags(s, f, args)
	switch {
	case done:
		return code
	case len(rest) > 0:
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
