package desk

import "proofhouse/internal/acceptance/words"

// Usage says what the program does and how it is called.
func Usage(said *words.Language) string { return said.Say("desk.usage") }

// NoCommand says that a command is unknown, and which was probably meant.
func NoCommand(said *words.Language, name string, commands ...string) string {
	if near := Nearest(name, commands); near != "" {
		return said.Say("desk.no_command_near", words.Name(name), words.Name(near))
	}
	return said.Say("desk.no_command", words.Name(name))
}

// Nearest is the word that was probably meant: the one with the fewest slips (letters added, left out, changed, or two
// swapped) where that is at most a third of its letters, and the first of several. "" where none is near.
func Nearest(word string, words []string) string {
	best, fewest := "", len(word)
	for _, w := range words {
		n := slips([]rune(word), []rune(w))
		if n < fewest && 3*n <= max(len(w), 3) {
			best, fewest = w, n
		}
	}
	return best
}

// slips counts the edits between two words: optimal string alignment (Damerau 1964 with each letter edited once).
func slips(a, b []rune) int {
	before, last, now := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		now[0] = i
		for j := 1; j <= len(b); j++ {
			change := 1
			if a[i-1] == b[j-1] {
				change = 0
			}
			now[j] = min(last[j]+1, now[j-1]+1, last[j-1]+change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				now[j] = min(now[j], before[j-2]+1)
			}
		}
		before, last, now = last, now, before
	}
	return last[len(b)]
}
