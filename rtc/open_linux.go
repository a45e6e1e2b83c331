package rtc

import (
	"errors"
	"fmt"
	"time"

	"golang.org/x/sys/unix"
)

// worthArming is the shortest wait for which the update interrupt is switched
// on: doing so costs several transfers on a slow bus (estimate: 3 ms on I²C at
// 100 kHz), which would spoil a pass in a narrow window.
const worthArming = 20 * time.Millisecond

type kernelClock struct {
	path  string
	fd    int
	armed int // 0 not tried, 1 on, -1 not to be had
}

// Open opens the hardware clock at path, such as "/dev/rtc0". Reading needs the
// right to read the node only, no capability; setting needs CAP_SYS_TIME besides.
func Open(path string) (Device, error) {
	fd, err := unix.Open(path, unix.O_RDONLY|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, fmt.Errorf("rtc: open %s: %w", path, classed(err, false))
	}
	return &kernelClock{path: path, fd: fd}, nil
}

func (k *kernelClock) ReadTime() (Fields, error) {
	t, err := unix.IoctlGetRTCTime(k.fd)
	if err != nil {
		return Fields{}, fmt.Errorf("rtc: read %s: %w", k.path, classed(err, true))
	}
	return Fields{Sec: t.Sec, Min: t.Min, Hour: t.Hour, Day: t.Mday, Month: t.Mon, Year: t.Year}, nil
}

func (k *kernelClock) SetTime(f Fields) error {
	t := unix.RTCTime{Sec: f.Sec, Min: f.Min, Hour: f.Hour, Mday: f.Day, Mon: f.Month, Year: f.Year}
	if err := unix.IoctlSetRTCTime(k.fd, &t); err != nil {
		return fmt.Errorf("rtc: set %s: %w", k.path, classed(err, false))
	}
	return nil
}

// ReadFlags takes ENOTTY and EINVAL for "this driver cannot tell": both are in
// use for an ioctl that is not implemented.
func (k *kernelClock) ReadFlags() (Flags, bool, error) {
	v, err := unix.IoctlGetUint32(k.fd, unix.RTC_VL_READ)
	if errors.Is(err, unix.ENOTTY) || errors.Is(err, unix.EINVAL) {
		return 0, false, nil
	}
	if err != nil {
		return 0, false, fmt.Errorf("rtc: read flags of %s: %w", k.path, classed(err, false))
	}
	return Flags(v & 0x1f), true, nil
}

// Wait arms the update interrupt once, if d is worth it. A clock whose
// interrupt is not wired refuses, or accepts and never fires: both end as a
// plain wait.
func (k *kernelClock) Wait(d time.Duration) (bool, error) {
	if k.armed == 0 && d >= worthArming {
		k.armed = -1
		if unix.IoctlSetInt(k.fd, unix.RTC_UIE_ON, 0) == nil {
			k.armed = 1
		}
	}
	if k.armed != 1 || d < worthArming {
		time.Sleep(d)
		return false, nil
	}
	fds := []unix.PollFd{{Fd: int32(k.fd), Events: unix.POLLIN}}
	ts := unix.NsecToTimespec(int64(d))
	n, err := unix.Ppoll(fds, &ts, nil)
	if errors.Is(err, unix.EINTR) || err == nil && n == 0 {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("rtc: wait for %s: %w", k.path, classed(err, false))
	}
	var b [8]byte // an unsigned long: interrupt count and kind
	if _, err := unix.Read(k.fd, b[:]); err != nil {
		if errors.Is(err, unix.EAGAIN) || errors.Is(err, unix.EINTR) {
			return false, nil
		}
		return false, fmt.Errorf("rtc: wait for %s: %w", k.path, classed(err, false))
	}
	return true, nil
}

// Close takes the interrupt off again, though the kernel does so too.
func (k *kernelClock) Close() error {
	if k.armed == 1 {
		_ = unix.IoctlSetInt(k.fd, unix.RTC_UIE_OFF, 0)
	}
	if err := unix.Close(k.fd); err != nil {
		return fmt.Errorf("rtc: close %s: %w", k.path, err)
	}
	return nil
}
