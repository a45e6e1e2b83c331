package netref

import (
	"context"
	"errors"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// watchNetwork tells of routes and addresses that come and go, by the kernel's
// own broadcast (rtnetlink(7)). Without it, or when it is refused, the network
// is looked at every half minute as long as there is none.
func watchNetwork(ctx context.Context) <-chan struct{} {
	fd, err := unix.Socket(unix.AF_NETLINK, unix.SOCK_RAW|unix.SOCK_CLOEXEC|unix.SOCK_NONBLOCK, unix.NETLINK_ROUTE)
	if err != nil {
		return nil
	}
	groups := &unix.SockaddrNetlink{
		Family: unix.AF_NETLINK,
		Groups: unix.RTMGRP_IPV4_ROUTE | unix.RTMGRP_IPV6_ROUTE | unix.RTMGRP_IPV4_IFADDR | unix.RTMGRP_IPV6_IFADDR,
	}
	if err := unix.Bind(fd, groups); err != nil {
		unix.Close(fd)
		return nil
	}
	f := os.NewFile(uintptr(fd), "rtnetlink")
	changed := make(chan struct{}, 1)
	context.AfterFunc(ctx, func() { f.SetReadDeadline(time.Unix(1, 0)) })
	go func() {
		defer f.Close()
		buf := make([]byte, 8192)
		for {
			// What changed does not matter, nor does a lost message.
			if _, err := f.Read(buf); err != nil && !isOverrun(err) {
				return
			}
			select {
			case changed <- struct{}{}:
			default:
			}
		}
	}()
	return changed
}

// isOverrun tells whether err only says that messages were lost.
func isOverrun(err error) bool { return errors.Is(err, unix.ENOBUFS) }
