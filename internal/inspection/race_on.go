//go:build race

package inspection

// addressSpaceCounts says whether a limit on address space means anything: the race detector reserves terabytes.
const addressSpaceCounts = false
