//go:build full

package arrows

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A release's digests are signed by a key of the releaser's own: RFC 8032, checked by another library than the one that signs.
func TestReleasesAreSigned(t *testing.T) {
	t.Parallel()
	public, private, err := ed25519.GenerateKey(rand.Reader)
	require.NoError(t, err)
	der, err := x509.MarshalPKCS8PrivateKey(private)
	require.NoError(t, err)
	dir := t.TempDir()
	key, sums := filepath.Join(dir, "release.key"), filepath.Join(dir, "SHA256SUMS")
	require.NoError(t, os.WriteFile(key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600))
	text := []byte("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855  proofhouse-worker-linux-amd64\n")
	require.NoError(t, os.WriteFile(sums, text, 0o600))
	sign := exec.Command(filepath.Join("..", "..", "scripts", "release"), "sign", dir)
	sign.Env = append(os.Environ(), "RELEASE_KEY="+key)
	out, err := sign.CombinedOutput()
	require.NoError(t, err, string(out))
	signature, err := os.ReadFile(sums + ".sig")
	require.NoError(t, err)
	require.True(t, ed25519.Verify(public, text, signature))
	require.False(t, ed25519.Verify(public, append(text, '\n'), signature))
	require.Error(t, exec.Command(sign.Path, "sign", dir).Run(), "without a key nothing is called signed")
}
