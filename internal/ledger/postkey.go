package ledger

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/uuid"
)

// PostKey seals the secrets of hooks and of log-in providers, which rest in the database, and makes the links that mails carry, which rest nowhere:
// a link's secret is worked out from its id when the mail is made. All processes of a service share one key.
type PostKey struct{ key [32]byte }

// ErrNoPost says that this service has no key to send with.
var ErrNoPost = errors.New("this service sends nothing")

// Known says whether there is a key.
func (k PostKey) Known() bool { return k != PostKey{} }

// ParsePostKey reads a key: 32 random bytes in base64, as `openssl rand -base64 32` makes them.
func ParsePostKey(text string) (PostKey, error) {
	var k PostKey
	raw, err := base64.StdEncoding.DecodeString(strings.TrimSpace(text))
	if err != nil || len(raw) != len(k.key) {
		return k, errors.New("it is not 32 bytes in base64") // never what it is
	}
	copy(k.key[:], raw)
	if !k.Known() {
		return k, errors.New("it is all zeros")
	}
	return k, nil
}

// PostKeyFile reads a key's text from a file that its owner alone can read, and makes it on first use.
func PostKeyFile(path string) (string, error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		if err := makePostKey(path); err != nil && !errors.Is(err, fs.ErrExist) {
			return "", fmt.Errorf("make the key file: %w", err)
		}
		b, err = os.ReadFile(path)
	}
	if err != nil {
		return "", fmt.Errorf("key file: %w", err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm()&0o077 != 0 {
		return "", fmt.Errorf("key file %s: others may read it: make it 0600", path)
	}
	return string(b), nil
}

// makePostKey puts the file in place whole, so that of two processes that make one the first wins.
func makePostKey(path string) error {
	tmp, err := os.CreateTemp(filepath.Dir(path), ".post-") // mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name())
	if _, err := tmp.WriteString(base64.StdEncoding.EncodeToString(randomBytes(32)) + "\n"); err != nil {
		tmp.Close()
		return err
	}
	if err := tmp.Close(); err != nil {
		return err
	}
	return os.Link(tmp.Name(), path)
}

// derive is a key or secret for one purpose and id.
func (k PostKey) derive(purpose string, id uuid.UUID) []byte {
	mac := hmac.New(sha256.New, k.key[:])
	mac.Write([]byte("proofhouse/" + purpose + "\x00"))
	mac.Write(id[:])
	return mac.Sum(nil)
}

// link is the secret of a one-time link, and the hash that is stored of it.
func (k PostKey) link(prefix string, id uuid.UUID) (secret string, hash []byte) {
	secret = prefix + base64.RawURLEncoding.EncodeToString(k.derive("link "+prefix, id))
	return secret, hashSecret(secret)
}

func (k PostKey) aead(id uuid.UUID) (cipher.AEAD, error) {
	block, err := aes.NewCipher(k.derive("seal", id))
	if err != nil {
		return nil, err
	}
	return cipher.NewGCM(block)
}

// seal encrypts what belongs to id (AES-256-GCM, NIST SP 800-38D): what is moved to another row does not open there.
func (k PostKey) seal(id uuid.UUID, plain []byte) ([]byte, error) {
	if !k.Known() {
		return nil, ErrNoPost
	}
	aead, err := k.aead(id)
	if err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	nonce := randomBytes(aead.NonceSize())
	return aead.Seal(nonce, nonce, plain, id[:]), nil
}

func (k PostKey) open(id uuid.UUID, sealed []byte) ([]byte, error) {
	aead, err := k.aead(id)
	if err != nil {
		return nil, fmt.Errorf("open: %w", err)
	}
	if len(sealed) < aead.NonceSize() {
		return nil, errors.New("open: it is too short")
	}
	plain, err := aead.Open(nil, sealed[:aead.NonceSize()], sealed[aead.NonceSize():], id[:])
	if err != nil {
		return nil, errors.New("open: it was sealed with another key")
	}
	return plain, nil
}
