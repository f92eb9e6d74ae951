package ledger

import (
	"encoding/base64"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/argon2"
)

// A service's hashes cost what RFC 9106, section 4, recommends second: 64 MiB in 3 passes; and the decoy costs the same. Other tests
// here make cheap ones, so this one may not run beside them.
func TestPasswordsCostWhatTheyMust(t *testing.T) {
	CheapPasswords(false)
	defer CheapPasswords(true)
	const password, want = "a long sentence of the tests", "$argon2id$v=19$m=65536,t=3,p=1$"
	began := time.Now()
	hash, err := hashPassword(password)
	require.NoError(t, err)
	full := time.Since(began)
	require.True(t, strings.HasPrefix(hash, want), hash)
	require.True(t, strings.HasPrefix(decoy(), want), decoy())
	require.Len(t, decoy(), len(hash))
	field := strings.Split(hash, "$")
	salt, err := base64.RawStdEncoding.DecodeString(field[4])
	require.NoError(t, err)
	require.Len(t, salt, 16)
	require.Equal(t, base64.RawStdEncoding.EncodeToString(argon2.IDKey([]byte(password), salt, 3, 64<<10, 1, 32)), field[5])

	CheapPasswords(true)
	require.True(t, checkPassword(hash, password), "a full hash is checked at its own cost")
	require.False(t, checkPassword(hash, password+"."))
	require.False(t, checkPassword(decoy(), password))
	began = time.Now()
	_, err = hashPassword(password)
	require.NoError(t, err)
	require.Less(t, time.Since(began), full, "the tests' hashes are the cheap ones")
}
