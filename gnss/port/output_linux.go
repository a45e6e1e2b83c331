package port

import (
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Nothing is ever sent to a port. This program writes nothing, but the kernel
// does: until a terminal line is raw it echoes what comes in, and a line that was
// never opened since the start of the system is not raw. The echo would go out to
// the receiver, and a close would wait for it to drain, 30 s by default, in
// which no signal but SIGKILL ends the process (Linux, tty_port_close_start).
//
// So, right after the opening:
//   - output is held (TCOOFF), by the very first call. A built-in line held in this way
//     sends nothing, whatever program turns the echo on later, and the kernel drops what is
//     left in the driver when the last descriptor closes, even that of a killed process.
//     USB adapters know no such hold (Linux 6.1, an emulated FTDI): there the very first call
//     switches the echo off instead, and each burst is followed by a look whether somebody
//     has switched it on again (keepRaw);
//   - once the line is raw, both directions are flushed: the kernel's input, its
//     echo, and the driver's output;
//   - the time that a close waits for output is set to none, where that may be done
//     (it takes CAP_SYS_ADMIN).
//
// What cannot be prevented: what comes in before the kernel's own opening ends is echoed, if nothing has
// opened the line since the start of the system: only then does the kernel's own setting,
// which echoes, hold (tty_init_termios keeps what the last user set). A USB driver begins to read before it
// raises DTR and RTS, which is a transfer to the adapter (tty_port_open): for that time, a millisecond or so, no program
// has a descriptor. On a wire of 9600 bit/s that is a byte or two; of a receiver that keeps what nobody
// reads, all that it kept.

// openHeld opens a line and holds its output before anything else happens in this process.
//
// A call by the runtime gives the processor away while it waits, and gets it back when
// another goroutine is done, some milliseconds later: several bytes. So where the kernel's
// opening cannot wait, both calls are raw. It can at the other end of a USB cable, where
// no byte comes in so soon either.
func openHeld(path string) (fd int, err error) {
	const flags = unix.O_RDWR | unix.O_NOCTTY | unix.O_NONBLOCK | unix.O_CLOEXEC
	if !opensAtOnce(path) {
		return openMute(path, flags)
	}
	name, err := unix.BytePtrFromString(path)
	if err != nil {
		return -1, err
	}
	// Once in vain: then the program's pages that this takes are in memory.
	holdRaw(^uintptr(0))
	at := unix.AT_FDCWD
	for {
		n, _, errno := unix.RawSyscall6(unix.SYS_OPENAT, uintptr(at), uintptr(unsafe.Pointer(name)), flags, 0, 0, 0)
		switch errno {
		case 0:
			holdRaw(n)
			dropOutput(int(n))
			return int(n), nil
		case unix.EINTR:
		default:
			return -1, errno
		}
	}
}

// openMute opens a line that may know no hold: the echo goes off by the very first call after the
// opening. The kernel lets no byte through while it changes that (n_tty, termios_rwsem), and
// takes the settings whole; the line's own need not be asked for first, since they are set next.
//
// At the other end of a USB cable an opening waits for the adapter, a broken one's for seconds. So
// the call is one that lends the processor to other goroutines, and a second one is there for
// it to come back to: with one it would stand in the queue behind whatever goroutine runs. Both calls stand
// side by side, for between them the runtime must not find a place to run another goroutine.
func openMute(path string, flags int) (fd int, err error) {
	name, err := unix.BytePtrFromString(path)
	if err != nil {
		return -1, err
	}
	defer spareProcessor()()
	mute := unix.Termios{Cflag: firstCflag}
	mute.Cc[unix.VMIN] = 1
	at := unix.AT_FDCWD
	// Once in vain: then the program's pages that this takes are in memory.
	unix.RawSyscall(unix.SYS_IOCTL, ^uintptr(0), unix.TCSETS, uintptr(unsafe.Pointer(&mute)))
	for {
		n, _, errno := unix.Syscall6(unix.SYS_OPENAT, uintptr(at), uintptr(unsafe.Pointer(name)), uintptr(flags), 0, 0, 0)
		unix.RawSyscall(unix.SYS_IOCTL, n, unix.TCSETS, uintptr(unsafe.Pointer(&mute)))
		switch errno {
		case 0:
			holdOutput(int(n))
			dropOutput(int(n))
			return int(n), nil
		case unix.EINTR:
		default:
			return -1, errno
		}
	}
}

// firstCflag is what the kernel itself gives a USB adapter that was never opened, so that its
// driver has little to change (Linux, usb_serial_init and acm_init). The speed comes later.
const firstCflag = unix.B9600 | unix.CS8 | unix.CREAD | unix.HUPCL | unix.CLOCAL

var spare struct {
	sync.Mutex
	users, former int
}

// spareProcessor gives the program a second processor until the function that it returns is called.
func spareProcessor() (done func()) {
	spare.Lock()
	defer spare.Unlock()
	if spare.users++; spare.users == 1 {
		spare.former = runtime.GOMAXPROCS(0)
		runtime.GOMAXPROCS(max(spare.former, 2))
	}
	return func() {
		spare.Lock()
		defer spare.Unlock()
		if spare.users--; spare.users == 0 {
			runtime.GOMAXPROCS(spare.former)
		}
	}
}

// keepRaw makes a line raw again where somebody has switched on its echo, or its line by line
// reading, since we set it up: root can.
func (s *stream) keepRaw() {
	t, err := unix.IoctlGetTermios(s.fd, unix.TCGETS2)
	if err != nil || t.Lflag&(unix.ECHO|unix.ECHONL|unix.ICANON) == 0 {
		return
	}
	if s.setMode(int(t.Ospeed)) == nil {
		dropOutput(s.fd)
	}
}

func holdRaw(fd uintptr) { unix.RawSyscall(unix.SYS_IOCTL, fd, unix.TCXONC, unix.TCOOFF) }

// opensAtOnce tells a built-in line, which the kernel's serial core gives a size of its
// FIFO, and a pty.
func opensAtOnce(path string) bool {
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return false
	}
	_, err = os.Stat("/sys/class/tty/" + filepath.Base(real) + "/xmit_fifo_size")
	return err == nil || filepath.Dir(real) == "/dev/pts"
}

// holdOutput stops the line's output for as long as it is open. What is no
// terminal has none to hold.
func holdOutput(fd int) { _ = unix.IoctlSetInt(fd, unix.TCXONC, unix.TCOOFF) }

// dropOutput throws away what has not been sent.
func dropOutput(fd int) { _ = unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCOFLUSH) }

// closingWaitNone makes a close not wait for output (linux/serial.h,
// ASYNC_CLOSING_WAIT_NONE).
const closingWaitNone = 65535

// serialStruct is struct serial_struct of linux/serial.h.
type serialStruct struct {
	Type, Line    int32
	Port          uint32
	IRQ, Flags    int32
	XmitFIFOSize  int32
	CustomDivisor int32
	BaudBase      int32
	CloseDelay    uint16
	IOType        byte
	_             byte
	Hub6          int32
	ClosingWait   uint16
	ClosingWait2  uint16
	IOMemBase     uintptr
	IOMemRegShift uint16
	PortHigh      uint32
	IOMapBase     uintptr
}

// neverDrain sets the closing wait of a serial line to none. Ptys know none, and
// the packaged service may not change it; holdOutput covers both.
func neverDrain(fd int) {
	var line serialStruct
	if !serialControl(fd, unix.TIOCGSERIAL, &line) || line.ClosingWait == closingWaitNone {
		return
	}
	line.ClosingWait = closingWaitNone
	serialControl(fd, unix.TIOCSSERIAL, &line)
}

func serialControl(fd int, request uintptr, line *serialStruct) bool {
	_, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), request, uintptr(unsafe.Pointer(line)))
	return errno == 0
}
