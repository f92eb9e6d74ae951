package ledger

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"
	"sync/atomic"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
)

// Argon2id by RFC 9106, section 4, second recommended option (64 MiB, 3 passes), with one lane, since logins are rare
// and cores are for inspections.
const (
	argonLanes = 1
	argonKey   = 32
	argonSalt  = 16

	passwordMin = 12
	passwordMax = 1024 // bytes: more only costs us time
)

// argonCost is what one hash costs: passes, and KiB of memory.
type argonCost struct{ time, memory uint32 }

// fullCost is that of every password of a service, cheapCost that of the tests' own.
var fullCost, cheapCost = argonCost{time: 3, memory: 64 << 10}, argonCost{time: 1, memory: 64}

// cheap says that this process makes hashes of cheapCost.
var cheap atomic.Bool

// CheapPasswords makes this process's new hashes cost next to nothing, or again what they must. It is for tests, which make
// people by the hundred: ledgertest alone calls it, and a test holds that no program has ledgertest in it. What is stored says
// itself what it cost, so both kinds are checked alike.
func CheapPasswords(yes bool) { cheap.Store(yes) }

func costNow() argonCost {
	if cheap.Load() {
		return cheapCost
	}
	return fullCost
}

// argonSlots bounds the memory of simultaneous logins to 4 × 64 MiB.
var argonSlots = make(chan struct{}, 4)

func argonID(password string, salt []byte, time, memory uint32, lanes uint8, length uint32) []byte {
	argonSlots <- struct{}{}
	defer func() { <-argonSlots }()
	return argon2.IDKey([]byte(password), salt, time, memory, lanes, length)
}

func hashPassword(password string) (string, error) {
	if n := utf8.RuneCountInString(password); n < passwordMin {
		return "", invalid("password", "has %d characters, needs %d at least", n, passwordMin)
	}
	if len(password) > passwordMax {
		return "", invalid("password", "is longer than %d bytes", passwordMax)
	}
	if common(password) {
		return "", invalid("password", "is one of those that are tried first: choose a sentence of your own, or have your browser make one")
	}
	salt, cost := randomBytes(argonSalt), costNow()
	return cost.encode(salt, argonID(password, salt, cost.time, cost.memory, argonLanes, argonKey)), nil
}

// encode is the usual text of a hash, as the reference program of Argon2 writes it.
func (c argonCost) encode(salt, key []byte) string {
	b64 := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, c.memory, c.time, argonLanes, b64(salt), b64(key))
}

// decoy costs the same as a real hash: an unknown e-mail must not answer sooner. No password has it.
func decoy() string { return costNow().encode(make([]byte, argonSalt), make([]byte, argonKey)) }

func checkPassword(encoded, password string) bool {
	var version int
	var memory, time uint32
	var lanes uint8
	fields := strings.Split(encoded, "$")
	if len(fields) != 6 || fields[1] != "argon2id" {
		return false
	}
	if _, err := fmt.Sscanf(fields[2], "v=%d", &version); err != nil || version != argon2.Version {
		return false
	}
	if _, err := fmt.Sscanf(fields[3], "m=%d,t=%d,p=%d", &memory, &time, &lanes); err != nil {
		return false
	}
	salt, errSalt := base64.RawStdEncoding.DecodeString(fields[4])
	key, errKey := base64.RawStdEncoding.DecodeString(fields[5])
	if errSalt != nil || errKey != nil || len(password) > passwordMax {
		return false
	}
	got := argonID(password, salt, time, memory, lanes, uint32(len(key)))
	return subtle.ConstantTimeCompare(got, key) == 1
}

// newSecret is 32 random bytes in text, with a prefix that tells a leak scanner what it found. What is stored is its
// SHA-256: the secret has full entropy, so a slow hash would add nothing.
func newSecret(prefix string) (secret string, hash []byte) {
	secret = prefix + base64.RawURLEncoding.EncodeToString(randomBytes(32))
	return secret, hashSecret(secret)
}

func hashSecret(secret string) []byte {
	sum := sha256.Sum256([]byte(secret))
	return sum[:]
}

func randomBytes(n int) []byte {
	b := make([]byte, n)
	rand.Read(b) // never fails (crypto/rand)
	return b
}

func normalEmail(email string) string { return strings.ToLower(strings.TrimSpace(email)) }
