package inspection

import (
	"fmt"
	"unsafe"

	"github.com/landlock-lsm/go-landlock/landlock"
	llsys "github.com/landlock-lsm/go-landlock/landlock/syscall"
	"golang.org/x/sys/unix"
)

// confine gives up, for this process and for good, whatever it does not need: files outside the folders given, and the
// network. It returns what is in force, for the log; what the kernel cannot do is named too.
func confine(read, write []string) []string {
	var force []string
	if abi, err := llsys.LandlockGetABIVersion(); err != nil || abi < 1 {
		force = append(force, "files: not confined, this kernel has no Landlock")
	} else if err := landlock.V5.BestEffort().Restrict(landlock.RODirs(read...), landlock.RWDirs(write...)); err != nil {
		force = append(force, "files: not confined: "+err.Error())
	} else {
		force = append(force, fmt.Sprintf("files: Landlock ABI %d", abi))
	}
	if err := denySockets(); err != nil {
		force = append(force, "network: not closed: "+err.Error())
	} else {
		force = append(force, "network: closed by seccomp")
	}
	return force
}

// denySockets makes socket, connect, ptrace and the like fail with EPERM on every thread. The program is classic BPF over
// struct seccomp_data (seccomp(2)): its first word is the system call's number.
func denySockets() error {
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return fmt.Errorf("no_new_privs: %w", err)
	}
	denied := []uint32{
		unix.SYS_SOCKET, unix.SYS_SOCKETPAIR, unix.SYS_CONNECT, unix.SYS_BIND, unix.SYS_LISTEN, unix.SYS_SENDTO,
		unix.SYS_PTRACE, unix.SYS_PROCESS_VM_READV, unix.SYS_EXECVE, unix.SYS_EXECVEAT, unix.SYS_IO_URING_SETUP,
	}
	const load, equal, give = unix.BPF_LD | unix.BPF_W | unix.BPF_ABS, unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K, unix.BPF_RET | unix.BPF_K
	prog := []unix.SockFilter{{Code: load, K: 0}}
	for i, nr := range denied {
		// On a match jump over the remaining tests and the "allow" that ends them.
		prog = append(prog, unix.SockFilter{Code: equal, Jt: uint8(len(denied) - i), K: nr})
	}
	prog = append(prog,
		unix.SockFilter{Code: give, K: unix.SECCOMP_RET_ALLOW},
		unix.SockFilter{Code: give, K: unix.SECCOMP_RET_ERRNO | uint32(unix.EPERM)})
	fprog := unix.SockFprog{Len: uint16(len(prog)), Filter: &prog[0]}
	_, _, errno := unix.Syscall(unix.SYS_SECCOMP, unix.SECCOMP_SET_MODE_FILTER, unix.SECCOMP_FILTER_FLAG_TSYNC, uintptr(unsafe.Pointer(&fprog)))
	if errno != 0 {
		return fmt.Errorf("seccomp: %w", errno)
	}
	return nil
}
