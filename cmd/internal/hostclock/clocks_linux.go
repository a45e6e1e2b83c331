package hostclock

import (
	"unsafe"

	"golang.org/x/sys/unix"
)

const (
	clockReal = unix.CLOCK_REALTIME
	clockMono = unix.CLOCK_MONOTONIC
	clockRaw  = unix.CLOCK_MONOTONIC_RAW
	clockBoot = unix.CLOCK_BOOTTIME
)

// timespec64 is struct __kernel_timespec: 64 bits each on every architecture.
type timespec64 struct{ sec, nsec int64 }

// read returns the reading of a clock in nanoseconds. The raw system call is
// used because the Go scheduler must not come between two reads of a bracket,
// and the 64-bit one because the old call of 32-bit kernels ends in 2038.
func read(clock uintptr) int64 {
	var ts timespec64
	_, _, errno := unix.RawSyscall(sysClockGettime, clock, uintptr(unsafe.Pointer(&ts)), 0)
	if errno != 0 {
		return readOld(clock)
	}
	return ts.sec*1e9 + ts.nsec
}

// readOld serves 32-bit kernels before 5.1, which lack the 64-bit call. The
// four clocks exist since Linux 2.6.39, so that it cannot fail.
func readOld(clock uintptr) int64 {
	var ts unix.Timespec
	if err := unix.ClockGettime(int32(clock), &ts); err != nil {
		panic("hostclock: clock_gettime: " + err.Error())
	}
	return ts.Nano()
}
