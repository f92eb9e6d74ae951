package ledger

import (
	_ "embed"
	"slices"
	"strings"
	"unicode"
)

// commonPasswords are the 49,233 most common passwords of published leaks, one a line in small letters: the list of
// @zxcvbn-ts/language-common 4.1.3 (npm, MIT licence), whole. A test with the tag full compares it with the package's.
//
//go:embed common/passwords.txt
var commonPasswords string

// commonUnit is how long a piece may be that a password only repeats.
const commonUnit = 4

// common says whether a password is one that guessers try first: one of the list (OWASP ASVS 4.0.3, 2.1.7), one of it with digits and
// signs around or said twice, a few characters over and over, or the keys of a row in turn. All but the first are ours: of twelve
// characters and more the list itself has but 308.
func common(password string) bool {
	lower := strings.ToLower(password)
	bare := strings.TrimFunc(lower, func(r rune) bool { return !unicode.IsLetter(r) })
	half := len(bare) / 2
	return listed(lower) || listed(bare) || (bare[:half] == bare[half:] && listed(bare[:half])) || overAndOver([]rune(lower)) || inTurn([]rune(lower))
}

func listed(word string) bool {
	return word != "" && !strings.Contains(word, "\n") && (strings.Contains(commonPasswords, "\n"+word+"\n") || strings.HasPrefix(commonPasswords, word+"\n"))
}

// overAndOver says whether the first few characters are repeated to the end.
func overAndOver(word []rune) bool {
	for n := 1; n <= commonUnit && 2*n <= len(word); n++ {
		if slices.Equal(word[n:], word[:len(word)-n]) {
			return true
		}
	}
	return false
}

// inTurn says whether every character is the next, or the one before, of letters or digits: after 9 comes 0, after z comes a.
func inTurn(word []rune) bool {
	next := func(a, b rune) bool { return b == a+1 || (a == '9' && b == '0') || (a == 'z' && b == 'a') }
	up, down := len(word) > 1, len(word) > 1
	for i := 1; i < len(word); i++ {
		up, down = up && next(word[i-1], word[i]), down && next(word[i], word[i-1])
	}
	return up || down
}
