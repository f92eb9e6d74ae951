package ledger

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestCommonPasswordsAreRefused(t *testing.T) {
	t.Parallel()
	for _, bad := range []string{
		"123qweasdzxc", "1qaz2wsx3edc4rfv", // listed as they are
		"Administrator", "UNBELIEVABLE", // in any letters
		"Password2026!", "2026-lighthouse", "iloveyou!!!!", "qwerty-123456", // with digits and signs around
		"dragondragon", "Monkeymonkey1", // twice
		"aaaaaaaaaaaa", "abcabcabcabc", "12341234123412", "äöäöäöäöäöäö", // over and over
		"abcdefghijklm", "123456789012", "987654321098", "zyxwvutsrqpo", // in turn
		"password\npassword\n"[:8] + "1234", // no line of the list by a trick
	} {
		_, err := hashPassword(bad)
		require.ErrorIs(t, err, ErrInvalid, bad)
		require.ErrorContains(t, err, "tried first", bad)
	}
	for _, good := range []string{
		"a long sentence of the tests", "grey gulls over the quay", "correct-lantern-rope-9", "739201846205", "Möwen über dem Kai", "aéaéaéaéaéaù",
		"abcdefghijkm", "harbourlantern", "password\npassword\nx", strings.Repeat("x", 11) + "y",
	} {
		_, err := hashPassword(good)
		require.NoError(t, err, good)
	}
	for _, odd := range []string{"", "\n", "x", "é", "\xff\xfe"} {
		common(odd) // nothing of it ends the program
	}
	require.Equal(t, 49_233, strings.Count(commonPasswords, "\n"))
	require.Equal(t, strings.ToLower(commonPasswords), commonPasswords)
}
