package hostclock

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// WatchSteps calls stepped at once whenever anything sets the system clock
// discontinuously: another program, a leap second, a resume from suspend. It
// does not see a slew. It blocks until ctx ends (then nil) or the kernel
// refuses (then the error), and wakes up only for a step. stepped runs in the
// caller's goroutine.
//
// The means is a timer that lies far in the future and is cancelled when the
// clock is set (TFD_TIMER_CANCEL_ON_SET, timerfd_create(2)).
func WatchSteps(ctx context.Context, stepped func()) error {
	fd, err := unix.TimerfdCreate(unix.CLOCK_REALTIME, unix.TFD_CLOEXEC|unix.TFD_NONBLOCK)
	if err != nil {
		return fmt.Errorf("hostclock: create timer: %w", err)
	}
	// A non-blocking descriptor in an os.File waits in the runtime's poller,
	// so that no thread is held and a deadline wakes the reader. (Closing
	// instead could let arm meet another descriptor of the same number.)
	f := os.NewFile(uintptr(fd), "timerfd")
	defer f.Close()
	stop := context.AfterFunc(ctx, func() { f.SetReadDeadline(time.Unix(1, 0)) })
	defer stop()
	wait := func() error {
		var expirations [8]byte
		_, err := f.Read(expirations[:])
		return err
	}
	return watch(ctx, func() error { return arm(fd) }, wait, stepped)
}

// watch is the loop of WatchSteps over its two system calls.
func watch(ctx context.Context, arm, wait func() error, stepped func()) error {
	for {
		// The timer is armed again each time: it may have expired. Arming
		// says ECANCELED too, when the clock was set since the last read.
		err := arm()
		if err == nil {
			err = wait()
		}
		switch {
		case ctx.Err() != nil:
			return nil
		case errors.Is(err, unix.ECANCELED):
			stepped()
		case err != nil:
			return fmt.Errorf("hostclock: wait for a step of the clock: %w", err)
		}
	}
}

// farAhead is when the timer would expire: ten years on, in seconds. It only
// has to be rare.
const farAhead = 10 * 365 * 86400

func arm(fd int) error {
	spec := struct{ interval, value timespec64 }{}
	spec.value.sec = read(clockReal)/1e9 + farAhead
	_, _, errno := unix.RawSyscall6(sysTimerfdSettime, uintptr(fd),
		unix.TFD_TIMER_ABSTIME|unix.TFD_TIMER_CANCEL_ON_SET, uintptr(unsafe.Pointer(&spec)), 0, 0, 0)
	if errno != 0 {
		return errno
	}
	return nil
}
