package inspection

import "golang.org/x/sys/unix"

const (
	nativeArch = unix.AUDIT_ARCH_X86_64
	// foreignCallsFrom is the first number of the x32 calls, which share the architecture's mark (x32, asm/unistd.h).
	foreignCallsFrom = 0x40000000
)

var archDeniedCalls = []uint32{
	unix.SYS_FORK, unix.SYS_VFORK, unix.SYS_KEXEC_FILE_LOAD, unix.SYS_CHMOD, unix.SYS_CHOWN, unix.SYS_LCHOWN, unix.SYS_UTIME, unix.SYS_UTIMES,
	unix.SYS_FUTIMESAT, unix.SYS_IOPL, unix.SYS_IOPERM,
}
