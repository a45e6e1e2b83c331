//go:build !386 && !arm

package status

import "golang.org/x/sys/unix"

// gettime reads one of the kernel's clocks, nanoseconds.
func gettime(clock int32) (int64, error) {
	var ts unix.Timespec
	err := unix.ClockGettime(clock, &ts)
	return ts.Nano(), err
}
