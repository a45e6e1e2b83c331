package service

import (
	"fmt"
	"net"
	"os"
	"runtime"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/net/ipv4"
	"golang.org/x/sys/unix"
)

// The two benchmarks below are one comparison: what one packet costs the thread that
// answers it, here and in a bare echo of the same 48 octets by the net package. A
// core's time divided by it is the packets per second that core can answer. The
// thread's own processor time is taken, because wall time would measure the flooder
// and whatever else runs.

// flood sends questions to addr from many addresses of the loopback until stop is
// closed, faster than they are answered.
func flood(b *testing.B, addr string, stop <-chan struct{}) {
	to, err := net.ResolveUDPAddr("udp", addr)
	if err != nil {
		b.Fatal(err)
	}
	const clients = 64
	var conns []*ipv4.PacketConn
	for i := range clients {
		c, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 1, byte(i+1))})
		if err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { c.Close() })
		conns = append(conns, ipv4.NewPacketConn(c))
	}
	ms := make([]ipv4.Message, 16)
	for i := range ms {
		q := make([]byte, 48)
		q[0] = 4<<3 | 3
		ms[i] = ipv4.Message{Buffers: [][]byte{q}, Addr: to}
	}
	go func() {
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			default:
				conns[i%clients].WriteBatch(ms, 0)
			}
		}
	}()
}

// threadTime is the processor time a thread of this process has used.
func threadTime(b *testing.B, tid int64) time.Duration {
	s, err := os.ReadFile(fmt.Sprintf("/proc/self/task/%d/schedstat", tid))
	if err != nil {
		b.Skip("this kernel does not tell a thread's processor time: ", err)
	}
	ns, err := strconv.ParseInt(strings.Fields(string(s))[0], 10, 64)
	if err != nil {
		b.Fatal(err)
	}
	return time.Duration(ns)
}

// costOf lets b.N packets be answered under a flood and reports what each costs the
// thread.
func costOf(b *testing.B, addr string, tid *atomic.Int64, answered func() uint64) {
	stop := make(chan struct{})
	flood(b, addr, stop)
	defer close(stop)
	for answered() < 1000 {
		time.Sleep(time.Millisecond)
	}
	b.ResetTimer()
	before, n := threadTime(b, tid.Load()), answered()
	for answered()-n < uint64(b.N) {
		time.Sleep(time.Millisecond)
	}
	used, n := threadTime(b, tid.Load())-before, answered()-n
	b.StopTimer()
	b.ReportMetric(float64(used)/float64(n), "cpu-ns/packet")
}

func BenchmarkTimeService(b *testing.B) {
	var tid atomic.Int64
	camp := systemTime(b, func() {
		runtime.LockOSThread() // the serving goroutine's thread is the one measured
		tid.Store(int64(unix.Gettid()))
	})
	costOf(b, camp.address(), &tid, func() uint64 { return camp.server.Counts().Answered })
}

// BenchmarkBareEcho is the net package alone: read, write back.
func BenchmarkBareEcho(b *testing.B) {
	c, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		b.Fatal(err)
	}
	defer c.Close()
	var tid atomic.Int64
	var answered atomic.Uint64
	go func() {
		runtime.LockOSThread()
		tid.Store(int64(unix.Gettid()))
		buf := make([]byte, 64)
		for {
			n, from, err := c.ReadFromUDPAddrPort(buf)
			if err != nil {
				return
			}
			c.WriteToUDPAddrPort(buf[:n], from)
			answered.Add(1)
		}
	}()
	costOf(b, c.LocalAddr().String(), &tid, answered.Load)
}
