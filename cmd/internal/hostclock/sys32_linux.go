//go:build 386 || arm

package hostclock

// The 64-bit calls of 32-bit kernels, the same numbers on both architectures
// (Linux 5.1, arch/arm/tools/syscall.tbl and arch/x86/entry/syscalls).
const (
	sysClockGettime   = 403
	sysTimerfdSettime = 411
)
