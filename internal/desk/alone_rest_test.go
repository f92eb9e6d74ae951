//go:build !linux

package desk

// runAlone needs Linux; nothing calls it elsewhere.
func runAlone([]string) int { return 99 }
