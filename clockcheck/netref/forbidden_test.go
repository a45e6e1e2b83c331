package netref

import (
	"net"
	"os"
	"strings"
	"syscall"
	"testing"
)

// What a packet filter, or systemd's IPAddressDeny=, says to a write: EPERM
// (Linux, net/netfilter and kernel/bpf/cgroup.c).
func TestForbiddenBySomeRule(t *testing.T) {
	err := explain(&net.OpError{Op: "write", Net: "udp", Err: os.NewSyscallError("write", syscall.EPERM)})
	f, ok := err.(*failure)
	if !ok || f.kind != NoAnswer || !strings.Contains(err.Error(), "forbids") {
		t.Errorf("%#v", err)
	}
}
