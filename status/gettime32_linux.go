//go:build 386 || arm

package status

import (
	"unsafe"

	"golang.org/x/sys/unix"
)

// sysClockGettime64 is the call whose seconds do not end in 2038 (Linux 5.1,
// arch/arm/tools/syscall.tbl and arch/x86/entry/syscalls).
const sysClockGettime64 = 403

// gettime reads one of the kernel's clocks, nanoseconds.
func gettime(clock int32) (int64, error) {
	var ts struct{ sec, nsec int64 }
	if _, _, errno := unix.Syscall(sysClockGettime64, uintptr(clock), uintptr(unsafe.Pointer(&ts)), 0); errno == 0 {
		return ts.sec*1e9 + ts.nsec, nil
	}
	var old unix.Timespec // a kernel before 5.1
	err := unix.ClockGettime(clock, &old)
	return old.Nano(), err
}
