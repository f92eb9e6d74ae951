package main

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	stdio "io"
	"os"

	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

const verifyAbout = `Check an exported record: every leaf, hash, head and signature in it, and that it leaves nothing out. No server is
asked and no database is trusted.

  api verify --verifier KEY [--since receipt.json] [--objects] BUNDLE.json

--verifier is the notary's public key as the service published it; without one the hashes are checked and the
signatures are not. With one, a record of which it signed nothing does not hold. A key that was rotated vouches for the next one: the first you trusted is enough. --since proves that the record extends what a receipt of yours witnessed. --objects reads every delivered file, reference and evidence from the storage (S3_…) too.

Exit: 0 it holds, 1 something does not agree, 2 called wrongly.
`

func verifyCommand(ctx context.Context, io streams, env environment, args []string) int {
	c, code, done := parse(io, env, "verify", verifyAbout, "verifier objects s3-endpoint s3-region s3-bucket s3-access-key s3-secret-key", args)
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
		return complain(io, "verify", []string{"nothing was checked: " + err.Error() + ". BUNDLE.json is what the order's page or GET /v1/work-orders/ID/export gave, unchanged; a verifier is the one line name+hash+key that the service published"})
	}
	if len(c.verifiers) > 0 && report.Signed == 0 && report.Facts > 0 && report.OK() {
		report.Problems = append(report.Problems, ledger.Problem{Index: -1, What: "nothing in it is signed by a key that was given: either it is another house's key, or the record was exported in the second before it was signed; export it again"})
	}
	if c.objects {
		if err := c.verifyObjects(ctx, io, bundle, &report); err != nil {
			return failed(ctx, io, "verify", err)
		}
	}
	return printReport(io, c, report)
}

// verifyObjects reads every object that the record speaks of.
func (c config) verifyObjects(ctx context.Context, io streams, bundle []byte, report *ledger.Report) error {
	refs, err := ledger.BundleObjects(bundle)
	if err != nil {
		return err
	}
	store, err := storage.Open(c.storage())
	if err != nil {
		return err
	}
	good := 0
	for _, ref := range refs {
		what, err := compareObject(ctx, store, ref)
		if err != nil {
			return fmt.Errorf("read %s: %w", ref.Key, err)
		}
		if what != "" {
			report.Problems = append(report.Problems, ledger.Problem{Index: -1, What: ref.What + ": " + what})
			continue
		}
		good++
	}
	fmt.Fprintf(io.out, "%d of %d stored objects are what the record says\n", good, len(refs))
	return nil
}

// compareObject says what is wrong with a stored object, or nothing.
func compareObject(ctx context.Context, store *storage.Store, ref ledger.ObjectRef) (string, error) {
	head, err := store.Head(ctx, ref.Key)
	if errors.Is(err, storage.ErrNotFound) {
		return "the object is missing", nil
	}
	if err != nil {
		return "", err
	}
	sum, size, err := store.Fetch(ctx, ref.Key, head.ETag, stdio.Discard)
	switch {
	case err != nil:
		return "", err
	case sum != hex.EncodeToString(ref.SHA256):
		return fmt.Sprintf("the object's digest is %s, the record says %x", sum, ref.SHA256), nil
	case ref.Size >= 0 && size != ref.Size:
		return fmt.Sprintf("the object has %d bytes, the record says %d", size, ref.Size), nil
	}
	return "", nil
}

const rotateAbout = `Replace the notary's signing key. The old key signs the new one; exports carry that, so that who trusts the old verifier
follows. The old secret is overwritten. Start the service again afterwards.

DATABASE_NOTARY_URL and NOTARY_KEY as for "api serve".
`

func rotateCommand(ctx context.Context, io streams, env environment, args []string) int {
	c, code, done := parse(io, env, "rotate", rotateAbout, "database-notary-url notary-key", args)
	if done {
		return code
	}
	faults := roleFault("DATABASE_NOTARY_URL", c.database.notary, ledger.RoleNotary, true)
	if c.notaryKey == "" {
		faults = append(faults, "NOTARY_KEY is not set: it is the file of the signing key")
	}
	if len(faults) > 0 {
		return complain(io, "rotate", faults)
	}
	pool, err := c.pool(ctx, c.database.notary, 0)
	if err != nil {
		return failed(ctx, io, "rotate", err)
	}
	defer pool.Close()
	old, now, err := ledger.RotateKey(ctx, pool, c.notaryKey)
	if err != nil {
		return failed(ctx, io, "rotate", err)
	}
	fmt.Fprintf(io.out, "The key %s vouches for\n%s\nwhich signs from now on.\n", old, now)
	return exitOK
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
		fmt.Fprintln(io.out, "no --verifier was given: signatures were not checked. Give the notary's public key that you were given when the order was placed")
	}
	for _, p := range r.Problems {
		if p.Index < 0 {
			fmt.Fprintf(io.out, "  the log: %s\n", p.What)
			continue
		}
		fmt.Fprintf(io.out, "  fact %d: %s\n", p.Index, p.What)
	}
	if !r.OK() {
		fmt.Fprintln(io.out, "It does not hold. Keep this file as it is and your receipts, export the record again, and have the other side export theirs: what differs tells which was changed.")
		return exitFailed
	}
	fmt.Fprintln(io.out, "It holds.")
	return exitOK
}
