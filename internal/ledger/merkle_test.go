package ledger

import (
	"encoding/hex"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"
)

// TestPublishedTreeRoots appends the eight leaves of the test vectors that Certificate Transparency implementations
// share (google/certificate-transparency, merkletree tests; also transparency-dev/merkle, testonly) and compares every
// root. Appending reads nothing but the frontier, as in the database.
func TestPublishedTreeRoots(t *testing.T) {
	leaves := []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	roots := []string{
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
	require.Equal(t, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855", hex.EncodeToString(emptyRoot[:]))
	all := hashMap{}
	for n, leaf := range leaves {
		only := hashMap{} // what readFrontier would find
		for _, idx := range frontier(int64(n)) {
			only[idx] = all[idx]
		}
		h := &house{before: int64(n), size: int64(n), hashes: only}
		body, err := hex.DecodeString(leaf)
		require.NoError(t, err)
		idx, err := h.add(body)
		require.NoError(t, err)
		require.EqualValues(t, n, idx)
		root, err := tlog.TreeHash(h.size, h.hashes)
		require.NoError(t, err)
		require.Equal(t, roots[n], hex.EncodeToString(root[:]), "%d leaves", n+1)
		for idx, x := range h.hashes {
			all[idx] = x
		}
	}
}
