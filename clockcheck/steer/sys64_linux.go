//go:build amd64 || arm64 || loong64 || ppc64le || riscv64 || s390x

package steer

import "golang.org/x/sys/unix"

const sysClockAdjtime = unix.SYS_CLOCK_ADJTIME
