//go:build !full

package surface

import (
	"flag"
	"os"
	"testing"
)

// TestMain lets property tests draw a twelfth of what the full run draws: the inner loop must stay short, and each draw
// here measures whole surfaces. RAPID_CHECKS and -rapid.checks say otherwise.
func TestMain(m *testing.M) {
	if os.Getenv("RAPID_CHECKS") == "" {
		_ = flag.Set("rapid.checks", "8")
	}
	os.Exit(m.Run())
}
