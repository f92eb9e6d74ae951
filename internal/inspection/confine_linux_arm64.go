package inspection

import "golang.org/x/sys/unix"

const (
	nativeArch       = unix.AUDIT_ARCH_AARCH64
	foreignCallsFrom = 0xffffffff // none
)

var archDeniedCalls = []uint32{unix.SYS_KEXEC_FILE_LOAD}
