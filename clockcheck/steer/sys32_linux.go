//go:build 386 || arm

package steer

// clock_adjtime64 of 32-bit kernels, the same number on both architectures (Linux 5.1,
// arch/arm/tools/syscall.tbl and arch/x86/entry/syscalls). Older ones lack it: then
// the clock is not steered, for their old call ends in 2038.
const sysClockAdjtime = 405
