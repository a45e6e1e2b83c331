package port

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"syscall"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// openTTY opens a serial line through the serial library, which also sets it up
// raw and exclusive, and returns a descriptor of our own for the same opening.
//
// The library does not hand its descriptor out, and opening the device a second
// time would raise DTR and RTS once more (Linux, drivers/tty/tty_port.c,
// tty_port_block_til_ready). So its descriptor is found among this process's own
// and duplicated: one opening, and on it we clear HUPCL, set close-on-exec, and
// read by ourselves. Reading through the library would take select(2), which ends
// at descriptor 1023, and a Close that can race with a read.
//
// One thing comes before the library: the line is held (see output_linux.go), since the
// library makes it raw only after some calls more. For that it is opened a moment
// earlier, and the lines that the kernel raises are left as they are: the library's
// opening raises them again, which then is no second pulse, and lowers them.
func openTTY(path string, baud int) (fd int, port serial.Port, err error) {
	first, err := openHeld(path)
	if err != nil {
		return -1, nil, err
	}
	defer unix.Close(first) // the library's opening is there by then: nothing is hung up
	mode := &serial.Mode{BaudRate: max(baud, 1200), DataBits: 8}
	if !ptyPath(path) {
		mode.InitialStatusBits = &serial.ModemOutputBits{DTR: false, RTS: false}
	}
	port, err = libraryOpen(path, mode)
	if err != nil {
		return -1, nil, portError(err)
	}
	fd, err = ownDescriptor(path)
	if err != nil {
		port.Close()
		return -1, nil, err
	}
	return fd, port, nil
}

var libraryOpen = serial.Open // tests put something before it

// portError gives the library's errors their meaning in the system's terms.
func portError(err error) error {
	var pe *serial.PortError
	if !errors.As(err, &pe) {
		return err
	}
	switch pe.Code() {
	case serial.PortBusy:
		return syscall.EBUSY
	case serial.PortNotFound:
		return os.ErrNotExist
	case serial.PermissionDenied:
		return os.ErrPermission
	case serial.InvalidSerialPort:
		return errNotSerial
	}
	return err
}

// ownDescriptor finds this process's descriptor of the device at path, closes it
// on exec, and returns a duplicate.
func ownDescriptor(path string) (int, error) {
	var want, got unix.Stat_t
	if err := unix.Stat(path, &want); err != nil {
		return -1, err
	}
	entries, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return -1, fmt.Errorf("find the port's descriptor: %w", err)
	}
	for i := len(entries) - 1; i >= 0; i-- { // the newest have high numbers as a rule
		n, err := strconv.Atoi(entries[i].Name())
		if err != nil || unix.Fstat(n, &got) != nil || got.Rdev != want.Rdev || got.Ino != want.Ino || got.Mode&unix.S_IFMT != unix.S_IFCHR {
			continue
		}
		flags, err := unix.FcntlInt(uintptr(n), unix.F_GETFL, 0)
		if err != nil || flags&unix.O_ACCMODE != unix.O_RDWR || heldElsewhere(n) {
			continue
		}
		unix.CloseOnExec(n)
		return unix.FcntlInt(uintptr(n), unix.F_DUPFD_CLOEXEC, 3)
	}
	return -1, errors.New("the port was opened and its descriptor is not to be found")
}

// heldElsewhere tells the library's descriptor, which has no close-on-exec yet,
// from those that other code of this process keeps on the same device.
func heldElsewhere(fd int) bool {
	flags, err := unix.FcntlInt(uintptr(fd), unix.F_GETFD, 0)
	return err != nil || flags&unix.FD_CLOEXEC != 0
}

func ptyPath(path string) bool {
	real, err := filepath.EvalSymlinks(path)
	return err == nil && filepath.Dir(real) == "/dev/pts"
}
