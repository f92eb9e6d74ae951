package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"

	"proofhouse/internal/ledger"
)

const verifyAbout = `Check an exported record: every leaf, hash, head and signature in it, and that it leaves nothing out. No server is
asked and no database is trusted.

  api verify --verifier KEY [--since receipt.json] BUNDLE.json

--verifier is the notary's public key as the service published it; without one the hashes are checked and the
signatures are not. --since proves that the record extends what a receipt of yours witnessed.

Exit: 0 it holds, 1 something does not agree, 2 called wrongly.
`

func verifyCommand(_ context.Context, io streams, env environment, args []string) int {
	c, code, done := parse(io, env, "verify", verifyAbout, "verifier", args)
	if done {
		return code
	}
	if len(c.rest) != 1 {
		return complain(io, "verify", []string{"name one bundle: api verify BUNDLE.json"})
	}
	bundle, err := os.ReadFile(c.rest[0])
	if err != nil {
		return complain(io, "verify", []string{"the bundle cannot be read: " + err.Error()})
	}
	var receipts []ledger.Receipt
	for _, path := range c.receipts {
		r, err := readReceipt(path)
		if err != nil {
			return complain(io, "verify", []string{err.Error()})
		}
		receipts = append(receipts, r)
	}
	report, err := ledger.VerifyBundle(bundle, c.verifiers, receipts...)
	if err != nil {
		return complain(io, "verify", []string{err.Error()}) // no bundle, or no key: nothing was checked
	}
	return printReport(io, c, report)
}

// readReceipt reads a receipt by itself, or one kept within the answer to a seal or a sign-off.
func readReceipt(path string) (ledger.Receipt, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return ledger.Receipt{}, fmt.Errorf("the receipt cannot be read: %w", err)
	}
	var within struct {
		ledger.Receipt
		Inner *ledger.Receipt `json:"receipt"`
	}
	if err := json.Unmarshal(text, &within); err != nil {
		return ledger.Receipt{}, fmt.Errorf("%s is not a receipt: %w", path, err)
	}
	if within.Inner != nil {
		return *within.Inner, nil
	}
	if within.Format == "" {
		return ledger.Receipt{}, fmt.Errorf("%s is not a receipt", path)
	}
	return within.Receipt, nil
}

func printReport(io streams, c config, r ledger.Report) int {
	fmt.Fprintf(io.out, "log %s: %d facts, %d of them under a good signature\n", r.Log, r.Facts, r.Signed)
	if len(c.verifiers) == 0 {
		fmt.Fprintln(io.out, "no --verifier was given: signatures were not checked")
	}
	for _, p := range r.Problems {
		if p.Index < 0 {
			fmt.Fprintf(io.out, "  the log: %s\n", p.What)
			continue
		}
		fmt.Fprintf(io.out, "  fact %d: %s\n", p.Index, p.What)
	}
	if !r.OK() {
		fmt.Fprintln(io.out, "It does not hold.")
		return exitFailed
	}
	fmt.Fprintln(io.out, "It holds.")
	return exitOK
}
