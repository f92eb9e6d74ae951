package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
)

// exportedOrder is the record of an order with one prop, anchored, and the verifier of the key that signed it.
func exportedOrder(t *testing.T) (bundle []byte, verifier string) {
	t.Helper()
	ctx, db := t.Context(), ledgertest.New(t)
	who := db.Studio("Harbour Studio")
	store, err := ledger.NewStore(db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	var order ledger.WorkOrder
	require.NoError(t, store.InTx(ctx, who, func(tx *ledger.Tx) error {
		vendor, err := tx.CreateVendor(ctx, ledger.NewVendor{Name: "Salvage Yard"})
		if err != nil {
			return err
		}
		project, err := tx.CreateProject(ctx, ledger.NewProject{Code: "QUAY", Title: "Old Harbour"})
		if err != nil {
			return err
		}
		if order, err = tx.CreateWorkOrder(ctx, ledger.NewWorkOrder{Project: project.ID, Vendor: vendor.ID, Code: "W1", Title: "Props for the quay", Currency: "EUR", RoundsIncluded: 2, ReviewDays: 5}); err != nil {
			return err
		}
		_, err = tx.CreateProp(ctx, ledger.NewProp{WorkOrder: order.ID, Code: "bollard", Title: "A bollard", Tier: "mid", PriceMinor: 100_000,
			Milestones: []ledger.NewMilestone{{Kind: "final", ShareBP: 10_000}}})
		return err
	}))
	notary, err := ledger.NewNotary(db.Pool(ledger.RoleNotary), filepath.Join(t.TempDir(), "notary.key"))
	require.NoError(t, err)
	_, err = notary.AnchorOnce(ctx)
	require.NoError(t, err)
	require.NoError(t, store.InTx(ctx, who, func(tx *ledger.Tx) (err error) { bundle, err = tx.Bundle(ctx, order.ID); return err }))
	return bundle, notary.Verifier()
}

// A stranger has the program and the file, and nothing else: no environment, no database, no right to write. What was changed
// is found, where the file can tell which fact it is that is said, and every answer says what to do.
func TestVerifyAsAStranger(t *testing.T) {
	bundle, verifier := exportedOrder(t)
	check := func(doc []byte, args ...string) (int, string) {
		file := filepath.Join(t.TempDir(), "record.json")
		require.NoError(t, os.WriteFile(file, doc, 0o400))
		code, c := call(t, noEnv, append(append([]string{"verify"}, args...), file)...)
		left, err := os.ReadDir(filepath.Dir(file))
		require.NoError(t, err)
		require.Len(t, left, 1, "nothing is written")
		return code, c.out.String() + c.err.String()
	}
	code, said := check(bundle, "--verifier", verifier)
	require.Equal(t, exitOK, code, said)
	require.Contains(t, said, "It holds.")
	require.NotContains(t, said, " 0 of them under a good signature")
	code, said = check(bundle)
	require.Equal(t, exitOK, code, said)
	require.Contains(t, said, "signatures were not checked. Give the notary's public key")

	_, other := exportedOrder(t)
	code, said = check(bundle, "--verifier", other)
	require.Equal(t, exitFailed, code, "another house's key: "+said)
	require.Contains(t, said, "nothing in it is signed by a key that was given")
	code, said = check(bundle, "--verifier", "mine")
	require.Equal(t, exitCalled, code)
	require.Contains(t, said, "a verifier is the one line")
	code, said = check([]byte(`{"props": []}`))
	require.Equal(t, exitCalled, code)
	require.Contains(t, said, "nothing was checked")
	require.Contains(t, said, "/export gave, unchanged")
	code, said = check(bundle[:len(bundle)/2])
	require.Equal(t, exitCalled, code, said)

	for what, change := range map[string]func(map[string]any){
		"leaf": func(b map[string]any) {
			edit(b["leaves"].([]any)[1], "body", "Props for the quay", "Props for the quai", "bollard", "ballard")
		},
		"left out": func(b map[string]any) { b["leaves"] = b["leaves"].([]any)[:1] },
		"gap":      func(b map[string]any) { l := b["leaves"].([]any); b["leaves"] = l[1:] },
		"name": func(b map[string]any) {
			edit(b["leaves"].([]any)[0], "name", "Lead of Harbour Studio", "Somebody else")
		},
	} {
		var b map[string]any
		dec := json.NewDecoder(bytes.NewReader(bundle))
		dec.UseNumber()
		require.NoError(t, dec.Decode(&b))
		before := len(bundle)
		change(b)
		doc, err := json.Marshal(b)
		require.NoError(t, err)
		code, said := check(doc, "--verifier", verifier)
		require.Equal(t, exitFailed, code, "%s (%d bytes): %s", what, before, said)
		require.Contains(t, said, "It does not hold. Keep this file")
		if what == "gap" {
			require.Contains(t, said, "leaf 0 is missing")
		}
		if what == "name" {
			require.Contains(t, said, "fact 0: ")
		}
	}
}

// edit replaces text in one field; of the pairs the first that is there counts.
func edit(leaf any, field string, pairs ...string) {
	l := leaf.(map[string]any)
	text := l[field].(string)
	for i := 0; i < len(pairs); i += 2 {
		if strings.Contains(text, pairs[i]) {
			l[field] = strings.Replace(text, pairs[i], pairs[i+1], 1)
			return
		}
	}
	panic("there is none of " + strings.Join(pairs, ", ") + " in " + text)
}
