package port

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/user"
	"strconv"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// source is an open byte source. All methods but stop belong to one goroutine.
type source interface {
	// read takes what is there; if nothing is, it waits up to wait. (0, nil)
	// means that nothing came. Any error is the end of the source; io.EOF is a
	// plain one.
	read(p []byte, wait time.Duration) (int, error)
	// rest waits for so long without being woken by what comes in.
	rest(time.Duration)
	// setBaud changes the speed without touching the modem lines.
	setBaud(baud int) error
	// stop makes the present read and every later one return at once. Any
	// goroutine may call it.
	stop()
	Close() error

	traits() traits
}

type traits struct {
	speed bool // has a line speed
	rest  bool // gathers bytes while the reader rests
	plain bool // a plain file: ends, and its bytes tell no time
}

// errNotSerial marks something that exists but cannot be a receiver.
var errNotSerial = errors.New("not a serial port")

// target is a Config.Device taken apart.
type target struct {
	scheme string // "tcp", "udp", "path" or "auto"
	addr   string
}

func parseDevice(device string) (target, error) {
	if device == "" || device == "auto" {
		return target{scheme: "auto"}, nil
	}
	if !strings.Contains(device, "://") {
		return target{"path", device}, nil
	}
	bad := func(why string) (target, error) {
		return target{}, fmt.Errorf("port: device %q: %s; write \"auto\", a path, tcp://host:port or udp://:port", device, why)
	}
	u, err := url.Parse(device)
	if err != nil {
		return bad("not an address")
	}
	if u.Scheme != "tcp" && u.Scheme != "udp" {
		return bad("unknown scheme " + u.Scheme)
	}
	if u.User != nil || u.Path != "" || u.RawQuery != "" || u.Fragment != "" {
		return bad("only host and port may follow " + u.Scheme + "://")
	}
	if n, err := strconv.Atoi(u.Port()); err != nil || n < 1 || n > 65535 {
		return bad("the port must be 1 to 65535")
	}
	if u.Scheme == "tcp" && u.Hostname() == "" {
		return bad("the host is missing")
	}
	return target{u.Scheme, net.JoinHostPort(u.Hostname(), u.Port())}, nil
}

// open opens what t names. It is the seam of the tests: everything above it is
// real there.
func open(ctx context.Context, t target, baud int) (source, error) {
	switch t.scheme {
	case "tcp":
		return dialTCP(ctx, t.addr)
	case "udp":
		return listenUDP(t.addr)
	}
	fi, err := os.Stat(t.addr)
	if err != nil {
		return nil, err
	}
	switch mode := fi.Mode(); {
	case mode.IsRegular():
		f, err := os.Open(t.addr)
		if err != nil {
			return nil, err
		}
		return &fileSource{f: f}, nil
	case mode&os.ModeNamedPipe != 0:
		return openStream(t.addr, unix.O_RDWR, baud) // so that writers may come and go
	case mode&os.ModeCharDevice != 0:
		return openStream(t.addr, unix.O_RDONLY, baud)
	}
	return nil, errNotSerial
}

// problem is why a source could not be opened, and when to look again.
type problem struct {
	kind   Kind
	reason string
	again  time.Duration
}

const (
	lookAbsent  = time.Second     // the receiver may be plugged in at any time
	lookRefused = 5 * time.Second // somebody must change something first
)

// classify turns an error of open into words.
func classify(t target, err error) problem {
	name := t.addr
	if t.scheme != "path" {
		return problem{Waiting, fmt.Sprintf("%s://%s: %v: check the address and the program that should be sending there",
			t.scheme, name, plainNetError(err)), lookAbsent}
	}
	switch {
	case errors.Is(err, os.ErrNotExist):
		return problem{Waiting, name + " is not there: plug the receiver in, or correct the device in the configuration", lookAbsent}
	case errors.Is(err, os.ErrPermission):
		return problem{Refused, fmt.Sprintf("%s may not be read by this user: %s", name, membership(name)), lookRefused}
	case errors.Is(err, syscall.EBUSY):
		return problem{Refused, name + " is in use by another program: stop that program, or name another port", lookRefused}
	case errors.Is(err, errNotSerial):
		return problem{Refused, name + " is not a serial port: correct the device in the configuration", lookRefused}
	case errors.Is(err, syscall.ENXIO), errors.Is(err, syscall.ENODEV), errors.Is(err, syscall.EIO):
		return problem{Waiting, name + " exists, but no hardware answers behind it: plug the receiver in, or name another port", lookAbsent}
	}
	return problem{Refused, fmt.Sprintf("%s cannot be opened: %v", name, err), lookRefused}
}

func plainNetError(err error) error {
	var op *net.OpError
	if errors.As(err, &op) {
		err = op.Err
	}
	var sys *os.SyscallError
	if errors.As(err, &sys) {
		err = sys.Err
	}
	return err
}

// membership names the group that may read path.
func membership(path string) string {
	fi, err := os.Stat(path)
	if err != nil {
		return "run noonmark as a user who may"
	}
	st, ok := fi.Sys().(*syscall.Stat_t)
	if !ok || fi.Mode().Perm()&0o040 == 0 || st.Gid == 0 {
		return "its group may not either; give it one with a udev rule"
	}
	group := strconv.FormatUint(uint64(st.Gid), 10)
	if g, err := user.LookupGroupId(group); err == nil {
		group = g.Name
	}
	return fmt.Sprintf("add the user to the group %s (usermod -aG %s USER) and log in again", group, group)
}
