package port

import (
	"fmt"
	"path/filepath"
)

// identify finds out what is behind a path, without opening it. A path sysfs
// does not know (a pty, a FIFO, a network address) has only its name.
func identify(sysfs, path string) Identity {
	id := Identity{Name: path}
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return id
	}
	for _, class := range []string{"tty", "gnss"} {
		if in, ok := inspect(sysfs, class, filepath.Base(real)); ok {
			id.VID, id.PID, id.Serial, id.Socket, id.Part = in.VID, in.PID, in.Serial, in.Socket, in.Part
			break
		}
	}
	return id
}

// refusal says in a sentence why now is not what was pinned under the same
// name; "" if it is. A serial number worth the name identifies a device in any
// socket; without one it must stay in its socket, because adapters of one make
// cannot be told apart otherwise.
func (pin Identity) refusal(now Identity) string {
	if pin == (Identity{}) || pin.Name != now.Name {
		return ""
	}
	what := ""
	switch {
	case pin.VID != now.VID || pin.PID != now.PID:
		what = fmt.Sprintf("is another device (%s) than the one that was the receiver (%s)", now.usb(), pin.usb())
	case pin.VID == "":
		return ""
	case pin.Serial != now.Serial:
		what = fmt.Sprintf("has serial number %q, the receiver had %q", now.Serial, pin.Serial)
	case pin.Part != now.Part:
		what = fmt.Sprintf("is port %s of the device, the receiver was port %s", now.Part, pin.Part)
	case pin.Socket != now.Socket && !distinct(pin.Serial):
		what = fmt.Sprintf("is in USB socket %s, the receiver was in %s, and it has no serial number of its own", now.Socket, pin.Socket)
	default:
		return ""
	}
	return fmt.Sprintf("%s %s: not opened, because it could key a transmitter. Plug the receiver back in as it was, or forget the old one",
		now.Name, what)
}

func (id Identity) usb() string {
	if id.VID == "" {
		return "not USB"
	}
	return "USB " + id.VID + ":" + id.PID
}

// distinct reports whether a serial number can be taken for unique. Cheap
// adapters all carry the same one: "0001", "00000000", "123456" (from memory).
func distinct(serial string) bool {
	if len(serial) < 6 {
		return false
	}
	same, rising := true, true
	for i := 1; i < len(serial); i++ {
		same = same && serial[i] == serial[0]
		rising = rising && (serial[i] == serial[i-1]+1 || serial[i-1] == '9' && serial[i] == '0')
	}
	return !same && !rising
}
