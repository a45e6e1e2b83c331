package netref

import (
	"context"
	"errors"
	"net"
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// In a network of its own, made for this test, an interface comes up: the
// kernel's broadcast must be heard, and a socket must find no route before.
// The machine's own network is not touched.
func TestWatchNetwork(t *testing.T) {
	if os.Getenv("NETREF_TEST_NAMESPACE") == "" {
		cmd := exec.Command(os.Args[0], "-test.run=^TestWatchNetwork$", "-test.v")
		cmd.Env = append(os.Environ(), "NETREF_TEST_NAMESPACE=1")
		cmd.SysProcAttr = &syscall.SysProcAttr{
			Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNET,
			UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
			GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
		}
		out, err := cmd.CombinedOutput()
		var exit *exec.ExitError
		if err != nil && !errors.As(err, &exit) {
			t.Skip("no network namespace of our own: ", err)
		}
		if err != nil {
			t.Errorf("%v\n%s", err, out)
		}
		return
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	changed := watchNetwork(ctx)
	if changed == nil {
		t.Fatal("the kernel's broadcast is not to be had")
	}
	h := thisHost()
	for _, server := range []string{"192.0.2.1", "[2001:db8::1]:123", "ntp.example"} {
		a, err := parseAddress(server)
		if err != nil {
			t.Fatal(err)
		}
		var f *failure
		if _, err := h.connect(ctx, &a, takenBut(nil, nil)); !errors.As(err, &f) || f.kind != NoNetwork {
			t.Errorf("%s: %v, want no network", server, err)
		}
	}
	select {
	case <-changed:
		t.Error("told of a change before there was one")
	case <-time.After(50 * time.Millisecond):
	}
	up(t, "lo")
	select {
	case <-changed:
	case <-time.After(time.Minute):
		t.Fatal("an interface came up unheard")
	}
	a, _ := parseAddress("127.0.0.1:1123")
	conn, err := h.connect(ctx, &a, takenBut(nil, nil))
	if err != nil {
		t.Fatalf("with the interface up: %v", err)
	}
	conn.Close()
}

// up switches an interface on (netdevice(7)).
func up(t *testing.T, name string) {
	t.Helper()
	c, err := net.ListenPacket("udp", ":0")
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	raw, err := c.(*net.UDPConn).SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	raw.Control(func(fd uintptr) {
		req, _ := unix.NewIfreq(name)
		req.SetUint16(unix.IFF_UP)
		err = unix.IoctlIfreq(int(fd), unix.SIOCSIFFLAGS, req)
	})
	if err != nil {
		t.Fatal(err)
	}
}
