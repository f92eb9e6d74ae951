//go:build !race

package inspection

// addressSpaceCounts says whether a limit on address space means anything.
const addressSpaceCounts = true
