//go:build linux && !amd64 && !arm64

package inspection

// No filter: only Landlock holds on other processors.
const (
	nativeArch       = 0
	foreignCallsFrom = 0xffffffff
)

var archDeniedCalls []uint32
