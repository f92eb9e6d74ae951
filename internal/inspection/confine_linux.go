package inspection

import (
	"errors"
	"fmt"
	"os"
	"runtime"
	"slices"
	"unsafe"

	"github.com/landlock-lsm/go-landlock/landlock"
	llsys "github.com/landlock-lsm/go-landlock/landlock/syscall"
	"golang.org/x/sys/unix"
)

// leave is what may be done where the evidence goes: plain files made, written and read. No links, folders, sockets, and
// nothing is moved or taken away, so that what was written stays where it is counted.
const leave = llsys.AccessFSReadFile | llsys.AccessFSReadDir | llsys.AccessFSWriteFile | llsys.AccessFSMakeReg | llsys.AccessFSTruncate

// confine gives up, for this process and for good, whatever it does not need: files outside the folders given, the
// network, other processes. It returns what is in force, for the log; what the kernel cannot do is named too.
func confine(read, write []string) []string {
	var force []string
	if abi, err := llsys.LandlockGetABIVersion(); err != nil || abi < 1 {
		force = append(force, "files: not confined, this kernel has no Landlock")
	} else if err := landlock.V5.BestEffort().Restrict(landlock.RODirs(read...), landlock.PathAccess(leave, write...)); err != nil {
		force = append(force, "files: not confined: "+err.Error())
	} else {
		force = append(force, fmt.Sprintf("files: Landlock ABI %d", abi))
	}
	if err := denyCalls(); err != nil {
		force = append(force, "network and processes: not closed: "+err.Error())
	} else {
		force = append(force, "network and processes: closed by seccomp")
	}
	return force
}

// deniedCalls are the system calls of every architecture that an inspection never needs: network, other processes, other
// programs, the machine's own settings, and what Landlock leaves open (owner, mode, times and attributes of files).
var deniedCalls = []uint32{
	unix.SYS_SOCKET, unix.SYS_SOCKETPAIR, unix.SYS_CONNECT, unix.SYS_BIND, unix.SYS_LISTEN, unix.SYS_ACCEPT, unix.SYS_ACCEPT4,
	unix.SYS_SENDTO, unix.SYS_SENDMSG, unix.SYS_SENDMMSG,
	unix.SYS_EXECVE, unix.SYS_EXECVEAT, unix.SYS_UNSHARE, unix.SYS_SETNS,
	unix.SYS_PTRACE, unix.SYS_PROCESS_VM_READV, unix.SYS_PROCESS_VM_WRITEV, unix.SYS_KILL, unix.SYS_TKILL,
	unix.SYS_RT_SIGQUEUEINFO, unix.SYS_RT_TGSIGQUEUEINFO, unix.SYS_PIDFD_OPEN, unix.SYS_PIDFD_GETFD, unix.SYS_PIDFD_SEND_SIGNAL,
	unix.SYS_PRLIMIT64, unix.SYS_SETRLIMIT,
	unix.SYS_MOUNT, unix.SYS_UMOUNT2, unix.SYS_PIVOT_ROOT, unix.SYS_CHROOT, unix.SYS_MOVE_MOUNT, unix.SYS_OPEN_TREE, unix.SYS_FSOPEN,
	unix.SYS_OPEN_BY_HANDLE_AT, unix.SYS_IO_URING_SETUP, unix.SYS_BPF, unix.SYS_PERF_EVENT_OPEN, unix.SYS_USERFAULTFD,
	unix.SYS_KEYCTL, unix.SYS_ADD_KEY, unix.SYS_REQUEST_KEY, unix.SYS_INIT_MODULE, unix.SYS_FINIT_MODULE, unix.SYS_DELETE_MODULE,
	unix.SYS_KEXEC_LOAD, unix.SYS_REBOOT, unix.SYS_SWAPON, unix.SYS_SWAPOFF, unix.SYS_SETTIMEOFDAY, unix.SYS_CLOCK_SETTIME,
	unix.SYS_SETHOSTNAME, unix.SYS_FCHMODAT, unix.SYS_FCHMOD, unix.SYS_FCHOWNAT, unix.SYS_FCHOWN, unix.SYS_UTIMENSAT,
	unix.SYS_FALLOCATE, unix.SYS_SETXATTR, unix.SYS_LSETXATTR, unix.SYS_FSETXATTR, unix.SYS_REMOVEXATTR, unix.SYS_LREMOVEXATTR, unix.SYS_FREMOVEXATTR,
}

// Places in struct seccomp_data (seccomp(2)); the low word of an argument comes first on little-endian machines.
const (
	seccompNr   = 0
	seccompArch = 4
	seccompArg0 = 16
)

// denyCalls makes the denied calls fail with EPERM on every thread. New threads may be started and signalled, new
// processes may not.
func denyCalls() error {
	if nativeArch == 0 {
		return errors.New("there is no filter for this kind of processor")
	}
	runtime.LockOSThread() // the first call counts for this thread, the second hands it on to all
	defer runtime.UnlockOSThread()
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return fmt.Errorf("no_new_privs: %w", err)
	}
	prog := filter(slices.Concat(deniedCalls, archDeniedCalls), uint32(os.Getpid()))
	fprog := unix.SockFprog{Len: uint16(len(prog)), Filter: &prog[0]}
	_, _, errno := unix.Syscall(unix.SYS_SECCOMP, unix.SECCOMP_SET_MODE_FILTER, unix.SECCOMP_FILTER_FLAG_TSYNC, uintptr(unsafe.Pointer(&fprog)))
	if errno != 0 {
		return fmt.Errorf("seccomp: %w", errno)
	}
	return nil
}

// filter writes the program in classic BPF. A test jumps over the next Jt instructions where it holds, over Jf where not.
func filter(denied []uint32, pid uint32) []unix.SockFilter {
	const (
		load  = unix.BPF_LD | unix.BPF_W | unix.BPF_ABS
		equal = unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K
		atMin = unix.BPF_JMP | unix.BPF_JGE | unix.BPF_K
		bits  = unix.BPF_JMP | unix.BPF_JSET | unix.BPF_K
		give  = unix.BPF_RET | unix.BPF_K
	)
	allow := unix.SockFilter{Code: give, K: unix.SECCOMP_RET_ALLOW}
	deny := unix.SockFilter{Code: give, K: unix.SECCOMP_RET_ERRNO | uint32(unix.EPERM)}
	prog := []unix.SockFilter{
		{Code: load, K: seccompArch},
		{Code: equal, Jt: 1, K: nativeArch}, // the calls of another architecture have other numbers
		deny,
		{Code: load, K: seccompNr},
		{Code: atMin, Jf: 1, K: foreignCallsFrom},
		deny,
	}
	for _, nr := range denied {
		prog = append(prog, unix.SockFilter{Code: equal, Jf: 1, K: nr}, deny)
	}
	return append(prog,
		// Its flags lie in memory that a filter cannot see; told that there is no such call, the C library takes the old one.
		unix.SockFilter{Code: equal, Jf: 1, K: unix.SYS_CLONE3},
		unix.SockFilter{Code: give, K: unix.SECCOMP_RET_ERRNO | uint32(unix.ENOSYS)},
		unix.SockFilter{Code: equal, Jf: 4, K: unix.SYS_CLONE},
		unix.SockFilter{Code: load, K: seccompArg0},
		unix.SockFilter{Code: bits, Jf: 1, K: unix.CLONE_THREAD},
		allow, deny,
		unix.SockFilter{Code: equal, Jf: 4, K: unix.SYS_TGKILL}, // how Go's runtime interrupts its own threads
		unix.SockFilter{Code: load, K: seccompArg0},
		unix.SockFilter{Code: equal, Jf: 1, K: pid},
		allow, deny,
		allow)
}
