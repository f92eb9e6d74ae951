package ledger

import (
	"bytes"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"
)

// leavesOfTheHarbour are leaves of the demo's two orders, one of each kind, a line each.
//
//go:embed testdata/leaves.txt
var leavesOfTheHarbour string

// FuzzRecord checks records whose tree is right and whose leaves are anything, one a line: what `api verify` is given was
// written by whoever sends it. Reading ends, and what is no leaf is a problem that is told.
func FuzzRecord(f *testing.F) {
	f.Add([]byte(leavesOfTheHarbour))
	for line := range strings.Lines(leavesOfTheHarbour) {
		f.Add([]byte(line))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var b bundle
		b.Format = bundleFormat
		tree := hashMap{}
		for line := range bytes.SplitSeq(bytes.TrimSuffix(data, []byte("\n")), []byte("\n")) {
			b.Leaves = append(b.Leaves, bundleLeaf{Index: b.Size, Body: string(line)})
			// As the log does: a record's bytes are JSON in UTF-8, and so is what is hashed.
			hashes, err := tlog.StoredHashes(b.Size, line, tree)
			require.NoError(t, err)
			for j, h := range hashes {
				tree[tlog.StoredHashIndex(0, b.Size)+int64(j)] = h
			}
			var l leaf
			if json.Unmarshal(line, &l) == nil {
				b.Log = l.Log
			}
			b.Size++
		}
		root, err := tlog.TreeHash(b.Size, tree)
		require.NoError(t, err)
		b.Root = hex.EncodeToString(root[:])
		doc, err := json.Marshal(b)
		require.NoError(t, err)
		report, err := VerifyBundle(doc, nil)
		require.NoError(t, err)
		require.Equal(t, b.Size, report.Facts)
		require.Zero(t, report.Signed, "nobody signed it")
		if !json.Valid(bytes.Split(data, []byte("\n"))[0]) {
			require.NotEmpty(t, report.Problems)
		}
		_, _ = BundleObjects(doc)
	})
}

// FuzzReceipt reads whole documents: exports and receipts, as anybody may hand them in.
func FuzzReceipt(f *testing.F) {
	f.Add([]byte(`{"format":"proofhouse/bundle/1","log":"01a2208a-f9f7-7862-aa20-7a1810f9e3bc","size":1,"leaves":[{"index":0,"body":"{}"}],"anchor":{"size":1,"house_proof":["00"]},"checkpoint":"x\n"}`),
		[]byte(`{"format":"proofhouse/receipt/1","log":"01a2208a-f9f7-7862-aa20-7a1810f9e3bc","size":1,"index":0,"body":"{}","proof":[]}`))
	f.Fuzz(func(t *testing.T, doc, receipt []byte) {
		var r Receipt
		if json.Unmarshal(receipt, &r) != nil {
			r = Receipt{}
		}
		if CheckReceipt(r) == nil {
			require.Less(t, r.Index, r.Size)
		}
		_, _ = VerifyBundle(doc, nil, r)
		_, _ = BundleObjects(doc)
	})
}

// FuzzCursor: what comes back from anybody as a cursor is one of ours, key by key, or refused.
func FuzzCursor(f *testing.F) {
	f.Add(cursor("2026-11-28", uuid.Nil.String()), 2)
	f.Add(cursor(uuid.Max.String()), 1)
	f.Add("WyJhIg", 1)
	f.Fuzz(func(t *testing.T, text string, n int) {
		keys, err := Page{After: text}.keys(n)
		if err != nil {
			require.ErrorIs(t, err, ErrInvalid)
			return
		}
		require.Len(t, keys, n)
		again, err := Page{After: cursor(keys...)}.keys(n)
		require.NoError(t, err)
		require.Equal(t, keys, again)
		if id, err := (Page{After: text}).afterID(firstID); err == nil && n == 1 {
			want, err := uuid.Parse(keys[0])
			require.NoError(t, err)
			require.Equal(t, want, id)
		}
	})
}
