//go:build amd64 || arm64 || loong64 || ppc64le || riscv64 || s390x

package hostclock

import "golang.org/x/sys/unix"

const (
	sysClockGettime   = unix.SYS_CLOCK_GETTIME
	sysTimerfdSettime = unix.SYS_TIMERFD_SETTIME
)
